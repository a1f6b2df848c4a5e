//! What was written: the statements of a display, each part with its place in the text.
//!
//! A name is kept as its place in the text (an [`Ident`] is a [`Span`]). A setting is kept as words
//! and values: `resolve/settings.rs`, not the grammar, knows which settings exist.

use crate::source::Span;
use std::any::Any;
use std::sync::Mutex;
use std::sync::atomic::AtomicU32;

/// A word that stands for something; its text is read from the source.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Ident {
    /// Where it stands, quotes and blanks not included.
    pub span: Span,
}

/// The statements of one text.
#[derive(Debug, Default)]
pub struct Ast {
    /// In file order.
    pub statements: Vec<Statement>,
    /// Whether some of it did not parse; faults that may only follow from that are not reported.
    pub broken: bool,
    /// Every word that may be a name in text that did not parse; what it stands for is unknown.
    pub mentioned: Vec<Ident>,
    /// Kinds with a declaration whose name can't be read: which names such a kind has is unknown.
    pub unnamed: Vec<BlockKind>,
}

/// The statements of a display in the order they count; those of an included text stand where it is
/// included. They are not moved into one list: while a display is edited, most of them are used
/// again by the next compile.
#[derive(Debug, Default)]
pub struct Statements {
    /// Stretches of one text each.
    pub parts: Vec<Vec<Statement>>,
}

impl Statements {
    /// All of them.
    pub fn iter(&self) -> std::iter::Flatten<std::slice::Iter<'_, Vec<Statement>>> {
        self.parts.iter().flatten()
    }
}

impl<'a> IntoIterator for &'a Statements {
    type Item = &'a Statement;
    type IntoIter = std::iter::Flatten<std::slice::Iter<'a, Vec<Statement>>>;

    fn into_iter(self) -> Self::IntoIter {
        self.iter()
    }
}

/// What was written of a whole display, its includes read in place.
#[derive(Debug, Default)]
pub struct Written {
    /// The statements in the order they count.
    pub statements: Statements,
    /// Whether some text did not parse; faults that may only follow from that are not reported.
    pub broken: bool,
    /// Whether a text of the display could not be read: any name may be declared in it.
    pub lost: bool,
    /// Every word that may be a name in text that did not parse; what it stands for is unknown.
    pub mentioned: Vec<Ident>,
    /// Kinds with a declaration whose name can't be read: which names such a kind has is unknown.
    pub unnamed: Vec<BlockKind>,
    /// Which text includes which, by their shown names.
    pub includes: Vec<(Box<str>, Box<str>)>,
}

/// One statement.
#[derive(Debug)]
pub struct Statement {
    /// The whole of it.
    pub span: Span,
    /// Whether it came from a `stock` file.
    pub stock: bool,
    /// What it says.
    pub kind: StatementKind,
}

/// What a statement says. Large and rare ones are boxed, since a display has many statements.
#[derive(Debug)]
pub enum StatementKind {
    /// `display`, `chip`, `node`, `controller`, `receiver`, `prop`, `supply`, `circuit`.
    Block(Block),
    /// `wire TARGET: CHAIN, CHAIN…`
    Wire(Wire),
    /// `reserve …`
    Reserve(Box<Reserve>),
    /// `stored REF, REF…`
    Stored(Vec<Reference>),
    /// `renamed OLD -> NEW`
    Renamed(Box<Renamed>),
    /// `power TARGET-PORTS from SUPPLY through LENGTH of GAUGE [fuse N A]`
    Power(Box<Power>),
    /// `inject REF WHERE from SUPPLY through LENGTH of GAUGE [fuse N A] [apart]`
    Inject(Box<Inject>),
    /// `include "PATH"` or `stock "PATH"`
    Include(Include),
    /// `let NAME = NUMBER`
    Let(Let),
}

/// The kinds of block statements.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum BlockKind {
    /// `display "NAME" { }`
    Display,
    /// `chip NAME { }`
    Chip,
    /// `node NAME { }`
    Node,
    /// `controller NAME { }`
    Controller,
    /// `receiver NAME { }`
    Receiver,
    /// `prop NAME { }`, `prop NAME * N { }`, `prop NAME[N] { }`
    Prop,
    /// `supply NAME { }`
    Supply,
    /// `circuit NAME { }`
    Circuit,
}

impl BlockKind {
    /// All of them.
    pub const ALL: [Self; 8] = [
        Self::Display,
        Self::Chip,
        Self::Node,
        Self::Controller,
        Self::Receiver,
        Self::Prop,
        Self::Supply,
        Self::Circuit,
    ];

    /// Its keyword.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Display => "display",
            Self::Chip => "chip",
            Self::Node => "node",
            Self::Controller => "controller",
            Self::Receiver => "receiver",
            Self::Prop => "prop",
            Self::Supply => "supply",
            Self::Circuit => "circuit",
        }
    }
}

/// A statement with settings.
#[derive(Debug)]
pub struct Block {
    /// Which.
    pub kind: BlockKind,
    /// Its name; of `display` the text between the quotes (may be empty).
    pub name: Ident,
    /// `* N` of a prop.
    pub count: Option<Box<Expr>>,
    /// `[N]`, `[A..B]`, `[1, 3..5]` of a prop: the members whose settings are overridden.
    pub members: Option<Box<Selector>>,
    /// `like OTHER`.
    pub like: Option<Ident>,
    /// The settings, in order.
    pub settings: Vec<Setting>,
    /// Whether some of its settings did not parse; they are left out of `settings`.
    pub broken: bool,
    /// What was made of it last time.
    pub made: Made,
}

/// What a later stage made of a statement; used again while a display is edited and the text of the
/// statement does not change.
#[derive(Debug, Default)]
pub struct Made {
    /// What was made.
    pub kept: Mutex<Option<Box<dyn Any + Send>>>,
    /// Of a `prop`: its number in the last model, from 1; 0 where none is kept.
    pub last: AtomicU32,
}

/// One setting: its first word, what follows, and its runs or its own block.
#[derive(Debug)]
pub struct Setting {
    /// The whole of it without its block.
    pub span: Span,
    /// Its first word (`frame` of `frame rate 40 Hz`).
    pub key: Ident,
    /// The words and values after the first word.
    pub args: Box<[Arg]>,
    /// `string [NAME]: RUN -> RUN…` has runs, `ports A..B { }` a block.
    pub body: Body,
}

/// What a setting carries beside its words.
#[derive(Debug)]
pub enum Body {
    /// Nothing.
    None,
    /// The runs of a string as built, after a `:`.
    Runs(Box<[Run]>),
    /// A block of settings; whether some of them did not parse.
    Block(Box<[Setting]>, bool),
}

/// A word or value of a setting.
#[derive(Debug)]
pub enum Arg {
    /// A word; may also be the name of a declaration or of a `let`.
    Word(Ident),
    /// A number or whole-number arithmetic, with its unit if there is one.
    Number(Quantity),
    /// `A..B`.
    Range(Box<SelRange>),
    /// `"…"`: the place of the text between the quotes.
    Text(Ident),
    /// A numeric host address: `192.168.40.11`, `[fe80::1]`.
    Address(Ident),
    /// A name with members, strings or ports: `heron[2].1`, `boathouse.9..12`, `yard.local`.
    Reference(Box<Reference>),
    /// `,`.
    Comma(Span),
}

impl Arg {
    /// Where it stands.
    #[must_use]
    pub fn span(&self) -> Span {
        match self {
            Self::Word(word) | Self::Text(word) | Self::Address(word) => word.span,
            Self::Number(number) => number.span(),
            Self::Range(range) => range.span,
            Self::Reference(reference) => reference.span,
            Self::Comma(span) => *span,
        }
    }
}

/// A number with its unit as written.
#[derive(Debug)]
pub struct Quantity {
    /// The number.
    pub value: Expr,
    /// The word after it that may be a unit.
    pub unit: Option<Ident>,
}

impl Quantity {
    /// Number and unit.
    #[must_use]
    pub fn span(&self) -> Span {
        let number = self.value.span();
        self.unit.map_or(number, |unit| number.to(unit.span))
    }
}

/// Arithmetic over numbers and names of `let`.
#[derive(Debug)]
pub enum Expr {
    /// A number as written: its digits, and how many of them stand after the point, as in a
    /// [`crate::unit::Decimal`]. Separate fields take a quarter less memory than that struct.
    Number(Span, i64, u8),
    /// The name of a `let`.
    Name(Ident),
    /// `-X`.
    Negate(Span, Box<Expr>),
    /// `A + B` and the other operators.
    Binary(Box<Binary>),
    /// A number that can't be read; it has been reported.
    Broken(Span),
}

impl Expr {
    /// Whether it is a number as written.
    #[must_use]
    pub fn is_number(&self) -> bool {
        matches!(self, Self::Number(..))
    }

    /// Where it stands.
    #[must_use]
    pub fn span(&self) -> Span {
        match self {
            Self::Number(span, ..) | Self::Negate(span, _) | Self::Broken(span) => *span,
            Self::Name(name) => name.span,
            Self::Binary(binary) => binary.span,
        }
    }
}

/// Two numbers joined.
#[derive(Debug)]
pub struct Binary {
    /// The whole, brackets included.
    pub span: Span,
    /// How.
    pub operator: Operator,
    /// Left.
    pub left: Expr,
    /// Right.
    pub right: Expr,
}

/// How two numbers are joined.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Operator {
    /// `+`
    Add,
    /// `-`
    Subtract,
    /// `*`
    Multiply,
    /// `/`, must come out even
    Divide,
}

/// `N` or `A..B`; A may be above B.
#[derive(Debug)]
pub struct SelRange {
    /// The whole.
    pub span: Span,
    /// The first, or the only one.
    pub from: Expr,
    /// The last.
    pub to: Option<Expr>,
}

/// `[1, 3..5]`.
#[derive(Debug)]
pub struct Selector {
    /// With the brackets.
    pub span: Span,
    /// Its parts, at least one.
    pub parts: Vec<SelRange>,
}

/// What a reference says after its `.`.
#[derive(Debug)]
pub enum Part {
    /// `.1`, `.1..4`, `.9..12`.
    Number(Box<SelRange>),
    /// `.eaves`, `.dmx1`.
    Name(Ident),
}

/// A name with, perhaps, members and a string or port.
#[derive(Debug)]
pub struct Reference {
    /// The whole.
    pub span: Span,
    /// The name.
    pub name: Ident,
    /// `[…]`.
    pub members: Option<Box<Selector>>,
    /// What stands after the `.`.
    pub part: Option<Part>,
}

/// One run of a string as built.
#[derive(Debug)]
pub struct Run {
    /// The whole.
    pub span: Span,
    /// What it is.
    pub kind: RunKind,
}

/// What a run is.
#[derive(Debug)]
pub enum RunKind {
    /// `[NAME] N nodes`.
    Nodes(Option<Ident>, Quantity),
    /// `skip N`.
    Skip(Quantity),
    /// `lead LENGTH [of GAUGE]`.
    Lead(Quantity, Option<Quantity>),
}

/// `wire TARGET: CHAIN, CHAIN…`.
#[derive(Debug)]
pub struct Wire {
    /// What is wired to; `any` is the name `any` without a part.
    pub target: Reference,
    /// The chains, at least one.
    pub chains: Vec<Chain>,
    /// While a display is edited: its first line in the last model, from 1; 0 for a new wire.
    pub last: AtomicU32,
}

/// Items in data order.
#[derive(Debug)]
pub struct Chain {
    /// The whole.
    pub span: Span,
    /// The items, at least one.
    pub items: Vec<Item>,
}

/// One item of a chain.
#[derive(Debug)]
pub enum Item {
    /// A reference, perhaps cut (`by N`), perhaps pinned.
    Reference(Reference, Option<Box<Expr>>, Option<Box<Pin>>),
    /// `skip N`, with its place.
    Skip(Span, Box<Quantity>),
    /// `lead LENGTH [of GAUGE]`, with its place.
    Lead(Span, Box<Quantity>, Option<Box<Quantity>>),
}

impl Item {
    /// Where it stands.
    #[must_use]
    pub fn span(&self) -> Span {
        match self {
            Self::Reference(reference, ..) => reference.span,
            Self::Skip(span, _) | Self::Lead(span, ..) => *span,
        }
    }
}

/// `at …`.
#[derive(Debug)]
pub struct Pin {
    /// From `at` on.
    pub span: Span,
    /// Where to.
    pub kind: PinKind,
}

/// What a pin names.
#[derive(Debug)]
pub enum PinKind {
    /// `at UNIVERSE/SLOT`.
    UniverseSlot(Expr, Expr),
    /// `at channel N`.
    Channel(Expr),
    /// `at SLOT` of a DMX output.
    Slot(Expr),
}

/// `reserve …`.
#[derive(Debug)]
pub struct Reserve {
    /// What.
    pub what: ReserveKind,
    /// The reason between the quotes.
    pub reason: Option<Ident>,
}

/// What is reserved.
#[derive(Debug)]
pub enum ReserveKind {
    /// `universes A..B` or `universe N`.
    Universes(SelRange),
    /// `CONTROLLER.PORT`, `CONTROLLER.A..B`, `CONTROLLER.dmxN`.
    Port(Reference),
    /// `CONTROLLER.dmxN slots A..B`.
    Slots(Reference, SelRange),
}

/// `renamed OLD -> NEW`.
#[derive(Debug)]
pub struct Renamed {
    /// The name it had.
    pub old: Reference,
    /// The name it has.
    pub new: Reference,
}

/// How a supply reaches something.
#[derive(Debug)]
pub struct Feed {
    /// The supply.
    pub supply: Ident,
    /// Length of the lead.
    pub length: Quantity,
    /// Its conductor.
    pub gauge: Quantity,
    /// `fuse N A`.
    pub fuse: Option<Quantity>,
}

/// `power …`.
#[derive(Debug)]
pub struct Power {
    /// The ports fed.
    pub target: Reference,
    /// From where.
    pub feed: Feed,
}

/// Where power is injected.
#[derive(Debug)]
pub enum Where {
    /// `at start`
    Start,
    /// `at end`
    End,
    /// `at node N`
    Node(Expr),
    /// `every N nodes`
    EveryNodes(Expr),
    /// `every N strands`
    EveryStrands(Expr),
}

/// `inject …`.
#[derive(Debug)]
pub struct Inject {
    /// Into what.
    pub target: Reference,
    /// Where on it, with its place.
    pub place: (Span, Where),
    /// From where.
    pub feed: Feed,
    /// `apart`: the plus conductor is cut before this point.
    pub apart: Option<Span>,
}

/// `include "PATH"` or `stock "PATH"`.
#[derive(Debug, Clone, Copy)]
pub struct Include {
    /// The path between the quotes.
    pub path: Ident,
    /// Whether it is `stock`.
    pub stock: bool,
}

/// `let NAME = NUMBER`.
#[derive(Debug)]
pub struct Let {
    /// The name.
    pub name: Ident,
    /// Its value. A unit is read and reported by `resolve`: a `let` is a number alone.
    pub value: Quantity,
}
