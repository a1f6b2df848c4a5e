//! `tinsel graph`: what depends on what.

use super::check::{heard, load, show, status};
use super::console::{Console, Stop};
use super::{GraphArgs, graph_formats};
use crate::diagnostic::words;
use crate::graph::{self, VertexKind};
use crate::output::{dot, svg};

/// Runs the command. A display with errors is drawn as far as it is understood, since a picture
/// helps to find rings.
pub fn run(args: &GraphArgs, console: &mut Console) -> Result<u8, Stop> {
    let target = args.printed.target(&graph_formats())?;
    let (disk, compiled) = load(&args.input)?;
    let findings = heard(&compiled, console);
    show(&compiled, &findings, console)?;
    let mut graph = graph::of(&compiled.model);
    let reached = match &args.reach {
        None => None,
        Some(name) => {
            let name = super::normal(name);
            let mut named = graph.named(&name);
            // A port that nothing hangs on is not in the graph, but it may be asked for.
            if named.is_empty() && compiled.model.output_named(&name).is_some() {
                named.push(graph.vertex(VertexKind::Port, &name, None));
            }
            if named.is_empty() {
                return Err(unknown(&graph, &name));
            }
            Some(graph.reach(&named))
        }
    };
    let draw = if target.format == "svg" { svg::render } else { dot::render };
    target.write(&disk, console, |_, out| draw(&graph, reached.as_deref(), out))?;
    Ok(status(&args.input, &compiled))
}

fn unknown(graph: &graph::Graph, name: &str) -> Stop {
    let near = words::nearest(name, graph.nodes().map(|vertex| vertex.name.as_str()));
    let near = words::did_you_mean(&near);
    let name = words::shown(name);
    Stop::Refused(format!("nothing in this display is called `{name}`{near}"))
}
