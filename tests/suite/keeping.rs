//! What the lock keeps: properties over displays and edits, held against slow second deciders.

use crate::check;
use crate::random::{build, spec};
use proptest::prelude::*;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};
use tinsel::lock::Lock;
use tinsel::source::{Files, Memory};
use tinsel::{Compiled, compile_around};

/// Compiles one text around a lock.
pub fn around(text: &str, lock: &Lock) -> Compiled {
    let files = Memory::default().with(check::NAME, text);
    let main = files.load("", check::NAME).unwrap();
    compile_around(&files, main, Some(lock))
}

fn lock_of(compiled: &Compiled) -> Lock {
    Lock::of(&compiled.model, &compiled.plan)
}

#[test]
fn a_display_around_its_own_lock_is_the_same() {
    let config = Config {
        cases: 192,
        failure_persistence: None,
        ..Config::default()
    };
    let rng = TestRng::from_seed(RngAlgorithm::ChaCha, &[9; 32]);
    let mut runner = TestRunner::new_with_rng(config, rng);
    let compared = std::cell::Cell::new(0_usize);
    let outcome = runner.run(&spec(), |spec| {
        let text = build(&spec).source();
        let fresh = check::one(&text);
        if fresh.has_errors() {
            return Ok(());
        }
        let again = around(&text, &lock_of(&fresh));
        prop_assert_eq!(
            lock_of(&again),
            lock_of(&fresh),
            "\n--- the display ---\n{}",
            text
        );
        prop_assert_eq!(check::told(&again), check::told(&fresh), "\n{}", text);
        compared.set(compared.get() + 1);
        Ok(())
    });
    if let Err(failure) = outcome {
        panic!("{failure}");
    }
    assert!(compared.get() > 80, "only {} compared", compared.get());
}
