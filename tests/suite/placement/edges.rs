//! Borders: nothing to place, numbers at the end of their range, hardly any steps, and each cause of having no room.

use tinsel::allocate::pack::{
    Cause, DEFAULT_STEPS, Group, Instance, Line, NoRoom, Port, Site, place,
};

fn site(ports: usize, room: u64) -> Site {
    Site {
        ports: vec![
            Port {
                room: vec![room, room],
                open: false
            };
            ports
        ],
        carried: 0,
        limit: u64::MAX,
    }
}

fn group(sizes: &[u64]) -> Group {
    let line = |&size: &u64| Line {
        size,
        class: 0,
        weight: 1,
    };
    Group {
        lines: sizes.iter().map(line).collect(),
        sites: None,
        lead: Vec::new(),
        may_split: false,
    }
}

fn refused(sites: Vec<Site>, groups: Vec<Group>) -> NoRoom {
    match place(&Instance { sites, groups }, DEFAULT_STEPS) {
        Ok(answer) => panic!("{answer:?}"),
        Err(none) => none,
    }
}

#[test]
fn nothing_and_extremes() {
    assert!(place(&Instance::default(), DEFAULT_STEPS).is_ok());
    assert!(
        place(
            &Instance {
                sites: vec![],
                groups: vec![group(&[])]
            },
            0
        )
        .is_ok()
    );
    assert!(
        place(
            &Instance {
                sites: vec![],
                groups: vec![group(&[1])]
            },
            0
        )
        .is_err()
    );
    let mut huge = site(2, u64::MAX);
    huge.carried = u64::MAX;
    let mut far = group(&[1 << 39, 1 << 39]);
    far.lead = vec![u64::MAX];
    far.lines[0].weight = u64::MAX;
    far.lines[1].weight = u64::MAX;
    let instance = Instance {
        sites: vec![huge.clone(), huge],
        groups: vec![far.clone(), far.clone(), far],
    };
    assert!(place(&instance, DEFAULT_STEPS).is_ok());
    let none = refused(vec![site(1, u64::MAX)], vec![group(&[u64::MAX])]);
    assert!(none.proven);
}

#[test]
fn any_budget_gives_a_lawful_end() {
    for steps in [0, 1, 100, 10_000, 1_000_000] {
        for count in [1, 5, 30] {
            let groups = (0..count)
                .map(|index| group(&[30 + index, 60, 10]))
                .collect();
            let instance = Instance {
                sites: vec![site(16, 200), site(8, 300)],
                groups,
            };
            if let Ok(answer) = place(&instance, steps) {
                assert!(answer.opened >= answer.bound);
            }
        }
    }
}

#[test]
fn each_cause_is_told() {
    let mut other = group(&[50]);
    other.lines[0].class = 7;
    let none = refused(vec![site(2, 100)], vec![group(&[50]), other]);
    assert_eq!(
        (none.clash, none.cause),
        (
            vec![1],
            Cause::Class {
                group: 1,
                line: 0,
                class: 7
            }
        )
    );

    let none = refused(vec![site(2, 100)], vec![group(&[50]), group(&[20, 120])]);
    assert_eq!(
        (none.clash, none.cause),
        (
            vec![1],
            Cause::Size {
                group: 1,
                line: 1,
                size: 120,
                room: 100
            }
        )
    );

    let none = refused(
        vec![site(2, 100)],
        vec![group(&[60]), group(&[60]), group(&[10]), group(&[60])],
    );
    assert_eq!(
        (none.clash, none.cause),
        (
            vec![0, 1, 3],
            Cause::Ports {
                classes: vec![0],
                needed: 3,
                free: 2
            }
        )
    );

    let mut unlike = group(&[60]);
    unlike.lines[0].class = 1;
    let none = refused(vec![site(2, 100)], vec![group(&[60]), group(&[60]), unlike]);
    assert_eq!(
        none.cause,
        Cause::Ports {
            classes: vec![0, 1],
            needed: 3,
            free: 2
        }
    );
}

#[test]
fn causes_beyond_ports_are_told() {
    let mut small = site(4, 100);
    small.limit = 2;
    let none = refused(vec![small], vec![group(&[10, 10]), group(&[10])]);
    assert_eq!(
        (none.clash, none.cause),
        (
            vec![0, 1],
            Cause::Limit {
                weight: 3,
                limit: 2
            }
        )
    );

    let none = refused(vec![site(1, 100), site(1, 100)], vec![group(&[60, 60])]);
    assert_eq!((none.clash, none.cause), (vec![0], Cause::Together));

    let mut tied = group(&[60]);
    tied.sites = Some(vec![0]);
    let none = refused(
        vec![site(1, 100), site(4, 100)],
        vec![tied.clone(), group(&[60]), tied],
    );
    assert_eq!(
        (none.clash, none.cause),
        (
            vec![0, 2],
            Cause::Ports {
                classes: vec![0],
                needed: 2,
                free: 1
            }
        )
    );

    let none = refused(vec![], vec![group(&[1])]);
    assert_eq!(none.clash, vec![0]);
}

#[test]
fn a_group_stands_side_by_side_and_splits_only_when_it_must() {
    let mut wide = group(&[90, 90, 90, 90]);
    wide.may_split = true;
    let instance = Instance {
        sites: vec![site(6, 100)],
        groups: vec![group(&[90]), wide.clone(), group(&[90])],
    };
    let answer = place(&instance, DEFAULT_STEPS);
    let ports: Vec<usize> = answer
        .iter()
        .flat_map(|answer| &answer.spots[1])
        .map(|spot| spot.port)
        .collect();
    assert!(
        ports.len() == 4 && ports.windows(2).all(|pair| pair[1] == pair[0] + 1),
        "{ports:?}"
    );

    let instance = Instance {
        sites: vec![site(3, 100), site(3, 100)],
        groups: vec![wide],
    };
    assert_eq!(
        place(&instance, DEFAULT_STEPS).map(|answer| answer.split),
        Ok(vec![0])
    );
}
