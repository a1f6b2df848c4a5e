//! Random displays with power: what must hold of currents and voltages, whatever is fed from where.

use crate::check::one;
use proptest::prelude::*;
use tinsel::power;

/// One injection: string, place, gauge, length in metres, whether apart.
type Feed = (usize, u32, u8, u32, bool);

#[derive(Debug, Clone)]
struct Yard {
    nodes: Vec<u32>,
    joined: Vec<bool>,
    draw: u32,
    watts: bool,
    gauge: u8,
    feeds: Vec<Feed>,
    level: u32,
}

impl Yard {
    fn text(&self) -> String {
        let draw = if self.watts {
            format!("0.{:03} W", self.draw * 9)
        } else {
            format!("{} mA", self.draw)
        };
        let mut text = format!(
            "display \"random\" {{ dim to {} %; lead of 18 AWG }}\n\
             node n {{ chip ws2811; colour RGB; volts 12 V; draw {draw}; pitch 60 mm; gauge {} AWG; idle 1 mA }}\n\
             controller c {{ ports 1..16 {{ volts 12 V }} }}\nsupply s {{ volts 12 V }}\n\
             power c.1..16 from s through 0.4 m of 10 AWG\n",
            self.level, self.gauge
        );
        let (mut port, mut chain) = (0, String::new());
        for (at, nodes) in self.nodes.iter().enumerate() {
            text.push_str(&format!("prop p{at} {{ node n; string {nodes} nodes }}\n"));
            if self.joined[at] && !chain.is_empty() {
                chain.push_str(&format!(" -> lead 1 m -> skip 1 -> p{at}"));
                continue;
            }
            if !chain.is_empty() {
                text.push_str(&format!("wire c.{port}: {chain}\n"));
            }
            port += 1;
            chain = format!("p{at}");
        }
        text.push_str(&format!("wire c.{port}: {chain}\n"));
        for (string, place, gauge, metres, apart) in &self.feeds {
            let string = string % self.nodes.len();
            let nodes = self.nodes[string];
            let place = match place % 5 {
                0 => "at start".to_owned(),
                1 => "at end".to_owned(),
                2 => format!("at node {}", place % nodes + 1),
                3 => format!("every {} nodes", place % nodes + 1),
                _ => format!("at node {nodes}"),
            };
            let apart = if *apart { " apart" } else { "" };
            text.push_str(&format!(
                "inject p{string} {place} from s through {metres} m of {gauge} AWG{apart}\n"
            ));
        }
        text
    }
}

fn yard() -> impl Strategy<Value = Yard> {
    let feed = (0_usize..8, 0_u32..400, 10_u8..=20, 0_u32..12, any::<bool>());
    (
        prop::collection::vec((1_u32..120, any::<bool>()), 1..8),
        (1_u32..70, any::<bool>(), 16_u8..=24),
        prop::collection::vec(feed, 0..5),
        1_u32..=100,
    )
        .prop_map(|(strings, (draw, watts, gauge), feeds, level)| Yard {
            nodes: strings.iter().map(|string| string.0).collect(),
            joined: strings.iter().map(|string| string.1).collect(),
            draw,
            watts,
            gauge,
            feeds,
            level,
        })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, ..ProptestConfig::default() })]

    #[test]
    fn what_goes_in_is_what_is_drawn(yard in yard()) {
        let compiled = one(&yard.text());
        let others = compiled.findings.iter().find(|finding| !finding.code.starts_with("power/"));
        prop_assert!(others.is_none(), "the display\n{}\n{:?}", yard.text(), others);
        let study = power::at(&compiled.model, &compiled.plan, None);
        let drawn: i64 = study.sections.iter().map(|section| section.drawn_ua).sum();
        let given: i64 = study.feeds.iter().map(|feed| feed.ua).sum::<i64>() + study.taps.iter().map(|tap| tap.ua).sum::<i64>();
        // Each tap is rounded to a microampere by itself, and all may be rounded the same way.
        let rounded = study.taps.len() as i64;
        prop_assert!((drawn - given).abs() <= 20 + rounded + drawn / 1_000_000, "{drawn} and {given}: the display\n{}", yard.text());
        prop_assert_eq!(study.supplies.as_slice()[0], given);
        for section in &study.sections {
            let Some(low) = section.lowest else { continue };
            prop_assert!(!section.left_out && 0 <= low.uv && low.uv <= 12_000_000, "the display\n{}", yard.text());
            prop_assert_eq!(section.dark.is_some(), section.dark_nodes > 0);
        }
        // Every node that is put up is on some piece of plus.
        let lit: u64 = yard.nodes.iter().map(|nodes| u64::from(*nodes)).sum();
        prop_assert!(drawn > 0 && lit > 0);
        let again = power::at(&compiled.model, &compiled.plan, None);
        prop_assert_eq!(format!("{study:?}"), format!("{again:?}"));
    }

    /// Lines that need no solving come out as if solved: a hundred kilometres of the thinnest lead
    /// feed each in one more place, so that it is solved with the same result.
    #[test]
    fn plain_lines_are_as_solved(yard in yard()) {
        let yard = Yard { watts: false, feeds: Vec::new(), ..yard };
        let text = yard.text();
        let hairs: String = (0..yard.nodes.len())
            .map(|at| format!("inject p{at} at end from s through 99000 m of 40 AWG\n"))
            .collect();
        let (plain, solved) = (one(&text), one(&format!("{text}{hairs}")));
        let plain = power::at(&plain.model, &plain.plan, None);
        let solved = power::at(&solved.model, &solved.plan, None);
        prop_assert_eq!(plain.sections.len(), solved.sections.len());
        for (plain, solved) in plain.sections.iter().zip(&solved.sections) {
            let apart = (plain.lowest.unwrap().uv - solved.lowest.unwrap().uv).abs();
            prop_assert!(apart <= 500, "{apart} uV: the display\n{text}");
            prop_assert!((plain.port_ua - solved.port_ua).abs() <= 200);
            prop_assert!(plain.dark_nodes.abs_diff(solved.dark_nodes) <= 1);
        }
    }

    /// More feeds never lower what is left, and less light never does.
    #[test]
    fn more_feeds_and_less_light_help(yard in yard()) {
        let least = |yard: &Yard| {
            let compiled = one(&yard.text());
            let study = power::at(&compiled.model, &compiled.plan, None);
            let lows = study.sections.iter().filter_map(|section| section.lowest);
            lows.map(|low| low.uv).min().unwrap_or(i64::MAX)
        };
        let yard = Yard { watts: false, feeds: yard.feeds.into_iter().map(|feed| (feed.0, feed.1, feed.2, feed.3, false)).collect(), ..yard };
        let before = least(&yard);
        let bare = Yard { feeds: Vec::new(), ..yard.clone() };
        prop_assert!(least(&bare) <= before + 2, "the display\n{}", yard.text());
        let dimmer = Yard { level: yard.level.div_ceil(2), ..yard.clone() };
        prop_assert!(before <= least(&dimmer) + 2, "the display\n{}", yard.text());
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, ..ProptestConfig::default() })]

    /// Suggested injections, pasted, leave no line under its floor, whatever else is wrong there.
    #[test]
    fn suggestions_hold(yard in yard()) {
        let text = yard.text();
        let compiled = one(&text);
        let suggestions = compiled.suggest(None);
        let all: Vec<String> = suggestions
            .iter()
            .flat_map(|one| &one.inject)
            .map(|remedy| tinsel::usage::inject_statement(&compiled.model, remedy))
            .collect();
        let pasted = format!("{text}{}\n", all.join("\n"));
        let after = one(&pasted);
        let after = power::at(&after.model, &after.plan, None);
        let refused = |one: &&tinsel::loads::Suggestion| matches!(one.verdict, tinsel::loads::Verdict::Refused(_));
        let without = suggestions.iter().filter(refused).count();
        let dark = after.sections.iter().filter(|section| section.dark.is_some()).count();
        prop_assert!(dark <= without, "the display\n{}", pasted);
    }
}
