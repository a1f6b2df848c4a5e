//! The address of each DMX fixture, as a number on a dial and as nine switches.

use super::super::Part;
use super::super::crew::{Crew, Hung};
use super::super::html::{self, Html, put};

/// The part.
pub const PART: Part = Part::new("fixtures", "DMX addresses", write);

/// The switches for an address: the first counts 1, each further one twice as much.
const SWITCHES: u32 = 9;

fn write(crew: &Crew<'_>, html: &mut Html) {
    let mut outputs = crew.lines.iter().filter(|line| line.is_dmx()).peekable();
    if outputs.peek().is_none() {
        put!(html; "<p>This display has no DMX fixture.</p>\n");
        return;
    }
    put!(html; "<p>Set the dial or display of a fixture to its address. With switches: switch 1 ");
    put!(html; "counts 1, each next one ");
    put!(html; "twice the one before it, switch 9 counts 256; those drawn up and dark are ON. ");
    put!(html; "Some makes count from 0 or ");
    put!(html; "use a tenth switch for something else: try one before you set them all.</p>\n");
    for line in outputs {
        put!(html; "<article class=\"lazy\">\n<h3 id=\"fixtures-", line.index, "\">", line.name);
        put!(html; ", universe ");
        put!(html; line.row.start.universe, "</h3>\n");
        let name = format!("fixtures-{}", line.index);
        let headings = ["Fixture", "Dial", "Slots", "Switches", "ON", "Set"];
        html::head(html, ("aria-labelledby", &name), "fixtures", &headings);
        put!(html; "<tbody>\n");
        for hung in line.strings() {
            one(hung, html);
        }
        put!(html; "</tbody></table></div>\n</article>\n");
    }
}

fn one(hung: &Hung<'_>, html: &mut Html) {
    let address = hung.row.start.slot;
    put!(html; "<tr><td>");
    super::called(hung, html);
    put!(html; "</td><td class=\"dial\">", format!("{address:03}"), "</td><td class=\"num\">");
    put!(html; hung.row.start.slot, " to ");
    put!(html; hung.row.end.slot, "</td><td>");
    if on(address).is_empty() {
        put!(html; "</td><td>nine switches can't say it");
    } else {
        switches(address, html);
        put!(html; "</td><td class=\"num\">");
        for (at, switch) in on(address).iter().enumerate() {
            if at > 0 {
                put!(html; " ");
            }
            put!(html; switch);
        }
    }
    put!(html; "</td><td class=\"tick\"></td></tr>\n");
}

/// The switches that are on for an address, from 1; none for an address that nine cannot show.
fn on(address: u32) -> Vec<u32> {
    if address >= 1 << SWITCHES {
        return Vec::new();
    }
    (0..SWITCHES).filter(|bit| address >> bit & 1 == 1).map(|bit| bit + 1).collect()
}

fn switches(address: u32, html: &mut Html) {
    put!(html; "<svg class=\"switches\" width=\"172\" height=\"44\" viewBox=\"0 0 172 44\" ");
    put!(html; "aria-hidden=\"true\">");
    for bit in 0..SWITCHES {
        let is_on = address >> bit & 1 == 1;
        let x = 5 + bit * 18;
        put!(html; "<rect class=\"empty\" x=\"", x, "\" y=\"1\" width=\"15\" height=\"28\"/>");
        if is_on {
            put!(html; "<rect class=\"on\" x=\"", x + 2, "\" y=\"3\" width=\"11\" height=\"12\"/>");
        } else {
            put!(html; "<rect class=\"off\" x=\"", x + 2, "\" y=\"15\" width=\"11\" ");
            put!(html; "height=\"12\"/>");
        }
        put!(html; "<text class=\"mark\" x=\"", x + 7, "\" y=\"41\" text-anchor=\"middle\">");
        put!(html; bit + 1, "</text>");
    }
    put!(html; "</svg>");
}

#[cfg(test)]
mod tests {
    use super::on;

    #[test]
    fn switches_add_up_to_the_address() {
        assert_eq!(on(1), [1]);
        assert_eq!(on(300), [3, 4, 6, 9]);
        assert_eq!(on(511), [1, 2, 3, 4, 5, 6, 7, 8, 9]);
        assert!(on(512).is_empty());
        for address in 1..512 {
            let sum: u32 = on(address).iter().map(|switch| 1 << (switch - 1)).sum();
            assert_eq!(sum, address);
        }
    }
}
