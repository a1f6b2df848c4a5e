//! Tables as data: columns that describe their values, and rows that are made one at a time.
//!
//! A survey makes tables, and a format of `output/` writes them. Neither knows the other: a format
//! reads the description of each column and the cells of each row.

use crate::protocol::UniverseSlots;
use std::borrow::Cow;
use std::io;

/// A slot of a universe, and its channel. All three count from 1.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Point {
    /// Universe.
    pub universe: u32,
    /// Slot of that universe.
    pub slot: u32,
    /// Absolute channel.
    pub channel: u64,
}

impl Point {
    /// The place of a channel that counts from 0, in universes with a number of slots.
    #[must_use]
    pub fn new(slots: UniverseSlots, channel: u64) -> Self {
        let (universe, slot) = slots.split(channel);
        Self { universe, slot, channel: channel + 1 }
    }
}

/// An exact number with decimals: `value / per`.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Decimal {
    /// The number times `per`.
    pub value: i64,
    /// A power of ten above 0.
    pub per: u32,
}

impl Decimal {
    /// The number `value / per`.
    #[must_use]
    pub fn new(value: impl TryInto<i64>, per: u32) -> Self {
        let value = value.try_into().unwrap_or(i64::MAX);
        Self { value, per }
    }

    /// It without trailing zeros: `2.5`.
    #[must_use]
    pub fn words(self) -> String {
        crate::unit::decimal(self.value, i64::from(self.per.max(1)))
    }

    /// It rounded to at most `most` decimals, with at least `least` of them written.
    #[must_use]
    pub fn rounded(self, least: u32, most: u32) -> String {
        let step = i64::from(self.per) / 10_i64.pow(most);
        let value = match step {
            0 | 1 => self.value,
            step => self.value.saturating_add(step / 2).div_euclid(step) * step,
        };
        let text = Self { value, ..self }.words();
        let (whole, decimals) = text.split_once('.').unwrap_or((&text, ""));
        if least == 0 {
            return text;
        }
        format!("{whole}.{decimals:0<least$}", least = least as usize)
    }
}

/// The value of one row in one column.
#[derive(Clone, PartialEq, Debug)]
pub enum Cell<'a> {
    /// Nothing.
    None,
    /// Text.
    Text(Cow<'a, str>),
    /// A whole number.
    Number(u64),
    /// A number with decimals.
    Decimal(Decimal),
    /// Yes or no.
    Flag(bool),
    /// A place.
    Point(Point),
    /// Several of one kind.
    List(Vec<Self>),
    /// Cells by key.
    Object(Vec<(&'static str, Self)>),
}

/// Makes a cell of each type that rows hold.
macro_rules! cells {
    ($($value:ident: $type:ty => $cell:expr;)*) => {$(
        impl<'a> From<$type> for Cell<'a> {
            fn from($value: $type) -> Self {
                $cell
            }
        }
    )*};
}

cells! {
    text: &'a str => Self::Text(Cow::Borrowed(text));
    text: &'a String => Self::Text(Cow::Borrowed(text));
    text: String => Self::Text(Cow::Owned(text));
    number: u32 => Self::Number(number.into());
    number: u64 => Self::Number(number);
    number: Decimal => Self::Decimal(number);
    flag: bool => Self::Flag(flag);
    point: Point => Self::Point(point);
    texts: &'a [String] => Self::List(texts.iter().map(Self::from).collect());
}

impl<'a, T: Into<Self>> From<Option<T>> for Cell<'a> {
    fn from(value: Option<T>) -> Self {
        value.map_or(Self::None, Into::into)
    }
}

/// A row as one cell: its cells by key.
impl<'a, R: Row> From<&'a R> for Cell<'a> {
    fn from(row: &'a R) -> Self {
        let columns = R::columns().into_iter();
        Self::Object(columns.map(|column| (column.head.key, (column.cell)(row))).collect())
    }
}

/// What a cell may be.
#[derive(Clone, Copy, Debug)]
pub enum Kind {
    /// Text.
    Text,
    /// A whole number from 0.
    Number,
    /// A number with decimals.
    Decimal,
    /// Yes or no.
    Flag,
    /// A place.
    Point,
    /// Several of one kind.
    List(&'static Self),
    /// One of several kinds.
    Either(&'static [Self]),
    /// A row with these columns.
    Object(fn() -> Vec<Head>),
}

/// The columns of a row, for [`Kind::Object`].
pub fn heads<R: Row>() -> Vec<Head> {
    R::columns().iter().map(|column| column.head).collect()
}

/// Who reads a table.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Face {
    /// Programs: JSON and YAML.
    Programs,
    /// Spreadsheets: csv and workbooks.
    Sheets,
    /// People: text and HTML.
    People,
}

/// Programs and spreadsheets.
const DATA: &[Face] = &[Face::Programs, Face::Sheets];
/// Everybody.
const ALL: &[Face] = &[Face::Programs, Face::Sheets, Face::People];

/// The description of a column, or of a single value.
#[derive(Clone, Copy, Debug)]
pub struct Head {
    /// Its key in JSON and YAML, and its name in a sheet.
    pub key: &'static str,
    /// What it may be.
    pub kind: Kind,
    /// Whether it may be empty.
    pub maybe: bool,
    /// What it holds, for the schema.
    pub about: &'static str,
    /// Who reads it.
    pub faces: &'static [Face],
    /// Its heading for people.
    pub heading: &'static str,
    /// The unit that people read after each figure; may be empty.
    pub unit: &'static str,
    /// The fewest and the most decimals that people read.
    pub places: (u32, u32),
    /// Whether it is aligned to the right, as figures are.
    pub right: bool,
}

impl Head {
    /// A value for programs and spreadsheets, with its key, its kind and what it holds.
    #[must_use]
    pub fn new(key: &'static str, kind: Kind, about: &'static str) -> Self {
        Self {
            key,
            kind,
            maybe: false,
            about,
            faces: DATA,
            heading: "",
            unit: "",
            places: (0, 6),
            right: !matches!(kind, Kind::Text | Kind::List(_)),
        }
    }

    /// It may be empty.
    #[must_use]
    pub fn maybe(self) -> Self {
        Self { maybe: true, ..self }
    }
}

/// A column of a table with rows `R`.
pub struct Column<R> {
    /// Its description.
    pub head: Head,
    cell: fn(&R) -> Cell<'_>,
}

impl<R> Column<R> {
    /// A column, with the function that makes its cell from a row.
    #[must_use]
    pub fn new(head: Head, cell: fn(&R) -> Cell<'_>) -> Self {
        Self { head, cell }
    }

    /// It may be empty.
    #[must_use]
    pub fn maybe(mut self) -> Self {
        self.head = self.head.maybe();
        self
    }

    /// A column that only people read.
    #[must_use]
    pub fn people(heading: &'static str, cell: fn(&R) -> Cell<'_>) -> Self {
        Self::new(Head::new("", Kind::Text, ""), cell).shown(heading).only(&[Face::People])
    }

    /// Only these faces have it.
    #[must_use]
    pub fn only(mut self, faces: &'static [Face]) -> Self {
        self.head.faces = faces;
        self
    }

    /// Only programs read it.
    #[must_use]
    pub fn programs(self) -> Self {
        self.only(&[Face::Programs])
    }

    /// Only spreadsheets have it.
    #[must_use]
    pub fn sheets(self) -> Self {
        self.only(&[Face::Sheets])
    }

    /// People read it too, under a heading.
    #[must_use]
    pub fn shown(mut self, heading: &'static str) -> Self {
        self.head.faces = ALL;
        self.head.heading = heading;
        self
    }

    /// People read this unit after its figures, with at least `least` and at most `most` decimals.
    #[must_use]
    pub fn unit(mut self, unit: &'static str, least: u32, most: u32) -> Self {
        self.head.unit = unit;
        self.head.places = (least, most);
        self
    }

    /// It is aligned to the right.
    #[must_use]
    pub fn right(mut self) -> Self {
        self.head.right = true;
        self
    }
}

/// The columns of a table, one a line: kind, key, what it holds, cell of a row, and calls of
/// methods of [`Column`]. `people` columns have a heading in place of a key; `[Row]` is a row
/// within a row.
macro_rules! columns {
    ($row:ident; $($kind:tt $key:literal $($about:literal)? => $cell:expr
        $(, $more:ident $(($($with:expr),*))?)*;)*) => {
        vec![$(
            $crate::table::columns!(@new $kind, $key, concat!("" $(, $about)?), |$row: &Self| {
                $crate::table::Cell::from($cell)
            })$(.$more($($($with),*)?))*
        ),*]
    };
    (@new people, $heading:expr, $about:expr, $cell:expr) => {
        $crate::table::Column::people($heading, $cell)
    };
    (@new $kind:tt, $key:expr, $about:expr, $cell:expr) => {
        $crate::table::Column::new(
            $crate::table::Head::new($key, $crate::table::columns!(@kind $kind), $about),
            $cell,
        )
    };
    (@kind text) => { $crate::table::Kind::Text };
    (@kind number) => { $crate::table::Kind::Number };
    (@kind decimal) => { $crate::table::Kind::Decimal };
    (@kind flag) => { $crate::table::Kind::Flag };
    (@kind point) => { $crate::table::Kind::Point };
    (@kind texts) => { $crate::table::Kind::List(&$crate::table::Kind::Text) };
    (@kind [[$row:ty]]) => {
        $crate::table::Kind::List(&$crate::table::Kind::Object($crate::table::heads::<$row>))
    };
    (@kind [$row:ty]) => { $crate::table::Kind::Object($crate::table::heads::<$row>) };
    (@kind ($kind:expr)) => { $kind };
}
pub(crate) use columns;

/// A row of a table.
pub trait Row: Sized {
    /// The columns of its table.
    fn columns() -> Vec<Column<Self>>;

    /// What people must know in addition; empty for nothing.
    fn remark(&self) -> String {
        String::new()
    }

    /// Its group; people see rows of one group together.
    fn group(&self) -> &str {
        ""
    }
}

/// A row as a format sees it.
pub trait AnyRow {
    /// Its cell in a column of the table, by number.
    fn cell(&self, column: usize) -> Cell<'_>;

    /// See [`Row::remark`].
    fn remark(&self) -> String;

    /// See [`Row::group`].
    fn group(&self) -> &str;
}

struct Shown<'r, R> {
    row: &'r R,
    columns: &'r [Column<R>],
}

impl<R: Row> AnyRow for Shown<'_, R> {
    fn cell(&self, column: usize) -> Cell<'_> {
        let column = self.columns.get(column);
        column.map_or(Cell::None, |column| (column.cell)(self.row))
    }

    fn remark(&self) -> String {
        self.row.remark()
    }

    fn group(&self) -> &str {
        self.row.group()
    }
}

/// A function that is called with each row; an error ends the walk.
pub type Take<'t, R> = &'t mut dyn FnMut(&R) -> io::Result<()>;
type TakeAny<'t> = &'t mut dyn FnMut(&dyn AnyRow) -> io::Result<()>;

/// A table: its columns, and rows that are made anew for each walk.
pub struct Table<'a> {
    /// Its key in JSON and YAML, and the name of its sheet in a workbook.
    pub name: &'static str,
    /// What its rows are, for the schema.
    pub about: &'static str,
    /// Who reads it.
    pub faces: &'static [Face],
    /// Its columns.
    pub heads: Vec<Head>,
    walk: Box<dyn Fn(TakeAny<'_>) -> io::Result<()> + 'a>,
}

impl<'a> Table<'a> {
    /// A table whose rows come from `rows` one at a time and are not kept.
    pub fn of<R, I>(name: &'static str, about: &'static str, rows: impl Fn() -> I + 'a) -> Self
    where
        R: Row + 'a,
        I: Iterator<Item = R>,
    {
        Self::new(name, about, R::columns(), move |take| rows().try_for_each(|row| take(&row)))
    }

    /// A table of rows that are held in memory.
    #[must_use]
    pub fn list<R: Row + 'a>(name: &'static str, about: &'static str, rows: &'a [R]) -> Self {
        Self::new(name, about, R::columns(), move |take| rows.iter().try_for_each(take))
    }

    /// A table with these columns; `walk` calls its argument with each row.
    pub fn new<R: Row + 'a>(
        name: &'static str,
        about: &'static str,
        columns: Vec<Column<R>>,
        walk: impl Fn(Take<'_, R>) -> io::Result<()> + 'a,
    ) -> Self {
        Self {
            name,
            about,
            faces: ALL,
            heads: columns.iter().map(|column| column.head).collect(),
            walk: Box::new(move |take| {
                walk(&mut |row| {
                    let columns = &columns;
                    take(&Shown { row, columns })
                })
            }),
        }
    }

    /// Only these faces have it.
    #[must_use]
    pub fn only(mut self, faces: &'static [Face]) -> Self {
        self.faces = faces;
        self
    }

    /// The columns that a face has, each with its number.
    pub fn columns(&self, face: Face) -> impl Iterator<Item = (usize, &Head)> {
        let heads = self.heads.iter().enumerate();
        heads.filter(move |(_, head)| head.faces.contains(&face))
    }

    /// Calls `take` with each row.
    ///
    /// # Errors
    /// The first error of `take`.
    pub fn each(&self, take: TakeAny<'_>) -> io::Result<()> {
        (self.walk)(take)
    }
}

/// A piece of what a command prints.
pub enum Part<'a> {
    /// A value of the whole display, for programs.
    Value(Head, Cell<'a>),
    /// A paragraph for people.
    Words(String),
    /// Lines for people, which are not wrapped.
    Lines(String),
    /// Cautions for people, each on its own.
    Cautions(&'static [&'static str]),
    /// A table.
    Table(Table<'a>),
    /// Parts under a key; `None` where there are none.
    Group(Head, Option<Vec<Self>>),
}

impl<'a> Part<'a> {
    /// A value of the whole display, given as one row.
    #[must_use]
    pub fn object<R: Row>(key: &'static str, about: &'static str, row: &'a R) -> Self {
        Self::Value(Head::new(key, Kind::Object(heads::<R>), about), row.into())
    }
}

/// Everything that a command prints, in order.
pub struct Survey<'a> {
    /// What it is, as a heading.
    pub title: String,
    /// Its parts.
    pub parts: Vec<Part<'a>>,
}

impl<'a> Survey<'a> {
    /// Its tables for a face, those within groups included.
    #[must_use]
    pub fn tables(&self, face: Face) -> Vec<&Table<'a>> {
        fn collect<'s, 'a>(parts: &'s [Part<'a>], face: Face, found: &mut Vec<&'s Table<'a>>) {
            for part in parts {
                match part {
                    Part::Table(table) if table.faces.contains(&face) => found.push(table),
                    Part::Group(_, Some(parts)) => collect(parts, face, found),
                    _ => {}
                }
            }
        }
        let mut found = Vec::new();
        collect(&self.parts, face, &mut found);
        found
    }
}
