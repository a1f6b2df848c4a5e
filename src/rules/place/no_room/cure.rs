//! What would make room, as changes of the text. Each was tried before it is offered.

use crate::diagnostic::{Edit, Fix};
use crate::model::{Model, PortSettings};
use crate::source::Span;
use crate::unit::{Dimension, counted, quantity};
use std::sync::Arc;

/// A change of the display after which the lines that clashed have a port.
#[derive(Debug, Clone)]
pub enum Cure {
    /// More ports of a controller.
    Ports {
        /// The controller.
        controller: String,
        /// The setting before which they are written.
        before: Span,
        /// The number of the first new port.
        first: u32,
        /// How many ports.
        count: u32,
        /// Their settings.
        settings: Arc<PortSettings>,
    },
    /// More DMX outputs of a controller.
    Outputs {
        /// The controller.
        controller: String,
        /// The setting before which they are written.
        before: Span,
        /// The number of the first new output.
        first: u32,
        /// How many outputs.
        count: u32,
    },
    /// Strings with fewer nodes.
    Shorter {
        /// Which strings: "`owl`" or "each string of `fish`".
        which: String,
        /// How many nodes fewer each has.
        less: u32,
        /// How many strings the setting makes.
        strings: u32,
        /// How many nodes each then has, and how many of them make a strand, if there are strands.
        nodes: (u32, Option<u32>),
        /// The setting.
        at: Span,
    },
    /// Fewer frames a second.
    Rate {
        /// In hertz.
        hertz: u32,
        /// Where it is written.
        place: RatePlace,
    },
    /// A wire to any controller in place of one.
    Anywhere {
        /// The target of the wire.
        at: Span,
        /// The controller or receiver that it names.
        from: String,
    },
    /// One more controller.
    Controller {
        /// Its name.
        name: String,
        /// How many ports, or DMX outputs, it has.
        count: u32,
        /// The settings of its ports; `None` for DMX outputs.
        settings: Option<Arc<PortSettings>>,
        /// The targets of wires that become `any`.
        wires: Vec<Span>,
    },
    /// More universes for a controller.
    Universes {
        /// The controller.
        controller: String,
        /// How many it then has.
        count: u32,
        /// The setting.
        at: Span,
        /// The setting as it is then written.
        text: String,
    },
}

/// Where the frame rate is written.
#[derive(Debug, Clone, Copy)]
pub enum RatePlace {
    /// In place of the setting that there is.
    Instead(Span),
    /// Before the first setting of `display`.
    Before(Span),
    /// In a new `display` statement, before everything else.
    Alone,
}

impl Cure {
    /// What to do, as an order, with the text to write.
    #[must_use]
    pub fn words(&self, model: &Model) -> String {
        let text = self.text(model);
        match self {
            Self::Ports { controller, .. } | Self::Outputs { controller, .. } => {
                format!("add `{text}` to `{controller}`")
            }
            Self::Shorter { which, less, .. } => {
                format!("make {which} {} shorter (`{text}`)", counted(i64::from(*less), "node"))
            }
            Self::Rate { hertz, .. } => format!("send at {hertz} Hz (`frame rate {hertz} Hz`)"),
            Self::Anywhere { from, .. } => {
                format!(
                    "write `wire any:` in place of `wire {from}:`, so that any controller may take it"
                )
            }
            Self::Controller { wires, .. } => {
                let any = if wires.is_empty() { "" } else { " and let any take it (`wire any:`)" };
                format!("add `{text}`{any}")
            }
            Self::Universes { controller, count, .. } => {
                let universes = counted(i64::from(*count), "universe");
                format!("give `{controller}` {universes} (`{text}`)")
            }
        }
    }

    fn text(&self, model: &Model) -> String {
        match self {
            Self::Ports { first, count, settings, .. } => match (*count, body(model, settings)) {
                (1, body) => format!("port {first} {body}"),
                (count, body) => format!("ports {first}..{} {body}", first + count - 1),
            },
            Self::Outputs { first, count, .. } => match *count {
                1 => format!("dmx {first}"),
                count => format!("dmx {first}..{}", first + count - 1),
            },
            Self::Shorter { strings, nodes, .. } => match (*strings, *nodes) {
                (1, (nodes, None)) => format!("string {}", counted(i64::from(nodes), "node")),
                (strings, (nodes, None)) => {
                    format!("strings {strings} of {}", counted(i64::from(nodes), "node"))
                }
                (strings, (nodes, Some(strand))) => format!(
                    "strings {strings} of {} of {}",
                    counted(i64::from(nodes / strand.max(1)), "strand"),
                    counted(i64::from(strand), "node")
                ),
            },
            Self::Rate { hertz, place } => match place {
                RatePlace::Instead(_) | RatePlace::Before(_) => format!("frame rate {hertz} Hz"),
                RatePlace::Alone => format!("display \"\" {{ frame rate {hertz} Hz }}"),
            },
            Self::Controller { name, count, settings, .. } => match settings {
                Some(settings) => {
                    let body = body(model, settings);
                    format!("controller {name} {{ ports 1..{count} {body} }}")
                }
                None => format!("controller {name} {{ dmx 1..{count} }}"),
            },
            Self::Anywhere { .. } => "any".into(),
            Self::Universes { text, .. } => text.clone(),
        }
    }

    /// The cure as edits of the text.
    #[must_use]
    pub fn fix(&self, model: &Model) -> Fix {
        let text = self.text(model);
        let before = |at: Span| (Span::new(at.start, at.start), format!("{text}; "));
        let (span, text) = match self {
            Self::Ports { before: at, .. }
            | Self::Outputs { before: at, .. }
            | Self::Rate { place: RatePlace::Before(at), .. } => before(*at),
            Self::Rate { place: RatePlace::Alone, .. } => (Span::default(), format!("{text}\n")),
            Self::Rate { place: RatePlace::Instead(at), .. }
            | Self::Shorter { at, .. }
            | Self::Anywhere { at, .. }
            | Self::Universes { at, .. } => (*at, text),
            Self::Controller { .. } => (Span::new(model.end, model.end), format!("\n{text}\n")),
        };
        let mut edits = vec![Edit { span, text }];
        if let Self::Controller { wires, .. } = self {
            let any = |span: &Span| Edit { span: *span, text: "any".into() };
            edits.extend(wires.iter().map(any));
            edits.sort_by_key(|edit| edit.span);
        }
        Fix { title: self.words(model), edits, safe: false }
    }
}

/// The block of a port, as it is written.
fn body(model: &Model, settings: &PortSettings) -> String {
    let chips = settings.chips.iter();
    let chips: Vec<&str> = chips
        .filter_map(|chip| model.chips.as_slice().get(chip.value.index()))
        .map(|chip| &*chip.name)
        .collect();
    let mut words = Vec::new();
    if !chips.is_empty() {
        words.push(format!("chip {}", chips.join(", ")));
    }
    if let Some(nodes) = settings.nodes {
        words.push(format!("nodes at most {}", nodes.value));
    }
    if let Some(fuse) = settings.fuse {
        words.push(format!("fuse {}", quantity(fuse.value, Dimension::Current)));
    }
    if let Some(volts) = settings.volts {
        words.push(format!("volts {}", quantity(volts.value, Dimension::Voltage)));
    }
    if let Some(dim) = settings.dim {
        let level = quantity(i64::from(dim.value), Dimension::Share);
        words.push(format!("dim to {level}"));
    }
    if words.is_empty() { "{ }".into() } else { format!("{{ {} }}", words.join("; ")) }
}
