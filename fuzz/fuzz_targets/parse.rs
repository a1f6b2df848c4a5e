//! Any bytes as a main text, parsed only: no panic, every place within the text and on characters.

#![no_main]

use libfuzzer_sys::fuzz_target;
use tinsel::diagnostic::Sink;
use tinsel::source::SourceMap;

fuzz_target!(|text: &str| {
    let mut sources = SourceMap::default();
    let Some(file) = sources.add("yard.tinsel", text) else {
        return;
    };
    let mut sink = Sink::default();
    let _ = tinsel::syntax::parse(file, &mut sink);
    for finding in sink.finish() {
        assert!(!finding.labels.is_empty());
        for label in finding.labels {
            assert!(
                text.get(label.span.start as usize..label.span.end as usize)
                    .is_some()
            );
        }
    }
});
