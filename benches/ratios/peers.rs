//! The same sizes for general tools that assign addresses: an assembler with its linker, and a
//! compiler of register maps. A tool that is not installed is left out.

use std::fmt::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// Slots of an item: between 150 and 450, as props have them.
fn slots(at: usize) -> usize {
    150 + at * 37 % 301
}

fn quiet(command: &mut Command) -> bool {
    command
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .is_ok_and(|status| status.success())
}

/// The median of five runs of something that may fail.
fn median(mut run: impl FnMut() -> bool) -> Option<Duration> {
    let mut times = Vec::new();
    for _ in 0..5 {
        let started = Instant::now();
        if !run() {
            return None;
        }
        times.push(started.elapsed());
    }
    times.sort_unstable();
    times.get(2).copied()
}

/// GNU as and ld: a section for each item, all put into one, and the map as the table.
pub fn assembler(folder: &Path, items: usize) -> Option<Duration> {
    let (source, script) = (folder.join("peer.s"), folder.join("peer.ld"));
    let (object, map, made) =
        (folder.join("peer.o"), folder.join("peer.map"), folder.join("peer.out"));
    let mut text = String::new();
    for at in 0..items {
        // Writing to a String can't fail.
        let _ = writeln!(
            text,
            ".section .d.p{at},\"aw\",@nobits\n.globl p{at}\np{at}: .skip {}",
            slots(at)
        );
    }
    std::fs::write(&source, text).ok()?;
    std::fs::write(&script, "SECTIONS { .d : { *(.d.*) } }\n").ok()?;
    median(|| {
        quiet(Command::new("as").arg("-o").arg(&object).arg(&source))
            && quiet(
                Command::new("ld")
                    .arg("-T")
                    .arg(&script)
                    .arg("-Map")
                    .arg(&map)
                    .arg("-o")
                    .arg(&made)
                    .arg(&object),
            )
    })
}

const REGISTERS: &str = "\
import sys
from systemrdl import RDLCompiler
compiler = RDLCompiler()
compiler.compile_file(sys.argv[1])
for node in compiler.elaborate().top.children():
    print(node.inst_name, node.raw_absolute_address, node.total_size)
";

/// systemrdl-compiler: an array of registers for each item, with addresses assigned.
pub fn registers(folder: &Path, items: usize) -> Option<Duration> {
    let (source, script) = (folder.join("peer.rdl"), folder.join("peer.py"));
    let mut text = String::from(
        "addrmap top {\n reg r { regwidth = 8; accesswidth = 8; field { sw = rw; hw = r; } d[8]; };\n",
    );
    for at in 0..items {
        let _ = writeln!(text, " r p{at}[{}];", slots(at));
    }
    text.push_str("};\n");
    std::fs::write(&source, text).ok()?;
    std::fs::write(&script, REGISTERS).ok()?;
    if !quiet(Command::new("python3").args(["-c", "import systemrdl"])) {
        return None;
    }
    let started = Instant::now();
    quiet(Command::new("python3").arg(&script).arg(&source)).then(|| started.elapsed())
}
