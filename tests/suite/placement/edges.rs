//! Edge cases: nothing to place, largest numbers, hardly any steps, each cause of no room.

use super::{check, port, room, site};
use tinsel::allocate::pack::{Cause, Group, Instance, Load, NoRoom, Order, Room, clashes, seek};

/// Enough for displays of a few lines.
const STEPS: u64 = 400_000;

fn group(sizes: &[u64]) -> Group {
    let line = |&size: &u64| Load { size, slots: 1, ..Load::default() };
    Group { lines: sizes.iter().map(line).collect(), lead: Vec::new() }
}

/// Sites with some ports and room; each port accepts class 0 or class 1, not both together.
fn yard(sites: &[(u32, u64)], groups: Vec<Group>) -> Instance {
    let mut instance = Instance { kinds: vec![0, 1], groups, ..Instance::default() };
    for (index, (ports, nodes)) in sites.iter().enumerate() {
        instance.sites.push(site());
        instance.ports.extend((1..=*ports).map(|number| port(index, number, index)));
        instance.looks.push(room(*nodes).repeat(2));
    }
    instance
}

fn refused(instance: &Instance) -> (NoRoom, Vec<(Vec<usize>, Cause)>) {
    let none = seek(instance, STEPS).unwrap_err();
    let sets = clashes(instance, STEPS * 10).into_iter();
    (none, sets.map(|clash| (clash.groups, clash.cause)).collect())
}

#[test]
fn nothing_and_extremes() {
    assert!(seek(&Instance::default(), STEPS).is_ok());
    assert!(seek(&yard(&[], vec![group(&[])]), 0).is_ok());
    assert!(seek(&yard(&[], vec![group(&[1])]), 0).is_err());
    let mut far = group(&[1 << 39, 1 << 39]);
    far.lead = vec![1 << 40, 1 << 40];
    far.lines[0].slots = 1 << 40;
    far.lines[1].slots = 1 << 40;
    let mut huge = yard(&[(2, u64::MAX), (2, u64::MAX)], vec![far.clone(), far.clone(), far]);
    huge.sites[0].carried = 1 << 40;
    assert!(seek(&huge, STEPS).is_ok());
}

#[test]
fn any_budget_gives_a_lawful_end() {
    for steps in [0, 1, 100, 10_000, 1_000_000] {
        for count in [1, 5, 30] {
            let groups = (0..count).map(|index| group(&[30 + index, 60, 10])).collect();
            let instance = yard(&[(16, 200), (8, 300)], groups);
            if let Ok(answer) = seek(&instance, steps) {
                check(&instance, &answer);
            }
        }
    }
}

#[test]
fn each_cause_is_told() {
    let mut other = group(&[50]);
    other.lines[0].class = 1;
    let mut deaf = yard(&[(2, 100)], vec![group(&[50]), other.clone()]);
    deaf.looks[0][1] = None;
    assert_eq!(refused(&deaf).1, [(vec![1], Cause::Alone)]);

    let long = yard(&[(2, 100)], vec![group(&[50]), group(&[20, 120])]);
    assert_eq!(refused(&long).1, [(vec![1], Cause::Alone)]);

    let few = [&[60][..], &[60], &[10], &[60]].map(group).to_vec();
    let ports = Cause::Ports { needed: 3, free: 2 };
    let (none, sets) = refused(&yard(&[(2, 100)], few));
    assert!(none.proven);
    assert_eq!(sets, [(vec![0, 1, 3], ports.clone())]);

    let unlike = vec![group(&[60]), group(&[60]), other];
    assert_eq!(refused(&yard(&[(2, 100)], unlike)).1, [(vec![0, 1, 2], ports)]);

    let mut small = yard(&[(4, 100)], vec![group(&[10, 10]), group(&[10])]);
    small.sites[0].limit = 2;
    let slots = Cause::Slots { needed: 3, left: 2 };
    assert_eq!(refused(&small).1, [(vec![0, 1], slots)]);

    // 50 + 40 and 30 + 30 + 40 leave no room for the last 30, though 220 nodes go into 300.
    let sizes = [&[90][..], &[60], &[60], &[60]].map(group).to_vec();
    let ports = Cause::Ports { needed: 4, free: 3 };
    assert_eq!(refused(&yard(&[(3, 100)], sizes)).1, [(vec![0, 1, 2, 3], ports)]);
}

#[test]
fn what_no_bound_proves_is_searched() {
    // Ports of 7 and 9 nodes hold 16, and the strings have 16, but no sum of strings is 7 or 9.
    let groups = [&[5][..], &[5], &[3], &[3]].map(group).to_vec();
    let instance = yard(&[(1, 7), (1, 9)], groups);
    let (none, sets) = refused(&instance);
    assert!(none.proven);
    assert_eq!(sets, [(vec![0, 1, 2, 3], Cause::Searched)]);
}

#[test]
fn a_group_stands_side_by_side_and_splits_only_when_it_must() {
    let wide = group(&[90, 90, 90, 90]);
    let instance = yard(&[(6, 100)], vec![group(&[90]), wide.clone(), group(&[90])]);
    let answer = seek(&instance, STEPS).unwrap();
    check(&instance, &answer);
    assert_eq!((answer.split, answer.apart), (0, 0));

    let instance = yard(&[(3, 100), (3, 100)], vec![wide]);
    let answer = seek(&instance, STEPS).unwrap();
    assert_eq!(answer.split, 1);
}

#[test]
fn side_by_side_comes_before_the_fewest_ports_unless_those_are_preferred() {
    let groups = vec![group(&[96, 48]), group(&[96, 48])];
    let mut instance = yard(&[(8, 143)], groups);
    let answer = seek(&instance, STEPS).unwrap();
    check(&instance, &answer);
    assert_eq!((answer.apart, answer.opened, answer.fewest), (0, 4, 3));
    instance.order = Order::Ports;
    let answer = seek(&instance, STEPS).unwrap();
    check(&instance, &answer);
    assert_eq!((answer.apart, answer.opened, answer.bound), (1, 3, 3));
}

#[test]
fn each_line_counts_the_current_that_it_draws_itself() {
    // One line of 60 at 60, one of 30 at 10: 3,900 of 4,000 on the fuse, 90 of 400 nodes.
    let mut groups = vec![group(&[60]), group(&[30])];
    groups[0].lines[0].draw = 3_600;
    groups[1].lines[0].draw = 300;
    let mut instance = yard(&[(2, 400)], groups);
    let limited = Some(Room { nodes: 400, current: 4_000 });
    instance.looks[0] = vec![limited; 2];
    let answer = seek(&instance, STEPS).unwrap();
    check(&instance, &answer);
    assert_eq!(answer.opened, 1);
    instance.groups[1].lines[0].draw = 401;
    assert_eq!(seek(&instance, STEPS).unwrap().opened, 2);
}

#[test]
fn the_fewest_strings_leave_their_port() {
    // 60 and 30 hang on the first port of 100, 40 on the second; 65 is new and fits if 60 joins 40.
    let mut groups = [&[60][..], &[30], &[40], &[65]].map(group).to_vec();
    for (group, home) in groups.iter_mut().zip([0, 0, 1]) {
        group.lines[0].home = Some(home);
        group.lines[0].plugs = (1, 3);
    }
    let instance = yard(&[(2, 100)], groups);
    let answer = seek(&instance, STEPS).unwrap();
    check(&instance, &answer);
    assert_eq!(answer.plugs, 1);
    assert_eq!(answer.ports, [[1], [0], [1], [0]]);
}
