//! Any bytes as a display, compiled and told: no panic, sound places, the same answer twice, and addresses only
//! within the universes there are.

#![no_main]

use libfuzzer_sys::fuzz_target;
use tinsel::output;
use tinsel::report::{self, terminal};
use tinsel::source::{Loaded, Memory};
use tinsel::survey::{BY, View};
use tinsel::{Compiled, compile};

fn compiled(bytes: &[u8]) -> Compiled {
    let main = Loaded {
        identity: "yard.tinsel".to_owned(),
        name: "yard.tinsel".to_owned(),
        bytes: bytes.to_owned(),
    };
    compile(&Memory::default(), main)
}

fn said(compiled: &Compiled) -> Vec<u8> {
    let look = terminal::Look {
        colour: false,
        ascii: false,
        width: 80,
    };
    let mut out = Vec::new();
    terminal::write(&compiled.sources, &compiled.findings, look, &mut out).unwrap();
    for (_, write) in report::ALL {
        write(&compiled.sources, &compiled.findings, &mut out).unwrap();
    }
    let view = View::new(&compiled.model, &compiled.plan);
    for (_, write) in output::ALL {
        for (by, _) in BY {
            write(&view.survey(Some(by)), 80, &mut out).unwrap();
        }
    }
    out
}

fuzz_target!(|bytes: &[u8]| {
    let one = compiled(bytes);
    for finding in &one.findings {
        for label in &finding.labels {
            let file = one.sources.file_at(label.span.start).unwrap();
            let (start, end) = (label.span.start - file.base, label.span.end - file.base);
            assert!(
                file.text.get(start as usize..end as usize).is_some(),
                "{finding:?}"
            );
        }
    }
    if !one.has_errors() {
        for placed in one.plan.placed.iter().flatten() {
            let (universe, _) = one.plan.universe_slot(placed.end);
            assert!((1..=63_999).contains(&universe), "universe {universe}");
        }
    }
    assert_eq!(said(&one), said(&compiled(bytes)));
});
