//! `file:` URIs (RFC 3986, RFC 8089) and their paths, both as text.

/// The path of a URI; `None` where it is no local file or the path is not UTF-8.
#[must_use]
pub fn path(uri: &str) -> Option<String> {
    let rest = uri.strip_prefix("file://")?;
    // A URI with another authority than this machine has no path here.
    let rest = rest.strip_prefix("localhost").unwrap_or(rest);
    if !rest.starts_with('/') {
        return None;
    }
    let rest = rest.split(['?', '#']).next()?;
    let mut bytes = Vec::with_capacity(rest.len());
    let mut left = rest.as_bytes();
    while let Some((byte, after)) = left.split_first() {
        let hex = (after.first_chunk::<2>())
            .filter(|two| *byte == b'%' && two.iter().all(u8::is_ascii_hexdigit))
            .and_then(|two| std::str::from_utf8(two).ok())
            .and_then(|two| u8::from_str_radix(two, 16).ok());
        match hex {
            Some(value) => {
                bytes.push(value);
                left = after.get(2..).unwrap_or(&[]);
            }
            None => {
                bytes.push(*byte);
                left = after;
            }
        }
    }
    let path = String::from_utf8(bytes).ok()?;
    // `/c:/yard` is the path `c:/yard` of other systems.
    let drive = path.get(1..).filter(|rest| {
        let mut chars = rest.chars();
        chars.next().is_some_and(|c| c.is_ascii_alphabetic()) && chars.next() == Some(':')
    });
    Some(drive.map_or_else(|| path.clone(), str::to_owned))
}

/// The URI of a path.
#[must_use]
pub fn of(path: &str) -> String {
    let path = path.replace('\\', "/");
    let mut uri = String::from(if path.starts_with('/') { "file://" } else { "file:///" });
    for byte in path.bytes() {
        match byte {
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' | b'/' => {
                uri.push(byte as char);
            }
            other => uri.push_str(&format!("%{other:02X}")),
        }
    }
    uri
}

#[cfg(test)]
mod tests {
    use super::{of, path};

    #[test]
    fn a_uri_and_its_path() {
        // Examples after RFC 8089, appendices B and E, and of what editors send.
        for (uri, named) in [
            ("file:///yard/my%20yard.tinsel", "/yard/my yard.tinsel"),
            ("file:///c%3A/yard.tinsel", "c:/yard.tinsel"),
            ("file:///C:/yard.tinsel", "C:/yard.tinsel"),
            ("file:///a^b.tinsel", "/a^b.tinsel"),
            ("file:///a%5Eb.tinsel", "/a^b.tinsel"),
            ("file:///%E9%9B%AA/%F0%9F%8E%84.tinsel", "/雪/🎄.tinsel"),
            ("file://localhost/etc/x", "/etc/x"),
            ("file:///100%.tinsel", "/100%.tinsel"),
            ("file:///%+f.tinsel", "/%+f.tinsel"),
        ] {
            assert_eq!(path(uri).as_deref(), Some(named), "{uri}");
            assert_eq!(path(&of(named)).as_deref(), Some(named), "{named}");
        }
        for other in ["untitled:Untitled-1", "file://host/share/x", "file:///%FF"] {
            assert_eq!(path(other), None, "{other}");
        }
    }
}
