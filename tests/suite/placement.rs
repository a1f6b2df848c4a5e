//! Recorded instances: figures to be reached, bounds to be proven, the same answer twice.

mod decider;
mod edges;
mod yards;

use crate::check;
use crate::keeping::edits::Lot;
use crate::outputs::table_text;
use serde_json::Value;
use tinsel::allocate::pack::{
    Answer, Group, Instance, Load, Order, Room, Site, Socket, budget, seek,
};
use yards::Yard;

/// A port of a site, free.
fn port(site: usize, number: u32, look: usize) -> Socket {
    Socket { site, number, place: site, look, ..Socket::default() }
}

/// A site without limits.
fn site() -> Site {
    Site { limit: u64::MAX, unit: 1, ..Site::default() }
}

/// What a port takes of every class.
fn room(nodes: u64) -> Vec<Option<Room>> {
    vec![Some(Room { nodes, current: u64::MAX })]
}

fn read(name: &str) -> Instance {
    let file = format!("{}/tests/placement/{name}.json", env!("CARGO_MANIFEST_DIR"));
    let data: Value = serde_json::from_str(&std::fs::read_to_string(file).unwrap()).unwrap();
    let list = |value: &Value| value.as_array().cloned().unwrap_or_default();
    let number = |value: &Value| value.as_u64().unwrap_or(0);
    let at = |value: &Value| value["pos"].as_f64().unwrap_or(0.0);
    let line = |size: &Value| Load { size: number(size), ..Load::default() };
    let mut instance = Instance { kinds: vec![0], order: Order::Ports, ..Instance::default() };
    if data["C"].is_u64() {
        let sizes = list(&data["w"]);
        instance.sites.push(site());
        instance.ports = (1..=sizes.len() as u32).map(|number| port(0, number, 0)).collect();
        instance.looks.push(room(number(&data["C"])));
        let alone = |size: &Value| Group { lines: vec![line(size)], lead: Vec::new() };
        instance.groups = sizes.iter().map(alone).collect();
        return instance;
    }
    let sites = list(&data["ctl"]);
    for (index, at) in sites.iter().enumerate() {
        instance.sites.push(site());
        instance.looks.push(room(number(&at["L"])));
        let look = instance.looks.iter().position(|look| *look == room(number(&at["L"])));
        let ports = 1..=number(&at["P"]) as u32;
        instance.ports.extend(ports.map(|number| port(index, number, look.unwrap())));
    }
    let metres = |prop: &Value| {
        let lead = |site: &Value| (10.0 * (at(prop) - at(site)).abs()).round_ties_even() as u64;
        sites.iter().map(lead).collect()
    };
    let group = |prop: &Value| Group {
        lines: list(&prop["s"]).iter().map(line).collect(),
        lead: metres(prop),
    };
    instance.groups = list(&data["props"]).iter().map(group).collect();
    instance
}

/// Counts an answer again: rooms, currents and limits of sites hold, kinds do not mix; split and
/// apart groups, opened ports and lead are as the answer has them.
fn check(instance: &Instance, answer: &Answer) {
    let mut loads: std::collections::BTreeMap<usize, (u64, u64, usize, u64)> =
        std::collections::BTreeMap::new();
    let (mut lead, mut split, mut apart) = (0, 0, 0);
    for (group, ports) in instance.groups.iter().zip(&answer.ports) {
        let site = |port: usize| instance.ports[port].site;
        let beside = |pair: &[usize]| {
            let (a, b) = (&instance.ports[pair[0]], &instance.ports[pair[1]]);
            pair[0] == pair[1] || a.site == b.site && a.number + 1 == b.number
        };
        let whole = ports.iter().all(|port| site(*port) == site(ports[0]));
        split += u64::from(!whole);
        apart += u64::from(whole && !ports.windows(2).all(beside));
        for (line, port) in group.lines.iter().zip(ports) {
            let at = &instance.ports[*port];
            let room = instance.looks[at.look][line.class].unwrap();
            let kind = instance.kinds[line.class];
            let load = loads.entry(*port).or_insert((0, 0, kind, at.slots));
            *load = (load.0 + line.size, load.1 + line.draw, load.2, load.3 + line.slots);
            assert!(load.0 <= room.nodes && load.1 <= room.current, "port {port}: {load:?}");
            assert_eq!(load.2, kind, "unlike nodes on port {port}");
            assert!(at.kind.is_none_or(|known| known == kind));
            lead += group.lead.get(at.place).copied().unwrap_or(0);
        }
    }
    for (index, site) in instance.sites.iter().enumerate() {
        let rounded = |slots: u64| match slots {
            0 => 0,
            slots => (slots + site.spare).div_ceil(site.unit) * site.unit,
        };
        let ports = (0..instance.ports.len()).filter(|port| instance.ports[*port].site == index);
        let slots = ports.map(|port| loads.get(&port).map_or(instance.ports[port].slots, |l| l.3));
        let slots: u64 = slots.map(rounded).sum();
        let placed = loads.keys().any(|port| instance.ports[*port].site == index);
        assert!(!placed || site.taken + slots <= site.limit, "site {index}");
    }
    let opened = loads.keys().filter(|port| !instance.ports[**port].used).count() as u64;
    assert_eq!(
        (opened, lead, split, apart),
        (answer.opened, answer.lead, answer.split, answer.apart)
    );
    assert!(answer.bound <= answer.opened && answer.fewest <= answer.opened);
}

fn solve(name: &str) -> (Instance, Answer) {
    let instance = read(name);
    let lines = instance.groups.iter().map(|group| group.lines.len()).sum();
    let answer = seek(&instance, budget(lines)).unwrap();
    check(&instance, &answer);
    (instance, answer)
}

/// What must be reached: ports, what must be proven of them, and lead in tenths of a metre.
#[expect(clippy::print_stdout, reason = "answer and bound side by side, with --nocapture")]
fn reaches(name: &str, ports: u64, bound: u64, lead: u64) -> (Instance, Answer) {
    let (instance, answer) = solve(name);
    println!(
        "{name}: {} ports, no fewer than {} possible, {} m of leads{}, {} steps",
        answer.opened,
        answer.bound,
        answer.lead as f64 / 10.0,
        if answer.least_lead { ", no less" } else { "" },
        answer.steps
    );
    assert!(answer.opened <= ports, "{name}: {} ports", answer.opened);
    assert!(answer.bound >= bound, "{name}: bound {}", answer.bound);
    // Fewer ports may cost lead.
    assert!(answer.opened < ports || answer.lead <= lead, "{name}: lead {}", answer.lead);
    (instance, answer)
}

#[test]
fn a_small_display_is_placed_at_the_optimum_each_time() {
    let (instance, answer) = reaches("a30", 26, 26, 1_546);
    let lines = instance.groups.iter().map(|group| group.lines.len()).sum();
    assert_eq!(seek(&instance, budget(lines)), Ok(answer));
}

#[test]
fn a_middling_display_takes_the_fewest_ports() {
    reaches("a150", 103, 103, 10_700);
}

#[test]
fn a_large_display_comes_near_the_fewest_ports() {
    let (instance, answer) = reaches("a600", 305, 302, 39_760);
    let lead = |group: usize, ports: &[usize]| -> u64 {
        ports.iter().map(|port| instance.groups[group].lead[instance.ports[*port].place]).sum()
    };
    let pairs = (0..instance.groups.len()).flat_map(|one| (0..one).map(move |other| (one, other)));
    for (a, b) in pairs.filter(|(a, b)| instance.groups[*a].lines == instance.groups[*b].lines) {
        let (on, off) = (&answer.ports[a], &answer.ports[b]);
        let (now, exchanged) = (lead(a, on) + lead(b, off), lead(a, off) + lead(b, on));
        assert!(
            now <= exchanged,
            "props {a} and {b} are alike and hang better the other way round"
        );
    }
}

#[test]
#[expect(clippy::print_stdout, reason = "answer and bound side by side, with --nocapture")]
fn bins_reach_the_recorded_figures() {
    // The optimum, and how many above are allowed: half a percent for uniform ones, one for
    // triplets.
    let optimum = [
        ("u120", 49, 0),
        ("u250", 96, 0),
        ("u500", 204, 1),
        ("u1000", 399, 1),
        ("t60", 20, 1),
        ("t120", 40, 1),
        ("t249", 83, 1),
        ("t501", 167, 1),
    ];
    for (name, bins, more) in optimum {
        let (_, answer) = solve(name);
        let opened = answer.opened;
        println!(
            "{name}: {opened} bins, no fewer than {} possible, {} steps",
            answer.bound, answer.steps
        );
        assert!(opened <= bins + more, "{name}: {opened} bins");
        assert_eq!(answer.bound, bins, "{name}: bound");
    }
}

/// Strings of 5 to 90 % of a port on sites of eight ports: how many ports they need, and the bound.
fn near_the_bound(seed: u64, props: u64) {
    let mut lot = Lot::new(seed);
    let most = [170, 340, 680, 800][lot.below(4) as usize];
    let mut instance = Instance {
        kinds: vec![0],
        looks: vec![room(most)],
        order: Order::Ports,
        ..Instance::default()
    };
    let mut nodes = 0;
    for _ in 0..props {
        let several = if lot.below(4) == 0 { 1 + lot.below(4) } else { 1 };
        let size = (most * (5 + lot.below(86)) / 100).max(1);
        nodes += size * several;
        let lines = (0..several).map(|_| Load { size, ..Load::default() });
        instance.groups.push(Group { lines: lines.collect(), lead: Vec::new() });
    }
    for index in 0..(nodes / most * 5 / 4 / 8 + 2) as usize {
        instance.sites.push(site());
        instance.ports.extend((1..=8).map(|number| port(index, number, 0)));
    }
    let lines = instance.groups.iter().map(|group| group.lines.len()).sum();
    let answer = seek(&instance, budget(lines)).unwrap();
    check(&instance, &answer);
    assert!(
        answer.opened <= answer.bound + answer.bound / 100 + 1,
        "{seed}: {} ports, bound {}",
        answer.opened,
        answer.bound
    );
}

#[test]
fn many_strings_of_one_kind_come_near_the_bound() {
    near_the_bound(1, 300);
}

#[test]
#[ignore = "takes minutes in a debug build"]
fn many_more_strings_of_one_kind_come_near_the_bound() {
    (2..=60).for_each(|seed| near_the_bound(seed, 300 + 40 * seed));
    near_the_bound(61, 10_000);
}

/// How many displays are drawn, and of how many props at most; `PLACING_CASES` and `PLACING_PROPS`
/// set others.
const FEW_YARDS: usize = 3;
const FEW_PROPS: usize = 24;

fn figure(name: &str, usual: usize) -> usize {
    let said = std::env::var(name).ok();
    said.and_then(|said| said.parse().ok()).unwrap_or(usual)
}

/// Where a plan exists, one is found; it keeps every limit and needs no more ports than plain ways.
#[test]
fn what_has_a_solution_is_placed() {
    let count = figure("PLACING_CASES", FEW_YARDS);
    let wrong = placed(1..=count as u64, figure("PLACING_PROPS", FEW_PROPS));
    assert!(wrong.is_empty(), "{} wrong\n{}", wrong.len(), wrong.join("\n"));
}

/// The same for 2,000 displays: many small ones, some large. `PLACING_FROM` and `PLACING_TO` say
/// which of them; what was seen is printed after every 50.
#[test]
#[ignore = "takes an hour in a debug build"]
#[expect(clippy::print_stdout, reason = "what is wrong is seen before the end, with --nocapture")]
fn what_has_a_solution_is_placed_two_thousand_times() {
    let (from, to) = (figure("PLACING_FROM", 1) as u64, figure("PLACING_TO", 2_000) as u64);
    let mut all = 0;
    for first in (from..=to).step_by(50) {
        let props = match first {
            0..=1_500 => 60,
            1_501..=1_950 => 300,
            _ => 3_000,
        };
        println!("from {first}:");
        let wrong = placed(first..=to.min(first + 49), props);
        wrong.iter().for_each(|one| println!("wrong: {one}"));
        all += wrong.len();
    }
    assert_eq!(all, 0, "wrong, see above");
}

#[allow(clippy::print_stdout, reason = "the figures are what is measured")]
fn placed(seeds: std::ops::RangeInclusive<u64>, props: usize) -> Vec<String> {
    let count = seeds.clone().count();
    let mut wrong = Vec::new();
    let (mut ports, mut plain, mut planted) = (0, 0, 0);
    for seed in seeds {
        let mut lot = Lot::new(seed);
        let least = 20.min(props as u64);
        let some = least + lot.below(props as u64 + 1 - least);
        let yard = Yard::draw(&mut lot, some as usize);
        let ways: Vec<usize> =
            [true, false].into_iter().filter_map(|best| yard.plain(best)).collect();
        let best = ways.iter().min().copied();
        for prefer in ["; prefer fewest ports", ""] {
            let text = yard.text(prefer);
            let compiled = check::one(&text);
            if compiled.blocks() {
                if best.is_none() && !yard.roomy {
                    continue;
                }
                let told = check::told(&compiled);
                wrong.push(format!("{seed}{prefer}: refused ({best:?} plain)\n{told}"));
                continue;
            }
            let table = serde_json::from_str(&table_text(&compiled, "json")).unwrap();
            let (faults, used, torn) = yard.broken(&table);
            if !faults.is_empty() {
                wrong.push(format!("{seed}{prefer}: {faults:?}"));
            }
            if prefer.is_empty() {
                continue;
            }
            if best.is_some_and(|best| torn == 0 && used > best) {
                wrong.push(format!(
                    "{seed}: {used} ports, {best:?} plain, {} planted",
                    yard.planted
                ));
            }
            (ports, plain, planted) =
                (ports + used, plain + best.unwrap_or(yard.planted), planted + yard.planted);
        }
    }
    println!("{count} displays: {ports} ports, {plain} by the better plain way, {planted} planted");
    wrong
}
