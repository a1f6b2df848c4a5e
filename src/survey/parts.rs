//! The parts list: what a display needs on the bench before it can be put up, counted from model
//! and plan.
//!
//! Only what the display states is counted: strings and fixtures that have an address, leads of
//! chains and feeds, a joint before every piece of a chain, points of injection, fuses, supplies,
//! and controllers and receivers with the ports they use. What is `stored` is listed with a note,
//! since it is owned; its joints are left out.

mod lines;
mod power;

use crate::model::Model;
use crate::plan::Plan;
use crate::table::{Column, Decimal, Part, Row, Survey, Table, columns};

/// One kind of part.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct PartRow {
    /// What it belongs with: `strings`, `fixtures`, `leads`, `joints`, `power` or `boxes`.
    pub group: &'static str,
    /// Its name, as somebody would look for it in a drawer.
    pub item: String,
    /// How many or how much of it.
    pub amount: Decimal,
    /// What the amount is counted in: `pieces`, `nodes`, `ports` or `m`.
    pub unit: &'static str,
    /// A note; may be empty.
    pub note: String,
}

impl PartRow {
    fn counted(group: &'static str, item: String, amount: u64, unit: &'static str) -> Self {
        Self { group, item, amount: Decimal::new(amount, 1), unit, note: String::new() }
    }

    /// What the amount is counted in, for people: one `piece`, two `pieces`.
    fn unit_words(&self) -> &'static str {
        let one = self.amount.value == i64::from(self.amount.per);
        match self.unit {
            "pieces" if one => "piece",
            "nodes" if one => "node",
            "ports" if one => "port",
            unit => unit,
        }
    }

    fn note(mut self, note: impl Into<String>) -> Self {
        self.note = note.into();
        self
    }
}

/// The whole list, group by group, in an order that depends on the display alone.
#[must_use]
pub fn rows(model: &Model, plan: &Plan) -> Vec<PartRow> {
    let mut rows = lines::strings(model, plan);
    rows.extend(lines::fixtures(model, plan));
    rows.extend(lines::leads(model, plan));
    rows.extend(power::leads(model));
    rows.extend(lines::joints(model, plan));
    rows.extend(power::points(model));
    rows.extend(power::fuses(model, plan));
    rows.extend(power::supplies(model));
    rows.extend(lines::boxes(model, plan));
    rows
}

/// What `tinsel parts` prints.
#[must_use]
pub fn survey(rows: &[PartRow]) -> Survey<'_> {
    let table = Table::list("parts", "A row for each kind of part.", rows);
    Survey { title: "parts list".to_owned(), parts: vec![Part::Table(table)] }
}

impl Row for PartRow {
    fn columns() -> Vec<Column<Self>> {
        columns! { row;
            text "group"
                "What it belongs with: `strings`, `fixtures`, `leads`, `joints`, `power` or \
                 `boxes`."
                => row.group;
            text "item" "What it is, as somebody would look for it in a drawer."
                => &row.item, shown("item");
            decimal "amount" "How many or how much of it." => row.amount, shown("amount");
            people "unit" => row.unit_words();
            text "unit" "What the amount is counted in: `pieces`, `nodes`, `ports` or `m`."
                => row.unit;
            text "note" "What else is to be known of it; may be empty." => &row.note;
        }
    }

    fn group(&self) -> &str {
        self.group
    }

    fn remark(&self) -> String {
        self.note.clone()
    }
}
