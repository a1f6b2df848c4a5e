//! `address/pin`: a pin where the string can't start.

use crate::diagnostic::{Diagnostic, Severity};
use crate::grid::Grid;
use crate::model::{Addressing, Controller, Model, Pinned, StringId};
use crate::rules::{Page, Rule};
use crate::source::Span;
use crate::unit::counted;
use crate::usage::channel_name;

/// The rule.
pub const RULE: Rule = Rule {
    code: "address/pin",
    severity: Severity::Error,
    title: "a pin that its output cannot take",
    page: Page {
        means: "A pin fixes where a string starts. A controller that numbers `per port` keeps each port as one unbroken \
                range, so only the first string of a port can be pinned; a `consecutive` controller keeps all its ports as \
                one range, so only its very first string can. A pin on any other string must name the very place \
                where the string lies without it. A string \
                that shows another's data starts where that one does. A controller with `universe N slots` uses no slot after \
                N, so no string of its pixel ports starts there.",
        why: "The controller has one start address for the port. After it the data follow node by node, whatever the table \
              says, so the string would show what is meant for another.",
        source: "grammar/LANGUAGE.md, \"Pins\", grammar/LANGUAGE.md, \"Where strings lie\", rule 6",
        wrong: "node dot { chip ws2811; colour RGB }\n\
                prop arch * 2 { node dot; string 50 nodes }\n\
                controller pier { ports 1..4 { chip ws2811 } }\n\
                wire pier.1: arch[1] -> arch[2] at 9/1\n",
        change: &[("-> arch[2] at 9/1", "at 9/1 -> arch[2]")],
    },
    check: None,
};

/// A pinned string that does not lie where its pin says.
pub struct Fall {
    /// The string, and the place of its reference.
    pub item: (StringId, Span),
    /// The channel of the pin from 0, and its place.
    pub pin: (u64, Span),
    /// The channel from 0 where it falls.
    pub falls: u64,
    /// The controller, as an index of the model's controllers.
    pub controller: usize,
}

/// A string in an unbroken range that is pinned to another place than where it falls.
#[must_use]
pub fn elsewhere(model: &Model, fall: &Fall) -> Diagnostic {
    let name = model.name_of(fall.item.0);
    let falls = channel_name(model, fall.falls);
    let controller = model.controllers.as_slice().get(fall.controller);
    let addressing = controller.map_or(Addressing::PerPort, |c| c.addressing);
    let whose = controller.map_or("", |c| &*c.name);
    let unbroken = if addressing == Addressing::Consecutive {
        format!("all ports of `{whose}` are one unbroken range")
    } else {
        format!("a port of `{whose}` is one unbroken range")
    };
    RULE.report(
        fall.item.1,
        format!(
            "`{name}` is pinned to {} but falls on {falls}: {unbroken}",
            channel_name(model, fall.pin.0)
        ),
    )
    .label(format!("falls on {falls}, right after the string before it"))
    .why(
        "the controller sends one string's data right after the other's, so this string would \
         show another's",
    )
    .help(format!(
        "take the pin away or write `at {falls}`; if the controller can give each string a start \
         of its own, set `addressing per prop` on `{whose}`"
    ))
    .and(fall.pin.1, "pinned here")
    .and_if(
        controller.and_then(|c| c.addressing_at),
        format!("addressing is {}", addressing.words()),
    )
}

/// A pin where the first node does not fit into the universe (with `whole nodes`), or a pin to a
/// slot that the controller does not use.
#[must_use]
pub fn not_whole(model: &Model, fall: &Fall) -> Diagnostic {
    let name = model.name_of(fall.item.0);
    let pin = channel_name(model, fall.pin.0);
    let falls = channel_name(model, fall.falls);
    let controller = model.controllers.as_slice().get(fall.controller);
    let own = controller.and_then(|c| Some((c, c.universe_slots?)));
    if let Some((controller, own)) = own
        && !Grid::of(model, controller).uses(fall.pin.0)
    {
        let whose = &controller.name;
        let used = counted(own.value, "slot");
        return RULE
            .report(
                fall.item.1,
                format!(
                    "`{name}` is pinned to {pin}, but `{whose}` uses only {used} of each universe"
                ),
            )
            .label("pinned after the last slot in use")
            .why(
                "the controller goes on at slot 1 of the next universe, so it never reads this \
                 slot",
            )
            .help(format!("write `at {falls}`, the next slot that `{whose}` uses"))
            .and(fall.pin.1, "pinned here")
            .and(own.at, format!("{used} set here"));
    }
    let slots = model.node_of(fall.item.0).map_or(1, |node| node.slots);
    RULE.report(
        fall.item.1,
        format!(
            "`{name}` is pinned to {pin}, where no node of {} fits whole",
            counted(slots, "slot")
        ),
    )
    .label("its first node would run over the end of the universe")
    .why(
        "`whole nodes` is set, so the controller starts a node that does not fit in the next \
         universe",
    )
    .help(format!("write `at {falls}`, the next place for a whole node"))
    .and(fall.pin.1, "pinned here")
}

/// A pin on a pixel port with a slot but without a universe.
#[must_use]
pub fn slot_alone(model: &Model, id: StringId, at: Span, pin: Pinned) -> Diagnostic {
    let name = model.name_of(id);
    RULE.report(at, format!("the pin of `{name}` names a slot but no universe"))
        .label("on a pixel port, so it needs a universe too")
        .why("only a DMX output has one universe of its own; a pixel port may begin in any")
        .help("write universe and slot, as in `at 12/1`, or a channel, as in `at channel 5633`")
        .and(pin.at, "no universe here")
}

/// Pins that put one DMX output into two universes. `universes` and `pins` have those of this
/// string, then those of the output's first pin.
#[must_use]
pub fn two_universes(
    model: &Model,
    one: (StringId, Span),
    universes: (u32, u32),
    pins: (Span, Span),
) -> Diagnostic {
    let name = model.name_of(one.0);
    let (here, first) = universes;
    RULE.report(
        one.1,
        format!(
            "`{name}` is pinned into universe {here}, but its DMX output is in universe {first}"
        ),
    )
    .label(format!("universe {here}"))
    .why("a DMX output sends one universe, so fixtures in another would not hear it")
    .help(format!("pin it within universe {first}, or wire it to another DMX output"))
    .and(pins.0, format!("pinned into universe {here}"))
    .and(pins.1, format!("this pin puts the output into universe {first}"))
}

/// A fixture that shows another's data, on a DMX output in another universe. `universes` has that
/// of the data, then that of the output.
#[must_use]
pub fn other_universe(
    model: &Model,
    one: (StringId, Span),
    shown: StringId,
    universes: (u32, u32),
) -> Diagnostic {
    let (name, shown) = (model.name_of(one.0), model.name_of(shown));
    let (theirs, ours) = universes;
    RULE.report(
        one.1,
        format!(
            "`{name}` shows the data of `{shown}` in universe {theirs}, but its DMX output is in universe {ours}"
        ),
    )
    .label(format!("its data are in universe {theirs}"))
    .why("a DMX output sends one universe, so the fixture would not get the data it is to show")
    .help(format!(
        "wire `{name}` to the output of `{shown}`, or to a DMX output with nothing else on it"
    ))
}

/// A string that shows the data of a string on a controller with another number of slots in use of
/// each universe: the two controllers, and how many slots they use.
#[must_use]
pub fn other_cut(
    model: &Model,
    one: (StringId, Span),
    shown: StringId,
    (own, other): (&Controller, &Controller),
    slots: (u32, u32),
) -> Diagnostic {
    let (name, shown) = (model.name_of(one.0), model.name_of(shown));
    let (mine, theirs) = (&own.name, &other.name);
    let (how, what) = if slots.0 != slots.1 {
        let one = counted(slots.0, "slot");
        (
            format!("`{mine}` uses {one} of each universe, but `{theirs}` uses {}", slots.1),
            "use as many slots of each universe (`universe N slots`)",
        )
    } else {
        let (whole, cut) = if own.whole_nodes { (mine, theirs) } else { (theirs, mine) };
        (
            format!("`{whole}` keeps nodes whole, but `{cut}` does not"),
            "both keep nodes whole, or neither (`whole nodes`)",
        )
    };
    RULE.report(one.1, format!("`{name}` can't show the data of `{shown}`: {how}"))
        .label("uses a slot that one of the two controllers skips")
        .why(
            "each goes on in the next universe after the last slot that it uses, so all nodes from \
             there on would differ",
        )
        .help(format!("let `{mine}` and `{theirs}` {what}"))
        .and_if(own.universe_slots.map(|told| told.at), format!("`{mine}` set here"))
        .and_if(other.universe_slots.map(|told| told.at), format!("`{theirs}` set here"))
}

/// A string that shows another's data and is pinned to another place.
#[must_use]
pub fn not_the_shown(
    model: &Model,
    one: (StringId, Span),
    shown: StringId,
    pin: (u64, Span),
    start: u64,
) -> Diagnostic {
    let (name, shown) = (model.name_of(one.0), model.name_of(shown));
    let start = channel_name(model, start);
    RULE.report(
        one.1,
        format!(
            "`{name}` is pinned to {}, but the data of `{shown}` that it shows start at {start}",
            channel_name(model, pin.0)
        ),
    )
    .label(format!("shows the data of `{shown}`"))
    .why("it can't start in two places")
    .help(format!("take the pin away; `{name}` then starts at {start}"))
    .and(pin.1, "pinned here")
}

/// A string that shows another's data, at a place of its port where other data are sent. `alone`
/// says whether all strings of the port show data of others.
#[must_use]
pub fn port_of_its_own(
    model: &Model,
    one: (StringId, Span),
    shown: StringId,
    controller: usize,
    alone: bool,
) -> Diagnostic {
    let (name, shown) = (model.name_of(one.0), model.name_of(shown));
    let whose = model.controllers.as_slice().get(controller);
    let (whose, consecutive) =
        whose.map_or(("", false), |c| (&*c.name, c.addressing == Addressing::Consecutive));
    let help = if consecutive {
        format!(
            "put it on a controller with `addressing per port`, or start `{whose}` where `{shown}` starts"
        )
    } else {
        format!(
            "give `{name}` a port of its own, or set `addressing per prop` on `{whose}` if the hardware can do it"
        )
    };
    let label = if alone {
        format!("`{shown}` does not lie right after what comes before it here")
    } else {
        "does not stand on a port of its own".into()
    };
    RULE.report(
        one.1,
        format!("`{name}` can't show the data of `{shown}` in this place on the port"),
    )
    .label(label)
    .why("a port sends one unbroken range, so this string would show what comes next there")
    .help(help)
}
