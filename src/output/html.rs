//! A survey as one page for people, which any browser shows and prints.

use super::text::words;
use crate::page::html::{self, Html, put};
use crate::page::shell;
use crate::table::{Cell, Face, Head, Part, Survey, Table};
use std::io::{self, Write};

/// Writes the page.
pub fn write(survey: &Survey<'_>, _width: usize, out: &mut dyn Write) -> io::Result<()> {
    let page = shell::document(&survey.title, |html| parts(&survey.parts, html));
    out.write_all(page.as_bytes())
}

fn parts(all: &[Part<'_>], html: &mut Html) {
    for part in all {
        match part {
            Part::Words(words) => {
                put!(html; "<p>", words, "</p>\n");
            }
            Part::Lines(lines) => {
                put!(html; "<pre>", lines, "</pre>\n");
            }
            Part::Table(one) if one.faces.contains(&Face::People) => table(one, html),
            Part::Group(_, Some(inner)) => parts(inner, html),
            Part::Cautions(cautions) => {
                put!(html; "<ul class=\"caution\">\n");
                for caution in *cautions {
                    put!(html; "<li>", caution, "</li>\n");
                }
                put!(html; "</ul>\n");
            }
            Part::Value(..) | Part::Table(_) | Part::Group(_, None) => {}
        }
    }
}

/// Writes a table. Each group has a heading; remarks are the last column.
pub fn table(table: &Table<'_>, html: &mut Html) {
    let columns: Vec<(usize, &Head)> = table.columns(Face::People).collect();
    let (mut remarks, mut groups) = (false, false);
    // Writing to a page can't fail, here and below.
    let _ = table.each(&mut |row| {
        remarks |= !row.remark().is_empty();
        groups |= !row.group().is_empty();
        Ok(())
    });
    let heading = |head: &Head| {
        let mut rest = head.heading.chars();
        let first: String = rest.next().into_iter().flat_map(char::to_uppercase).collect();
        format!("{}{first}{}", if head.right { "#" } else { "" }, rest.as_str())
    };
    let mut headings: Vec<String> = columns.iter().map(|(_, head)| heading(head)).collect();
    headings.extend(remarks.then(|| "Note".to_owned()));
    let headings: Vec<&str> = headings.iter().map(String::as_str).collect();
    let name = format!("Table of {}", table.name);
    html::head(html, ("aria-label", &name), table.name, &headings);
    put!(html; "<tbody>\n");
    let mut group = String::new();
    let _ = table.each(&mut |row| {
        if groups && group != row.group() {
            group = row.group().to_owned();
            let wide = columns.len() + usize::from(remarks);
            put!(html; "</tbody>\n<tbody><tr><th scope=\"rowgroup\" colspan=\"", wide, "\">");
            put!(html; group, "</th></tr>\n");
        }
        put!(html; "<tr>");
        for (at, head) in &columns {
            html.raw(if head.right { "<td class=\"n\">" } else { "<td>" });
            if !matches!(row.cell(*at), Cell::None) {
                put!(html; words(head, &row.cell(*at)));
            }
            put!(html; "</td>");
        }
        if remarks {
            put!(html; "<td>", row.remark(), "</td>");
        }
        put!(html; "</tr>\n");
        Ok(())
    });
    put!(html; "</tbody></table></div>\n");
}
