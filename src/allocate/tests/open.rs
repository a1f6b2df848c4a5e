//! Lines whose ports are open.

use super::*;

#[test]
fn open_lines_stand_side_by_side_on_the_fewest_ports() {
    let (mut display, c) = one(Start::Auto);
    let fixed = display.string(10);
    display.on(c, 2, &[fixed]);
    // A port that a wire names is a port like any other.
    let trio: Vec<StringId> = (0..3).map(|_| display.string(500)).collect();
    for id in &trio {
        display.wire(Target::Any, &[(*id, None)]);
        display.model.lines.last_mut().unwrap().group = 77;
    }
    let lone = display.string(500);
    display.wire(Target::Controller(c), &[(lone, None)]);
    let done = display.plan();
    let on =
        |id: StringId| done.plan.ports.as_slice()[done.plan.of(id).unwrap().port as usize].output;
    let seen: Vec<Output> = trio.iter().map(|id| on(*id)).collect();
    assert_eq!(seen, [1, 2, 3].map(Output::Pixel));
    assert_eq!(on(lone), Output::Pixel(4));
    // A port has time for 800 nodes: three of these share a port with one of 500, two open another.
    let more: Vec<StringId> = (0..5).map(|_| display.string(300)).collect();
    for id in &more {
        display.wire(Target::Any, &[(*id, None)]);
    }
    let done = display.plan();
    let on =
        |id: StringId| done.plan.ports.as_slice()[done.plan.of(id).unwrap().port as usize].output;
    let mut seen: Vec<Output> = trio.iter().chain(&more).map(|id| on(*id)).collect();
    let first = |at: usize| match seen[at] {
        Output::Pixel(port) | Output::Dmx(port) => port,
    };
    assert_eq!((first(1), first(2)), (first(0) + 1, first(0) + 2));
    seen.push(on(lone));
    seen.sort_unstable();
    seen.dedup();
    assert_eq!(seen.len(), 5);
    assert!(seen.contains(&Output::Pixel(2)), "{seen:?}");
    assert_eq!(done.codes, [""; 0]);
    let too_long = display.string(900);
    display.wire(Target::Any, &[(too_long, None)]);
    assert_eq!(display.plan().codes, ["place/no-room"]);
}

#[test]
fn open_lines_go_to_the_nearer_controller_that_has_universes_left() {
    let mut display = Display::new(3);
    let near = display.controller(Start::Auto, 4, 0);
    let far = display.controller(Start::Range(50, 60), 4, 0);
    display.set(near).stands = Some((0, 0));
    display.set(far).stands = Some((90_000_000, 0));
    let strings: Vec<StringId> = (0..2).map(|_| display.string(600)).collect();
    for id in &strings {
        display.wire(Target::Any, &[(*id, None)]);
    }
    for prop in &mut display.model.props {
        prop.details.get_or_insert_default().stands = Some((10_000_000, 5_000_000));
    }
    let on = |display: &Display| {
        let done = display.plan();
        let port = |id: &StringId| done.plan.of(*id).unwrap().port as usize;
        let of: Vec<_> =
            strings.iter().map(|id| done.plan.ports.as_slice()[port(id)].controller).collect();
        of
    };
    assert_eq!(on(&display), [near, near]);
    // 600 nodes are 1800 slots: four universes hold one of them.
    let at = display.spot();
    display.set(near).most_universes = Some(Stated { value: 4, at });
    let mut split = on(&display);
    split.sort_unstable();
    assert_eq!(split, [near, far]);
    display.set(near).most_universes = Some(Stated { value: 3, at });
    assert_eq!(on(&display), [far, far]);
}

#[test]
fn fixtures_without_an_output_fill_one_before_the_next() {
    let (mut display, c) = one(Start::Auto);
    let f: Vec<StringId> = (0..3).map(|_| display.prop(None, 200)).collect();
    for id in &f {
        display.wire(Target::Controller(c), &[(*id, None)]);
    }
    let done = display.plan();
    let seen: Vec<String> = f.iter().map(|s| done.of(*s)).collect();
    assert_eq!(seen, ["1/1 1/200", "1/201 1/400", "2/1 2/200"]);
}
