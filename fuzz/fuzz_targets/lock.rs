//! Any bytes as the lock beside a display: refused with a word at a place within it, or read; and what is written of it is
//! read again as the same.

#![no_main]

use libfuzzer_sys::fuzz_target;
use tinsel::lockfile;
use tinsel::source::{Loaded, Memory};
use tinsel::{Compiled, compile_beside};

const DISPLAY: &str = "display \"pond\" { }\nnode dot { chip ws2811; colour RGB }\n\
                       controller pier { universes from 1; ports 1..4 { chip ws2811 } dmx 1 }\n\
                       prop arch * 3 { node dot; string 50 nodes }\nprop flood { slots 6 }\n\
                       wire pier.1: arch[1] -> arch[2]\nwire any: arch[3]\nwire pier.dmx1: flood\n\
                       renamed hoop -> arch\n";

fn named(name: &str, bytes: &[u8]) -> Loaded {
    Loaded {
        identity: name.to_owned(),
        name: name.to_owned(),
        bytes: bytes.to_owned(),
    }
}

fn compiled(lock: &[u8]) -> Compiled {
    let main = named("yard.tinsel", DISPLAY.as_bytes());
    compile_beside(&Memory::default(), main, Some(named("yard.lock", lock)))
}

fuzz_target!(|bytes: &[u8]| {
    let one = compiled(bytes);
    for label in one.findings.iter().flat_map(|finding| &finding.labels) {
        let file = one.sources.file_at(label.span.start).unwrap();
        let (start, end) = (label.span.start - file.base, label.span.end - file.base);
        assert!(file.text.get(start as usize..end as usize).is_some());
    }
    let Some(lock) = &one.lock else {
        assert!(one.findings.iter().any(|finding| finding.code == "lock/unreadable"));
        return;
    };
    let text = lockfile::write(&lock.lock, &lock.added);
    let again = compiled(text.as_bytes()).lock.unwrap();
    assert_eq!(lockfile::write(&again.lock, &again.added), text);
    if !one.blocks() {
        // Built again, nothing changes any more.
        let next = one.next_lock();
        assert_eq!(compiled(next.as_bytes()).next_lock(), next);
    }
});
