//! Power: ports, leads, supplies, circuits and the total, and statements that would feed a display
//! in more places. The cautions stand with all of it.

mod paste;
mod rows;
mod sheet;

use crate::diagnostic::words::{few, shown};
use crate::loads::{Study, Suggestion};
use crate::model::Model;
use crate::plan::Plan;
use crate::table::{
    Cell, Column, Decimal, Face, Head, Kind, Part, Row, Survey, Table, columns, heads,
};
use crate::unit::counted;

/// The cautions that go with every figure about power.
pub const CAUTIONS: &[&str] = &[
    "These figures are an aid and no approval: local code, your inspector and a \
     licensed electrician decide.",
    "Mains work is for somebody licensed to do it.",
    "Every outdoor outlet wants ground-fault protection (GFCI, or an RCD of 30 mA).",
    "Put a fuse at the source of every positive lead and at every point of injection, no larger than \
     the thinnest conductor after it may carry; load fuse and conductor to at most 80 %.",
    "Do not join the plus of two supplies; join the minus, which the data needs.",
    "Supplies and controllers go into enclosures made for the weather, off the ground, with \
     drip loops.",
];

/// Everything that `tinsel power` shows.
pub struct PowerView {
    /// The level of all nodes in percent; `None` for what the display allows.
    level: Option<Decimal>,
    ports: Vec<PortRow>,
    /// Leads of `power` statements, then points of injection.
    leads: Vec<LeadRow>,
    supplies: Vec<SupplyRow>,
    circuits: Vec<CircuitRow>,
    total: Total,
    /// Statements that would feed it in more places; `None` if they were not asked for.
    suggestions: Option<Vec<SuggestionRow>>,
}

const PROGRAMS: &[Face] = &[Face::Programs];
const BOTH: &[Face] = &[Face::Programs, Face::People];

impl PowerView {
    /// The power of a display; `level` (thousandths of a percent) is that of all nodes, if asked
    /// for.
    #[must_use]
    pub fn new(
        model: &Model,
        plan: &Plan,
        study: &Study,
        level: Option<u32>,
        suggestions: Option<&[Suggestion]>,
    ) -> Self {
        rows::view(model, plan, study, level, suggestions)
    }

    /// What `tinsel power` prints. People who asked for suggestions get these alone, as text that
    /// they can append to the display.
    #[must_use]
    pub fn survey(&self) -> Survey<'_> {
        let texts = Kind::List(&Kind::Text);
        let rows = Kind::List(&Kind::Object(heads::<SuggestionRow>));
        let level = "The level of all nodes; null for what the display allows.";
        let level = Head::new("level_percent", Kind::Decimal, level);
        let suggestions = "The statements for a line each; null where they were not asked for.";
        let suggestions = Head::new("suggestions", rows, suggestions);
        let cautions = Head::new("cautions", texts, "What goes with every figure.");
        let suggested = self.suggestions.as_ref();
        let rows = suggested.map(|rows| Cell::List(rows.iter().map(Cell::from).collect()));
        let mut parts = vec![Part::Value(level.maybe(), self.level.into())];
        let words = if suggested.is_none() { self.words() } else { Vec::new() };
        parts.extend(words.into_iter().map(Part::Words));
        parts.extend(self.tables().into_iter().map(|(table, any)| {
            let seen = any && suggested.is_none();
            Part::Table(table.only(if seen { BOTH } else { PROGRAMS }))
        }));
        parts.push(Part::object("total", "The whole display.", &self.total));
        parts.push(Part::Value(suggestions.maybe(), rows.into()));
        parts.push(Part::Table(sheet::table(self)));
        let list = CAUTIONS.iter().map(|text| Cell::from(*text));
        parts.push(Part::Value(cautions, Cell::List(list.collect())));
        parts.extend(match suggested {
            Some(rows) => vec![Part::Lines(paste::text(self, rows))],
            None => vec![Part::Words(self.total.words()), Part::Cautions(CAUTIONS)],
        });
        Survey { title: "power".to_owned(), parts }
    }

    /// The words above the tables.
    fn words(&self) -> Vec<String> {
        let mut words = vec![match self.level {
            Some(level) => format!("power with all nodes at {} %", level.words()),
            None => "power at the levels that the display allows".to_owned(),
        }];
        if self.ports.is_empty() {
            let none =
                "No node here says what it draws (`draw 55 mA`), so there is nothing to work out.";
            words.push(none.to_owned());
        } else if self.supplies.is_empty() {
            let none = "No `supply` is named: each port is taken to have its full voltage, and \
                        `tinsel check` holds only fuses and circuits against this.";
            words.push(none.to_owned());
        }
        words
    }

    /// The tables by kind, each with whether it has a row.
    fn tables(&self) -> [(Table<'_>, bool); 4] {
        // People see one column where plus and minus are alike, as far as it is printed.
        let printed = |amps: Decimal| amps.rounded(2, 2);
        let differ = |lead: &LeadRow| printed(lead.amps) != printed(lead.minus_amps);
        let apart = self.leads.iter().any(differ);
        let mut leads = LeadRow::columns();
        leads.retain(|column| match column.head.heading {
            "current" => !apart,
            "plus" | "minus" => apart,
            _ => true,
        });
        let leads = Table::new(
            "leads",
            "Leads of `power` statements, then points of injection.",
            leads,
            |take| self.leads.iter().try_for_each(take),
        );
        [
            (Table::list("ports", "What hangs on ports.", &self.ports), !self.ports.is_empty()),
            (leads, !self.leads.is_empty()),
            (Table::list("supplies", "Supplies.", &self.supplies), !self.supplies.is_empty()),
            (Table::list("circuits", "Mains circuits.", &self.circuits), !self.circuits.is_empty()),
        ]
    }
}

/// What hangs on a port, on one piece of plus.
struct PortRow {
    port: String,
    from: &'static str,
    level: Decimal,
    amps: Decimal,
    fuse: Fuse,
    drawn: Decimal,
    most_plus: Option<Flow>,
    most_minus: Option<Flow>,
    worst: Option<Node>,
    dark_from: Option<Node>,
    dark_nodes: u32,
    drop_known: bool,
    left_out: bool,
}

/// A fuse in amperes, and how much of it is used, in percent.
type Fuse = Option<(Decimal, Decimal)>;

/// The largest current in a conductor, and where.
struct Flow {
    string: Option<String>,
    node: u32,
    amps: Decimal,
}

impl Row for Flow {
    fn columns() -> Vec<Column<Self>> {
        columns! { row;
            text "string" "The string; null in a lead or a skip between strings."
                => row.string.as_deref(), maybe;
            number "node"
                "The node of the string that the segment leads to, from 1; 0 where none shows \
                 anything."
                => row.node;
            decimal "amps" "The current." => row.amps;
        }
    }
}

/// A node and its voltage.
struct Node {
    string: String,
    node: u32,
    volts: Decimal,
    floor: Decimal,
}

impl Row for Node {
    fn columns() -> Vec<Column<Self>> {
        columns! { row;
            text "string" "Its string." => &row.string;
            number "node" "Which node of it, from 1." => row.node;
            decimal "volts" "Its voltage." => row.volts;
            decimal "floor_volts" "The lowest that it works at." => row.floor;
        }
    }
}

impl PortRow {
    /// The larger current of its conductors, plus or minus.
    fn most(&self) -> Option<Decimal> {
        let both = self.most_plus.iter().chain(&self.most_minus);
        both.map(|flow| flow.amps)
            .reduce(|most, amps| if amps.value.abs() > most.value.abs() { amps } else { most })
    }
}

impl Row for PortRow {
    fn columns() -> Vec<Column<Self>> {
        columns! { row;
            text "port" "The port, by its receiver where it has one." => &row.port, shown("port");
            text "from" "What its plus comes from: `power`, `port`, `injections` or `nothing`."
                => row.from;
            decimal "level_percent" "The level of its nodes."
                => row.level, shown("level"), unit("%", 0, 1);
            decimal "amps" "What flows out of the port; below 0 where it flows back into it."
                => row.amps, shown("current"), unit("A", 2, 2);
            decimal "fuse_amps" "Its fuse."
                => row.fuse.map(|(fuse, _)| fuse), maybe, shown("fuse"), unit("A", 0, 3);
            decimal "fuse_percent" "How much of the fuse that is."
                => row.fuse.map(|(_, share)| share), maybe, shown("of fuse"), unit("%", 0, 0);
            decimal "drawn_amps" "What all nodes on it draw." => row.drawn;
            [Flow] "most_plus"
                "The largest current in the plus of its strings and leads: above 0 away from the \
                 port."
                => row.most_plus.as_ref(), maybe, programs;
            [Flow] "most_minus" "The largest current in their minus: above 0 towards the port."
                => row.most_minus.as_ref(), maybe, programs;
            people "in line" => row.most(), right, unit("A", 2, 2);
            people "worst" => row.worst.as_ref().map(|worst| worst.volts), right, unit("V", 2, 2);
            people "floor" => row.worst.as_ref().map(|worst| worst.floor), right, unit("V", 0, 3);
            people "at"
                => row.worst.as_ref().map(|worst| {
                    format!("node {} of {}", worst.node, worst.string)
                });
            [Node] "worst" "The node with the lowest voltage."
                => row.worst.as_ref(), maybe, programs;
            [Node] "dark_from" "The first node under its floor."
                => row.dark_from.as_ref(), maybe, programs;
            number "dark_nodes" "Nodes under their floor." => row.dark_nodes;
            flag "drop_known"
                "Whether pitch and conductor are known all along it; what is not known drops \
                 nothing here."
                => row.drop_known;
            flag "left_out"
                "Whether it was left out: joined or fed wrongly, fed by nothing, at no known \
                 voltage, or too long to work out."
                => row.left_out;
        }
    }

    fn remark(&self) -> String {
        let mut remarks = Vec::new();
        if let Some(dark) = &self.dark_from {
            let nodes = counted(self.dark_nodes, "node");
            let string = shown(&dark.string);
            remarks.push(format!("dark from node {} of {string} on: {nodes}", dark.node));
        }
        if self.left_out {
            let why = "left out: joined or fed wrongly, fed by nothing, at no known voltage, or \
                       too long to work out";
            remarks.push(why.to_owned());
        } else if self.from == "injections" {
            remarks.push("fed by injections".to_owned());
        }
        // Currents up to 0.005 A are printed as 0.
        if self.amps.value < -5_000 {
            remarks.push("flows back into the port".to_owned());
        }
        if !self.drop_known {
            remarks.push("pitch or gauge not given: drop there not counted".to_owned());
        }
        remarks.join(", ")
    }
}

/// A lead from a supply.
struct LeadRow {
    feeds: String,
    supply: String,
    amps: Decimal,
    minus_amps: Decimal,
    fuse: Fuse,
    gauge: String,
    may_carry: Decimal,
}

impl Row for LeadRow {
    fn columns() -> Vec<Column<Self>> {
        columns! { row;
            text "feeds" "What it feeds: ports, or a string and where on it."
                => &row.feeds, shown("feed");
            text "supply" "From where." => &row.supply, shown("from");
            people "current" => row.amps, right, unit("A", 2, 2);
            people "plus" => row.amps, right, unit("A", 2, 2);
            decimal "amps" "What flows from the supply in its plus; below 0 where it flows back."
                => row.amps;
            people "minus" => row.minus_amps, right, unit("A", 2, 2);
            decimal "minus_amps" "What flows to the supply in its minus." => row.minus_amps;
            decimal "fuse_amps" "Its fuse."
                => row.fuse.map(|(fuse, _)| fuse), maybe, shown("fuse"), unit("A", 0, 3);
            decimal "fuse_percent" "How much of the fuse that is."
                => row.fuse.map(|(_, share)| share), maybe, shown("of fuse"), unit("%", 0, 0);
            text "gauge" "Its conductor." => &row.gauge, shown("conductor"), right;
            decimal "may_carry_amps" "What that may carry."
                => row.may_carry, shown("may carry"), unit("A", 0, 3);
        }
    }
}

/// A supply.
struct SupplyRow {
    supply: String,
    volts: Option<Decimal>,
    amps: Decimal,
    watts: Decimal,
    rated: Option<Decimal>,
    headroom: Option<Decimal>,
    load: Option<Decimal>,
    mains: Decimal,
    /// Ports that it feeds and that were left out: they count 0 A here.
    left_out: Vec<String>,
}

impl Row for SupplyRow {
    fn columns() -> Vec<Column<Self>> {
        columns! { row;
            text "supply" "Its name." => &row.supply, shown("supply");
            decimal "volts" "Its voltage." => row.volts, maybe, shown("voltage"), unit("V", 0, 3);
            decimal "amps" "What it gives." => row.amps, shown("current"), unit("A", 2, 2);
            decimal "watts" "The same as power." => row.watts, shown("load"), unit("W", 1, 1);
            decimal "rated_watts" "What it is rated for."
                => row.rated, maybe, shown("rated"), unit("W", 0, 3);
            decimal "headroom_watts" "What is left of that; below 0 where there is too much."
                => row.headroom, maybe, shown("left"), unit("W", 1, 1);
            decimal "load_percent" "How much of the rating it gives."
                => row.load, maybe, shown("of rating"), unit("%", 0, 0);
            decimal "mains_watts" "What it takes from the mains." => row.mains;
            texts "left_out" "Ports that it feeds and that were left out: they count 0 A here."
                => row.left_out.as_slice();
        }
    }

    fn remark(&self) -> String {
        match self.left_out.is_empty() {
            true => String::new(),
            false => {
                format!("without what it feeds on {}: left out, 0 A here", listed(&self.left_out))
            }
        }
    }
}

/// Some names as people read them.
fn listed(names: &[String]) -> String {
    few(&names.iter().map(|name| shown(name)).collect::<Vec<_>>())
}

/// A mains circuit.
struct CircuitRow {
    circuit: String,
    volts: Option<Decimal>,
    watts: Decimal,
    amps: Option<Decimal>,
    breaker: Option<Decimal>,
    load: Option<Decimal>,
}

impl Row for CircuitRow {
    fn columns() -> Vec<Column<Self>> {
        columns! { row;
            text "circuit" "Its name." => &row.circuit, shown("circuit");
            decimal "volts" "Its voltage." => row.volts, maybe, shown("voltage"), unit("V", 0, 3);
            decimal "watts" "What is on it." => row.watts, shown("load"), unit("W", 1, 1);
            decimal "amps" "The same as current."
                => row.amps, maybe, shown("current"), unit("A", 2, 2);
            decimal "breaker_amps" "Its breaker."
                => row.breaker, maybe, shown("breaker"), unit("A", 0, 3);
            decimal "load_percent" "How much of the breaker that is."
                => row.load, maybe, shown("of breaker"), unit("%", 0, 0);
        }
    }
}

/// The whole display.
struct Total {
    watts: Decimal,
    mains: Decimal,
    mains_120v: Decimal,
    mains_230v: Decimal,
    /// Ports that were left out: they count 0 A here.
    left_out: Vec<String>,
}

impl Row for Total {
    fn columns() -> Vec<Column<Self>> {
        columns! { row;
            decimal "watts" "What the supplies give, and ports where no supply is named."
                => row.watts;
            decimal "mains_watts"
                "What it takes from the mains: supplies with their loss, controllers and fixtures."
                => row.mains;
            decimal "mains_amps_120v" "The current of that at 120 V." => row.mains_120v;
            decimal "mains_amps_230v" "The current of that at 230 V." => row.mains_230v;
            texts "left_out" "Ports that were left out: they count 0 A here."
                => row.left_out.as_slice();
        }
    }
}

impl Total {
    fn words(&self) -> String {
        let without = match self.left_out.is_empty() {
            true => String::new(),
            false => format!(" without {} (left out, 0 A here)", listed(&self.left_out)),
        };
        format!(
            "in all {} W{without}; from the mains {} W, which is {} A at 120 V or {} A at 230 V",
            self.watts.rounded(1, 1),
            self.mains.rounded(1, 1),
            self.mains_120v.rounded(2, 2),
            self.mains_230v.rounded(2, 2)
        )
    }
}

/// The statements for a line.
struct SuggestionRow {
    port: String,
    because: String,
    statements: Vec<String>,
    points: u32,
    fewest: bool,
    why_not: Option<String>,
    lines_on_lead: u32,
    /// Whether it is the first of the lines on its lead.
    first: bool,
}

impl Row for SuggestionRow {
    fn columns() -> Vec<Column<Self>> {
        columns! { row;
            text "port" "The port it hangs on." => &row.port;
            text "because" "What is wrong with it." => &row.because;
            texts "statements"
                "The statements, ready to paste; none where no injection from its own supply would \
                 do, or where those for other lines on its lead are enough."
                => row.statements.as_slice();
            number "points" "How many points are fed in addition for all lines on its lead."
                => row.points;
            flag "fewest" "Whether no fewer points do; else they are the fewest that were found."
                => row.fewest;
            text "why_not" "Why there are none." => row.why_not.as_deref(), maybe;
            number "lines_on_lead" "How many lines share its lead." => row.lines_on_lead;
        }
    }
}
