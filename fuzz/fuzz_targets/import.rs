//! Any bytes as a table of props, below a header with many kinds of columns and without one: refused
//! in words, or read to the same display and lock twice.

#![no_main]

use libfuzzer_sys::fuzz_target;
use tinsel::import::{Reading, import};

const HEADER: &str = "name,count,nodes,strings,strands,channels,controller,port,limit,lead,universe,slot,enduniverse,endslot,start,end,\
                      node,colourorder,volts,sameas,built,note\n";

fn read(bytes: &[u8]) -> Result<(String, Option<String>), String> {
    let read = import("props.csv", bytes, &Reading::default())?;
    Ok((read.text, read.lock))
}

fuzz_target!(|bytes: &[u8]| {
    for bytes in [bytes.to_owned(), [HEADER.as_bytes(), bytes].concat()] {
        assert_eq!(read(&bytes), read(&bytes));
    }
});
