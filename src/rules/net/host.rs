//! `net/host`: two controllers on one host.

use crate::diagnostic::{Severity, Sink, Words};
use crate::model::{Controller, Model};
use crate::plan::Plan;
use crate::rules::{Page, Rule};
use std::collections::BTreeMap;

/// The rule.
pub const RULE: Rule = Rule {
    code: "net/host",
    severity: Severity::Error,
    title: "two controllers on one host",
    page: Page {
        means: "Two controllers have the same `host`.",
        why: "Two devices with one address on a network answer in turn: data for either reaches now one, now the other.",
        source: "RFC 5227 (IPv4 address conflicts)",
        wrong: "node dot { chip ws2811; colour RGB }\n\
                prop arch * 2 { node dot; string 50 nodes }\n\
                controller pier { host 192.168.40.11; ports 1..4 { chip ws2811 } }\n\
                controller quay { host 192.168.40.11; ports 1..4 { chip ws2811 } }\n\
                wire pier.1: arch[1]\n\
                wire quay.1: arch[2]\n",
        right: "node dot { chip ws2811; colour RGB }\n\
                prop arch * 2 { node dot; string 50 nodes }\n\
                controller pier { host 192.168.40.11; ports 1..4 { chip ws2811 } }\n\
                controller quay { host 192.168.40.12; ports 1..4 { chip ws2811 } }\n\
                wire pier.1: arch[1]\n\
                wire quay.1: arch[2]\n",
    },
    check: Some(check),
};

fn check(model: &Model, plan: &Plan, sink: &mut Sink) {
    let mut hosts: BTreeMap<String, &Controller> = BTreeMap::new();
    for (controller, taken) in model.controllers.iter().zip(&plan.controllers) {
        let Some(host) = &controller.host else {
            continue;
        };
        // One from an inventory that this display makes no use of is not on its network.
        if controller.stock && taken.ports.is_empty() {
            continue;
        }
        let key = host.value.trim().trim_end_matches('.').to_lowercase();
        let Some(first) = hosts.get(&key) else {
            hosts.insert(key, controller);
            continue;
        };
        let shown = crate::diagnostic::words::shown(&host.value);
        let words = Words {
            message: format!(
                "controllers `{}` and `{}` both have host {shown}",
                first.name, controller.name
            ),
            label: format!("`{}` has the host of `{}`", controller.name, first.name),
            why: "two devices with one address get each other's data by turns".into(),
            help: format!("give `{}` the address that is set on it", controller.name),
        };
        let finding = RULE.at(host.at, words);
        let first_at = first.host.as_ref().map(|host| host.at);
        sink.push(finding.and_if(first_at, format!("`{}` has it first", first.name)));
    }
}
