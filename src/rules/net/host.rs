//! `net/host`: two controllers on one host.

use crate::diagnostic::words::shown;
use crate::diagnostic::{Diagnostic, Severity, Sink};
use crate::model::{Controller, Model};
use crate::plan::Plan;
use crate::rules::{Page, Rule};
use crate::source::Span;
use std::collections::BTreeMap;
use std::net::IpAddr;

/// The rule.
pub const RULE: Rule = Rule {
    code: "net/host",
    severity: Severity::Error,
    title: "two controllers on one host",
    page: Page {
        means: "Two controllers have the same `host`.",
        why: "Two devices with one address disturb each other: data for either of them may reach the other.",
        source: "RFC 5227 (IPv4 address conflicts; free from the IETF)",
        wrong: "node dot { chip ws2811; colour RGB }\n\
                prop arch * 2 { node dot; string 50 nodes }\n\
                controller pier { host 192.168.40.11; ports 1..4 { chip ws2811 } }\n\
                controller quay { host 192.168.40.11; ports 1..4 { chip ws2811 } }\n\
                wire pier.1: arch[1]\n\
                wire quay.1: arch[2]\n",
        change: &[("quay { host 192.168.40.11;", "quay { host 192.168.40.12;")],
    },
    check: Some(check),
};

/// Whether a text can be the address of one device: an IP address (no multicast, no broadcast), or
/// a name of letters, digits, `-`, `_` and dots.
#[must_use]
pub fn is_lawful(host: &str) -> bool {
    let host = host.trim();
    match address(host) {
        // Data for one of these would reach many devices or none.
        Some(IpAddr::V4(ip)) => {
            return !(ip.is_multicast() || ip.is_broadcast() || ip.is_unspecified());
        }
        Some(IpAddr::V6(ip)) => return !(ip.is_multicast() || ip.is_unspecified()),
        None => {}
    }
    // A name has a letter: digits and dots alone are meant as an address, but are none.
    let name = host.chars().any(|c| c.is_alphabetic());
    let lawful = |c: char| c.is_alphanumeric() || matches!(c, '-' | '_' | '.');
    name && host.len() <= MOST_BYTES
        && host.chars().all(lawful)
        && !host.split('.').any(str::is_empty)
}

/// The IP address that a host is written as: `192.168.40.11`, `[fe80::1]`, `[fe80::1%eth0]`.
fn address(host: &str) -> Option<IpAddr> {
    let within = host.strip_prefix('[').and_then(|rest| rest.strip_suffix(']'));
    let plain = within.map_or(host, |text| text.split_once('%').map_or(text, |(ip, _)| ip));
    plain.parse().ok()
}

/// Whether a text is the address of a multicast group.
fn is_group(host: &str) -> bool {
    address(host.trim()).is_some_and(|ip| ip.is_multicast())
}

/// The most bytes of a host name; RFC 1035, 2.3.4.
const MOST_BYTES: usize = 253;

/// A text that can't be the address of a device.
#[must_use]
pub fn unlawful(at: Span, host: &str) -> Diagnostic {
    let shown = shown(host);
    RULE.report(at, format!("`{shown}` is not the address of a device"))
        .label("neither the IP address of one device nor a host name")
        .why("nothing on the network can be reached by it, so the controller would get no data")
        .help(if is_group(host) {
            "write the controller's own address; for multicast leave `host` out and say `input \
             e131 multicast`"
        } else {
            "write an address as in `host 192.168.40.11`, or a name as in `host pier.local`"
        })
}

fn check(model: &Model, plan: &Plan, sink: &mut Sink) {
    let mut hosts: BTreeMap<String, &Controller> = BTreeMap::new();
    for (controller, taken) in model.controllers.iter().zip(&plan.controllers) {
        let Some(host) = &controller.host else {
            continue;
        };
        // A controller from a `stock` file that the display does not use is not on its network.
        if controller.stock && taken.ports.is_empty() {
            continue;
        }
        // `[fd00::1]` and `[fd00:0::1]` are one address.
        let name = host.value.trim();
        let key = match address(name) {
            Some(ip) if !name.contains('%') => ip.to_string(),
            _ => name.to_lowercase(),
        };
        let Some(first) = hosts.get(&key) else {
            hosts.insert(key, controller);
            continue;
        };
        let both = shown(&host.value);
        let finding = RULE
            .report(
                host.at,
                format!(
                    "controllers `{}` and `{}` both have host {both}",
                    first.name, controller.name
                ),
            )
            .label(format!("`{}` has the host of `{}`", controller.name, first.name))
            .why("two devices with one address get each other's data by turns")
            .help(format!("give `{}` the address that is set on it", controller.name));
        let first_at = first.host.as_ref().map(|host| host.at);
        sink.push(finding.and_if(first_at, format!("`{}` has it first", first.name)));
    }
}

#[cfg(test)]
mod tests {
    use super::is_lawful;

    #[test]
    fn addresses_and_names_are_told_from_slips() {
        for host in [
            "192.168.40.11",
            "pier.local",
            "fe80::1",
            "box-3",
            "3com.example",
            "::1",
            "[fe80::1]",
            "[fe80::1%e0]",
        ] {
            assert!(is_lawful(host), "{host}");
        }
        for host in [
            "192.168.40.300",
            "192.168.40",
            "",
            "pier..local",
            "a b",
            "pier/1",
            "1.2.3.4.5",
            "[pier]",
            "[ff02::1]",
        ] {
            assert!(!is_lawful(host), "{host}");
        }
    }
}
