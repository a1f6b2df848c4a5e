//! Messages in a stream: header `Content-Length`, empty line, JSON (LSP 3.17, "Base Protocol").

use serde_json::Value;
use std::io::{self, BufRead, Read, Write};

/// The most bytes of one message.
const MOST: usize = 256 * 1024 * 1024;

/// The most bytes of a line of a header.
const MOST_LINE: u64 = 4 * 1024;

/// What was read from a stream.
#[derive(Debug)]
pub enum Frame {
    /// A message.
    Message(Value),
    /// A message that is no JSON; the next one can be read.
    Malformed,
    /// Nothing more.
    End,
}

/// Reads the next message. After a bad header it is unknown where the next message begins, so such
/// a header counts as the end.
pub fn read(stream: &mut dyn BufRead) -> Frame {
    let mut length: Option<usize> = None;
    loop {
        let mut line = Vec::new();
        let read = Read::take(&mut *stream, MOST_LINE).read_until(b'\n', &mut line);
        if read.is_err() || !line.ends_with(b"\n") {
            return Frame::End;
        }
        let line = String::from_utf8_lossy(&line);
        let line = line.trim_end();
        if line.is_empty() {
            break;
        }
        if let Some((name, value)) = line.split_once(':')
            && name.eq_ignore_ascii_case("Content-Length")
        {
            length = value.trim().parse().ok();
        }
    }
    let Some(length) = length.filter(|length| *length <= MOST) else {
        return Frame::End;
    };
    let mut body = vec![0; length];
    if stream.read_exact(&mut body).is_err() {
        return Frame::End;
    }
    match serde_json::from_slice(&body) {
        Ok(message) => Frame::Message(message),
        Err(_) => Frame::Malformed,
    }
}

/// Writes a message.
///
/// # Errors
/// If the stream can't be written.
pub fn write(stream: &mut dyn Write, message: &Value) -> io::Result<()> {
    let body = message.to_string();
    write!(stream, "Content-Length: {}\r\n\r\n{body}", body.len())?;
    stream.flush()
}

#[cfg(test)]
mod tests {
    use super::{Frame, read};
    use std::io::{BufReader, repeat};

    #[test]
    fn a_header_without_an_end_ends_the_stream() {
        assert!(matches!(read(&mut BufReader::new(repeat(b'a'))), Frame::End));
    }
}
