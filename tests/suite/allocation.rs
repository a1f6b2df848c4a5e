//! Properties of the allocation over random displays, held against [`crate::oracle`].
//!
//! A failing case prints as a display that can be compiled by hand. The seeds are fixed, so every
//! run tries the same displays; `PROPTEST_CASES` and `PROPTEST_RNG_SEED` try others.

use crate::check;
use crate::oracle::{self, Answer};
use crate::random::{Display, Spec, build, spec};
use proptest::prelude::*;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};
use tinsel::Compiled;
use tinsel::diagnostic::Severity;
use tinsel::model::StringId;

/// First and last channel of every string of a compiled display, by name.
fn table(compiled: &Compiled) -> oracle::Table {
    (0..compiled.model.strings.len())
        .filter_map(|at| {
            let id = StringId::from(at);
            let placed = compiled.plan.of(id)?;
            Some((compiled.model.name_of(id), (placed.start, placed.end)))
        })
        .collect()
}

fn errors(compiled: &Compiled) -> usize {
    compiled.findings.iter().filter(|finding| finding.severity == Severity::Error).count()
}

/// Runs a property over the same displays in every run.
fn over_displays(property: impl Fn(&Spec, &Display) -> Result<(), TestCaseError>) {
    let config = Config {
        cases: std::env::var("PROPTEST_CASES")
            .ok()
            .and_then(|cases| cases.parse().ok())
            .unwrap_or(192),
        failure_persistence: None,
        ..Config::default()
    };
    let seed = std::env::var("PROPTEST_RNG_SEED")
        .ok()
        .and_then(|seed| seed.parse::<u8>().ok())
        .unwrap_or(7);
    let rng = TestRng::from_seed(RngAlgorithm::ChaCha, &[seed; 32]);
    let mut runner = TestRunner::new_with_rng(config, rng);
    let outcome = runner.run(&spec(), |spec| {
        let display = build(&spec);
        property(&spec, &display).map_err(|error| match error {
            TestCaseError::Fail(reason) => {
                TestCaseError::fail(format!("{reason}\n--- the display ---\n{}", display.source()))
            }
            TestCaseError::Reject(reason) => TestCaseError::Reject(reason),
        })
    });
    if let Err(failure) = outcome {
        panic!("{failure}");
    }
}

#[test]
fn addresses_are_the_oracles() {
    let compared = std::cell::Cell::new(0_usize);
    over_displays(|_, display| {
        let compiled = check::one(&display.source());
        match oracle::decide(&display.case) {
            Answer::Lawful(expected) => {
                prop_assert_eq!(errors(&compiled), 0, "{}", check::told(&compiled));
                prop_assert_eq!(table(&compiled), expected);
                compared.set(compared.get() + 1);
            }
            Answer::Unlawful(why) => prop_assert!(errors(&compiled) > 0, "no error, but: {why}"),
            Answer::Open(_) => {}
        }
        Ok(())
    });
    // The generator must not drift into displays about which nothing is compared.
    assert!(compared.get() > 80, "only {} displays compared", compared.get());
}

#[test]
fn no_two_strings_share_a_slot_and_all_lie_in_lawful_universes() {
    over_displays(|_, display| {
        let compiled = check::one(&display.source());
        if errors(&compiled) > 0 {
            return Ok(());
        }
        let slots = compiled.plan.universe_slots.each();
        let mut taken: Vec<(u64, u64, String)> = Vec::new();
        for at in 0..compiled.model.strings.len() {
            let id = StringId::from(at);
            let name = compiled.model.name_of(id);
            let placed = compiled
                .plan
                .of(id)
                .ok_or_else(|| TestCaseError::fail(format!("{name} is nowhere")))?;
            prop_assert!(placed.end / slots < 63_999, "{name} lies past the last universe");
            for (first, last) in &display.case.reserved {
                prop_assert!(
                    placed.end / slots + 1 < *first || placed.start / slots + 1 > *last,
                    "{name} lies on reserved universes"
                );
            }
            if compiled.model.strings.as_slice()[at].same_as.is_none() {
                taken.push((placed.start, placed.end, name));
            }
        }
        taken.sort();
        for pair in taken.windows(2) {
            prop_assert!(pair[0].1 < pair[1].0, "{} and {} share a slot", pair[0].2, pair[1].2);
        }
        Ok(())
    });
}

#[test]
fn compiling_twice_gives_the_same() {
    over_displays(|_, display| {
        let source = display.source();
        let (one, two) = (check::one(&source), check::one(&source));
        prop_assert_eq!(check::told(&one), check::told(&two));
        prop_assert_eq!(format!("{:?}", one.plan), format!("{:?}", two.plan));
        Ok(())
    });
}

#[test]
fn the_order_of_independent_statements_moves_nothing() {
    over_displays(|spec, display| {
        let one = check::one(&display.source());
        let shuffled = display.shuffled(&spec.order);
        let two = check::one(&shuffled);
        prop_assert_eq!(errors(&one) > 0, errors(&two) > 0, "shuffled:\n{}", shuffled);
        if errors(&one) == 0 {
            prop_assert_eq!(table(&one), table(&two), "shuffled:\n{}", shuffled);
        }
        Ok(())
    });
}
