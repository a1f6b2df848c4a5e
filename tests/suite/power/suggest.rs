//! Suggested injections: pasted, they leave no finding and make none; on short lines an exhaustive
//! search without our solver finds no fewer. `STARVED_LINES` and `STARVED_DISPLAYS` set how many
//! are tried.

use crate::check::{one, told};
use std::fmt::Write as _;
use tinsel::Compiled;
use tinsel::loads::{Suggestion, Verdict};
use tinsel::unit::Gauge;
use tinsel::usage::inject_statement;

/// What conductors may carry in amperes: NFPA 70 (2020), 240.4(D) for 18 to 10 AWG, table 310.16 at
/// 60 °C for 8, and NFPA 79 (2021), table 12.5.1 for thinner ones. From memory.
const CARRIES: [(u8, f64); 9] = [
    (8, 40.0),
    (10, 30.0),
    (12, 20.0),
    (14, 15.0),
    (16, 10.0),
    (18, 7.0),
    (20, 5.0),
    (22, 3.0),
    (24, 2.0),
];

/// Common blade fuses in amperes.
const BLADES: [f64; 12] = [1.0, 2.0, 3.0, 4.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0, 40.0];

fn carries(gauge: u8) -> f64 {
    CARRIES.iter().find(|row| row.0 == gauge).unwrap().1
}

fn blade(most: f64) -> f64 {
    *BLADES.iter().rfind(|blade| **blade <= most).unwrap()
}

/// Ohm a metre of a solid copper conductor: ASTM B258 and 1.7241e-8 ohm metre at 20 °C.
fn ohms(gauge: u8) -> f64 {
    let metres = 0.127e-3 * 92_f64.powf((36.0 - f64::from(gauge)) / 39.0);
    1.7241e-8 / (std::f64::consts::PI * metres * metres / 4.0)
}

/// Random numbers that are the same on every machine (splitmix64).
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    fn to(&mut self, from: u32, to: u32) -> u32 {
        from + (self.next() % u64::from(to - from + 1)) as u32
    }

    fn one<T: Copy>(&mut self, of: &[T]) -> T {
        of[self.next() as usize % of.len()]
    }
}

fn cases(name: &str, usual: usize) -> usize {
    let told = std::env::var(name).ok();
    told.and_then(|told| told.parse().ok()).unwrap_or(usual)
}

fn statements(compiled: &Compiled, suggestions: &[Suggestion]) -> String {
    let all = suggestions.iter().flat_map(|one| &one.inject);
    all.map(|remedy| inject_statement(&compiled.model, remedy) + "\n").collect()
}

/// A line that is fed at its start.
#[derive(Debug, Clone, Copy)]
struct Line {
    volts: u32,
    floor_mv: u32,
    gauge: u8,
    nodes: u32,
    draw_ma: u32,
    pitch_mm: u32,
    lead: u8,
    lead_dm: u32,
}

impl Line {
    fn random(dice: &mut Dice, most: u32) -> Self {
        let volts = dice.one(&[5, 12, 12, 24]);
        Self {
            volts,
            floor_mv: volts * dice.to(600, 950),
            gauge: dice.one(&[16, 18, 18, 20, 22, 24]),
            nodes: dice.to(8, most),
            draw_ma: dice.to(8, 150),
            pitch_mm: dice.to(10, 120),
            lead: dice.one(&[8, 10, 12, 14, 16, 18]),
            lead_dm: dice.to(2, 250),
        }
    }

    fn text(&self) -> String {
        let Self { volts, gauge, nodes, lead, .. } = *self;
        format!(
            "supply shed {{ volts {volts} V; rated 5000 W }}\n\
             node dot {{ chip ws2811; colour RGB; volts {volts} V; draw {} mA; floor {} V; pitch {} mm; \
             gauge {gauge} AWG }}\n\
             controller pier {{ ports 1..2 {{ volts {volts} V; fuse {} A }} }}\n\
             prop arch {{ node dot; string {nodes} nodes }}\nwire pier.1: arch\n\
             power pier.1 from shed through {} m of {lead} AWG fuse {} A\n",
            self.draw_ma,
            f64::from(self.floor_mv) / 1e3,
            self.pitch_mm,
            blade(carries(gauge)),
            f64::from(self.lead_dm) / 10.0,
            blade(carries(lead)),
        )
    }

    /// Whether it holds with leads of a gauge at some nodes, by node equations and Gauss
    /// elimination.
    fn holds(&self, at: &[usize], lead: u8) -> bool {
        let count = self.nodes as usize;
        let volts = f64::from(self.volts);
        let pitch = f64::from(self.pitch_mm) / 1e3;
        let far = f64::from(self.lead_dm) / 10.0;
        let between = 1.0 / (2.0 * ohms(self.gauge) * pitch);
        let start = 1.0 / (2.0 * ohms(self.lead) * far + 1.0 / between);
        let half_metres = |node: usize| ((far + pitch * node as f64) * 2.0 - 1e-9).ceil() / 2.0;
        let feed = |node: usize| 1.0 / (2.0 * ohms(lead) * half_metres(node));
        let mut own = vec![2.0 * between; count];
        let mut flow = vec![-f64::from(self.draw_ma) / 1e3; count];
        own[count - 1] -= between;
        own[0] += start - between;
        flow[0] += volts * start;
        for node in at {
            own[node - 1] += feed(*node);
            flow[node - 1] += volts * feed(*node);
        }
        for node in 1..count {
            let factor = between / own[node - 1];
            own[node] -= factor * between;
            flow[node] += factor * flow[node - 1];
        }
        let mut got = vec![0.0; count];
        for node in (0..count).rev() {
            let next = got.get(node + 1).map_or(0.0, |next| between * next);
            got[node] = (flow[node] + next) / own[node];
        }
        let string = carries(self.gauge);
        let trunk = blade(carries(self.lead)).min(blade(string));
        let within = |amps: f64, rating: f64| amps.abs() <= 0.8 * rating + 1e-9;
        let floor = f64::from(self.floor_mv) / 1e3;
        got.iter().all(|got| *got >= floor - 1e-9)
            && within((volts - got[0]) * start, trunk)
            && got.windows(2).all(|pair| within((pair[0] - pair[1]) * between, string))
            && at.iter().all(|node| {
                let amps = (volts - got[node - 1]) * feed(*node);
                amps >= 1e-3 && within(amps, blade(string.min(carries(lead))))
            })
    }

    /// Whether some set of nodes of a size does.
    fn any(&self, size: usize, lead: u8) -> bool {
        let count = self.nodes as usize;
        let mut set: Vec<usize> = (1..=size).collect();
        loop {
            if self.holds(&set, lead) {
                return true;
            }
            let Some(at) = (0..size).rfind(|at| set[*at] < count - (size - 1 - at)) else {
                return false;
            };
            let from = set[at] + 1;
            for (step, node) in set[at..].iter_mut().enumerate() {
                *node = from + step;
            }
        }
    }
}

/// A display of several boxes whose ports share leads, with chains, strands, leads and injections.
fn display(dice: &mut Dice) -> String {
    let volts = dice.one(&[5, 12, 12, 12]);
    let mut text = format!("supply shed {{ volts {volts} V; rated 90000 W }}\n");
    let kinds = dice.to(1, 3);
    for kind in 0..kinds {
        let (gauge, floor) = (dice.one(&[16, 18, 18, 20]), dice.to(75, 93) * volts);
        let (draw, pitch) = (dice.to(4, 40), dice.to(20, 110));
        let floor = f64::from(floor) / 100.0;
        writeln!(
            text,
            "node n{kind} {{ chip ws2811; colour RGB; volts {volts} V; draw {draw} mA; floor {floor} V; \
             pitch {pitch} mm; gauge {gauge} AWG }}"
        )
        .unwrap();
    }
    let mut prop = 0;
    for number in 0..dice.to(1, 3) {
        let ports = dice.to(1, 8);
        writeln!(text, "controller c{number} {{ ports 1..8 {{ volts {volts} V; fuse 5 A }} }}")
            .unwrap();
        for port in 1..=ports {
            let mut chain = Vec::new();
            for _ in 0..dice.one(&[1, 1, 1, 2, 3]) {
                let nodes = dice.to(10, 90);
                let strings = match dice.to(0, 3) {
                    0 => format!("strings 1 of {} strands of 10 nodes", nodes / 10 + 1),
                    1 => format!("string: {nodes} nodes -> lead 2 m of 18 AWG -> 20 nodes"),
                    _ => format!("string {nodes} nodes"),
                };
                let kind = dice.to(0, kinds - 1);
                writeln!(text, "prop p{prop} {{ node n{kind}; {strings} }}").unwrap();
                if dice.to(0, 7) == 0 {
                    let metres = dice.to(1, 12);
                    writeln!(
                        text,
                        "inject p{prop} at end from shed through {metres} m of 14 AWG fuse 5 A"
                    )
                    .unwrap();
                }
                let before = dice.one(&["", "", "", "", "skip 3 -> ", "lead 3 m of 18 AWG -> "]);
                chain.push(format!("{before}p{prop}"));
                prop += 1;
            }
            writeln!(text, "wire c{number}.{port}: {}", chain.join(" -> ")).unwrap();
        }
        let mut first = 1;
        while first <= ports {
            let last = ports.min(first + dice.one(&[0, 1, 3, 7]));
            let gauge = dice.one(&[8, 10, 12, 12, 14]);
            let (metres, fuse) = (f64::from(dice.to(5, 400)) / 10.0, blade(carries(gauge)));
            writeln!(
                text,
                "power c{number}.{first}..{last} from shed through {metres} m of {gauge} AWG fuse {fuse} A"
            )
            .unwrap();
            first = last + 1;
        }
    }
    text
}

/// Whether the only fault of a display is that nodes get too little.
fn starves(compiled: &Compiled) -> bool {
    let mut findings = compiled.findings.iter();
    !compiled.findings.is_empty() && findings.all(|finding| finding.code == "power/voltage")
}

/// Suggestions for a display, which are pasted: how many lines could not be helped.
fn pasted(text: &str, compiled: &Compiled) -> usize {
    let suggestions = compiled.suggest(None);
    let added = statements(compiled, &suggestions);
    let after = one(&format!("{text}{added}"));
    let refused: Vec<&Suggestion> =
        suggestions.iter().filter(|one| matches!(one.verdict, Verdict::Refused(_))).collect();
    if refused.is_empty() {
        assert!(after.findings.is_empty(), "{text}{added}{}", told(&after));
    }
    // Whatever was there before may be left, and nothing else.
    for finding in &after.findings {
        let same = |other: &tinsel::diagnostic::Diagnostic| {
            (other.code, other.labels[0].span) == (finding.code, finding.labels[0].span)
        };
        assert!(compiled.findings.iter().any(same), "{text}{added}{}", told(&after));
    }
    for one in &refused {
        assert!(
            one.inject.is_empty()
                && matches!(&one.verdict, Verdict::Refused(why) if why.len() > 20)
        );
    }
    refused.len()
}

#[test]
fn starved_lines_are_clean_when_pasted() {
    let (mut dice, mut tried, mut refused) = (Dice(1), 0, 0);
    let wanted = cases("STARVED_LINES", 25);
    while tried < wanted {
        let text = Line::random(&mut dice, 250).text();
        let compiled = one(&text);
        if starves(&compiled) {
            tried += 1;
            refused += pasted(&text, &compiled);
        }
    }
    assert!(refused * 20 <= tried, "{refused} of {tried} could not be helped");
}

#[test]
fn starved_displays_are_clean_when_pasted() {
    let (mut dice, mut tried, mut refused) = (Dice(2), 0, 0);
    let wanted = cases("STARVED_DISPLAYS", 6);
    while tried < wanted {
        let text = display(&mut dice);
        let compiled = one(&text);
        if starves(&compiled) {
            tried += 1;
            refused += usize::from(pasted(&text, &compiled) > 0);
        }
    }
    assert!(refused * 5 <= tried, "{refused} of {tried} could not be helped");
}

/// At the gauge and the lengths of the suggestion's own leads, with every point at a node.
#[test]
fn no_fewer_points_do() {
    let (mut dice, mut tried, mut equal) = (Dice(3), 0, 0);
    let wanted = cases("STARVED_LINES", 15);
    while tried < wanted {
        let line = Line::random(&mut dice, 60);
        let text = line.text();
        let compiled = one(&text);
        if !starves(&compiled) {
            continue;
        }
        let suggestions = compiled.suggest(None);
        let [one] = suggestions.as_slice() else { panic!("{text}") };
        let points = one.inject.len();
        if points == 0 || points > 4 {
            continue;
        }
        tried += 1;
        let thickest = one.inject.iter().map(|remedy| match remedy.lead.gauge {
            Gauge::Awg(number) => number,
            Gauge::Area(_) => panic!("{text}"),
        });
        let lead = thickest.min().unwrap();
        let fewer = (0..points).rfind(|fewer| line.any(*fewer, lead));
        assert!(fewer.is_none_or(|fewer| fewer + 1 == points), "{points}: {text}");
        assert!(fewer.is_none() || one.verdict == Verdict::Found, "{points}: {text}");
        equal += usize::from(fewer.is_none());
    }
    assert!(equal * 100 >= tried * 95, "{equal} of {tried}");
}

/// A display of one box whose ports share a lead, with `draw` mA a node on `gauge`.
fn shared(lines: usize, nodes: u32, draw: u32, gauge: u8, lead: &str) -> String {
    let fuse = blade(carries(gauge));
    let mut text = format!(
        "supply barn {{ volts 12 V; rated 2000 W }}\n\
         node bud {{ chip ws2811; colour RGB; volts 12 V; draw {draw} mA; pitch 40 mm; gauge {gauge} AWG }}\n\
         controller gate {{ ports 1..16 {{ volts 12 V; fuse {fuse} A }} }}\n"
    );
    for line in 1..=lines {
        writeln!(
            text,
            "prop vine{line} {{ node bud; string {nodes} nodes }}\nwire gate.{line}: vine{line}"
        )
        .unwrap();
    }
    writeln!(text, "power gate.1..{lines} from barn through {lead}").unwrap();
    text
}

fn clean(text: &str) -> (String, Vec<Suggestion>) {
    let compiled = one(text);
    let suggestions = compiled.suggest(None);
    let added = statements(&compiled, &suggestions);
    let after = one(&format!("{text}{added}"));
    assert!(after.findings.is_empty(), "{text}{added}{}", told(&after));
    (added, suggestions)
}

/// A long lead feeds several lines: a point near a start would feed the others through the port.
#[test]
fn nothing_flows_back_beyond_a_fuse() {
    for (lines, nodes, lead) in [
        (5, 70, "24 m of 12 AWG fuse 20 A"),
        (7, 65, "18 m of 12 AWG fuse 20 A"),
        (6, 70, "9 m of 10 AWG fuse 30 A"),
    ] {
        let text = shared(lines, nodes, 50, 18, lead);
        let (added, suggestions) = clean(&text);
        assert!(suggestions.iter().all(|one| one.points > 0), "{text}{added}");
        let after = one(&format!("{text}{added}"));
        let study = tinsel::power::at(&after.model, &after.plan, None);
        for section in &study.sections {
            assert!(section.port_ua.abs() <= 4_000_000, "{}", section.port_ua);
        }
        for tap in &study.taps {
            assert!((1_000..=4_000_000).contains(&tap.ua), "{}", tap.ua);
        }
    }
}

/// Where one point on each of many lines is enough, they are found together.
#[test]
fn lines_on_one_lead_are_helped_together() {
    let text = shared(8, 78, 50, 18, "11 m of 12 AWG fuse 20 A");
    let (_, suggestions) = clean(&text);
    assert_eq!(suggestions.len(), 8);
    assert!(suggestions.iter().all(|one| one.shared == 8));
    assert_eq!(suggestions.iter().filter(|one| one.first).count(), 1);
}

/// A long line on a thin conductor, and one with nodes that take much: each fuse is the largest
/// that the string's own conductor allows.
#[test]
fn fuses_fit_the_thinnest_conductor() {
    for (nodes, draw, gauge, fuse) in [
        (70, 130, 22, "fuse 3 A"),
        (90, 48, 22, "fuse 3 A"),
        (150, 30, 24, "fuse 2 A"),
        (80, 90, 18, "fuse 5 A"),
    ] {
        let text = shared(1, nodes, draw, gauge, "1 m of 12 AWG fuse 20 A");
        let text = text.replace("volts 12 V; draw", "volts 12 V; floor 10.5 V; draw");
        let (added, suggestions) = clean(&text);
        assert!(added.lines().all(|line| line.ends_with(fuse)), "{added}");
        assert_eq!(suggestions[0].verdict, Verdict::Fewest, "{added}");
    }
}

/// Injections also relieve overloaded leads, fuses and conductors where no node gets too little.
#[test]
fn what_carries_too_much_is_relieved() {
    let dense = |text: String| text.replace("pitch 40 mm", "pitch 9 mm");
    let lead_fuse = dense(shared(1, 90, 50, 14, "1 m of 10 AWG fuse 4 A"));
    let lead = dense(shared(2, 60, 50, 16, "1 m of 18 AWG fuse 7.5 A"));
    let lead = lead.replace("fuse 7.5 A\n", "fuse 7 A\n");
    let string = dense(shared(1, 100, 40, 24, "1 m of 12 AWG fuse 20 A"));
    for text in [lead_fuse, lead, string] {
        let compiled = one(&text);
        assert!(!compiled.findings.is_empty(), "{text}");
        let low = |finding: &tinsel::diagnostic::Diagnostic| finding.code == "power/voltage";
        assert!(!compiled.findings.iter().any(low), "{}", told(&compiled));
        let (added, _) = clean(&text);
        assert!(!added.is_empty(), "{text}");
    }
}

/// A string's own lead comes after its start: a feed at the end of the string before it and one at
/// its start are one place.
#[test]
fn a_start_before_a_lead_is_no_second_place() {
    let text = "node dot { chip ws2811; colour RGB; volts 12 V; draw 60 mA; pitch 50 mm; gauge 18 AWG }\n\
        prop arch { node dot; string 68 nodes }\n\
        prop bow { node dot; string: lead 1 m of 18 AWG -> 64 nodes }\n\
        controller pier { ports 1..4 { volts 12 V; fuse 5 A } }\n\
        supply shed { volts 12 V; rated 300 W }\nwire pier.1: arch -> bow\n\
        power pier.1..4 from shed through 1 m of 14 AWG fuse 5 A\n";
    let (added, _) = clean(text);
    assert!(added.contains("inject bow") && !added.contains("bow at start"), "{added}");
}

/// A line that cannot be helped, here `peak`, lets no advice through about the others.
#[test]
fn a_line_without_help_spoils_no_other() {
    let text = "display \"x\" { dim to 70 % }\nsupply shed { volts 12 V; rated 9000 W }\n\
        node top { chip ws2811; colour RGB; volts 12 V; floor 12 V; draw 30 mA; pitch 50 mm; gauge 18 AWG }\n\
        node dot { chip ws2811; colour RGB; volts 12 V; draw 0.75 W; pitch 30 mm; gauge 20 AWG }\n\
        controller far { ports 1..2 { volts 12 V; fuse 5 A } }\n\
        controller pier { ports 1..8 { volts 12 V; fuse 5 A } }\n\
        prop peak { node top; string 9 nodes }\nprop arch { node dot; string 106 nodes }\n\
        prop bow { node dot; string 108 nodes }\nprop crane { node dot; string 90 nodes }\n\
        prop deck { node dot; string 99 nodes }\nwire far.1: peak\nwire pier.1: arch\n\
        wire pier.2: bow\nwire pier.3: crane\nwire pier.4: deck\n\
        power far.1..2 from shed through 2 m of 16 AWG fuse 5 A\n\
        inject bow at end from shed through 2 m of 16 AWG fuse 5 A apart\n\
        inject crane at end from shed through 9 m of 16 AWG fuse 5 A\n\
        power pier.1..2 from shed through 16 m of 10 AWG fuse 10 A\n\
        power pier.3..3 from shed through 27 m of 14 AWG fuse 10 A\n\
        power pier.4..4 from shed through 10 m of 14 AWG fuse 15 A\n";
    assert_eq!(pasted(text, &one(text)), 1);
}

/// What cannot be helped says why.
#[test]
fn what_cannot_be_helped_says_why() {
    let far = "24 m of 12 AWG fuse 20 A";
    let rated = shared(4, 75, 50, 18, far).replace("rated 2000 W", "rated 217 W");
    let thin = shared(1, 75, 50, 18, far).replace("fuse 5 A }", "}");
    let thin = thin.replace("gauge 18 AWG", "gauge 30 AWG");
    let floor = shared(1, 75, 50, 18, far).replace("draw 50", "floor 12 V; draw 50");
    for (text, why) in [
        (rated, "supply `barn` has to give"),
        (thin, "no common fuse is that small"),
        (floor, "its nodes work down to 12 V"),
    ] {
        let compiled = one(&text);
        let suggestions = compiled.suggest(None);
        assert!(!suggestions.is_empty(), "{text}");
        for one in &suggestions {
            let Verdict::Refused(reason) = &one.verdict else { panic!("{text}{one:?}") };
            assert!(reason.contains(why) && one.inject.is_empty(), "{reason}");
        }
        let mut low = compiled.findings.iter();
        let low = low.find(|finding| finding.code == "power/voltage");
        assert!(low.is_some_and(|low| low.help.contains(why)), "{}", told(&compiled));
    }
}

/// A picked port may change once its string is fed elsewhere: the trial compiles that too.
#[test]
fn picked_ports_are_compiled_again() {
    let text = shared(3, 70, 50, 18, "20 m of 12 AWG fuse 20 A");
    let text = text.replace("wire gate.1:", "wire gate:").replace("wire gate.2:", "wire any:");
    let compiled = one(&text);
    pasted(&text, &compiled);
}

/// Hundreds of lines that need hundreds of points: an answer within the steps, or a plain refusal.
#[test]
fn a_search_that_is_too_long_says_so() {
    let mut text = shared(16, 500, 60, 22, "3 m of 18 AWG fuse 5 A");
    for other in 2..=6 {
        let copy = shared(16, 500, 60, 22, "3 m of 18 AWG fuse 5 A");
        let copy = copy.lines().skip(2).map(|line| {
            line.replace("gate", &format!("gate{other}")).replace("vine", &format!("vine{other}x"))
        });
        copy.for_each(|line| text.push_str(&(line + "\n")));
    }
    let compiled = one(&text);
    let start = std::time::Instant::now();
    let suggestions = compiled.suggest(None);
    // A debug build is some thirty times slower than the shipped program.
    assert!(start.elapsed().as_secs() < 60, "{:?}", start.elapsed());
    assert_eq!(suggestions.len(), 96);
    for one in &suggestions {
        match &one.verdict {
            Verdict::Refused(why) => assert!(why.contains("cut"), "{why}"),
            Verdict::Fewest | Verdict::Found => assert!(one.points > 100),
        }
    }
}
