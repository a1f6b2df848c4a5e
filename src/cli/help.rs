//! The text after the options in the help of each command: notes and examples.

/// Of `tinsel check`.
pub const CHECK: &str = "\
Findings in text go to standard error; in any other format they are the result and go to standard \
output. Columns count characters from 1, a tab as one.

Examples:
  tinsel check yard.tinsel
  tinsel check yard.tinsel --format json > findings.json
  tinsel check - --stdin-filename yard.tinsel < yard.tinsel";

/// Of `tinsel build`.
pub const BUILD: &str = "\
`yard.tinsel` has its lock beside it, `yard.lock`: where each string lay at the last build. What \
is in it stays where it may. Keep it under version control with the display.

--out writes `yard-strings.csv`, `yard-ports.csv`, `yard-universes.csv`, `yard-controllers.csv`, \
`yard-props.csv` and `yard.json`, which has them all. Each file is written whole or not at all, \
and none where an error leaves addresses in doubt; errors of power or network do not keep it from \
writing.

Examples:
  tinsel build yard.tinsel
  tinsel build yard.tinsel --out tables
  tinsel build yard.tinsel --locked
  tinsel build yard.tinsel --compact-only boathouse";

/// Of `tinsel diff`.
pub const DIFF: &str = "\
Against the lock beside the display: which controllers must be set up again, which strings moved \
and why, what is new and what is freed. Nothing is written but what --remap names: a csv with the \
columns from, to, count (channels, counted from 1) and universe and slot of both. To re-cut a \
show that was made against the lock, copy `count` bytes from channel `from` of each old frame to \
channel `to` of a new one, row by row; what is in no row is dark.

Examples:
  tinsel diff yard.tinsel
  tinsel diff yard.tinsel --format json
  tinsel diff yard.tinsel --remap moved.csv
  tinsel diff yard.tinsel --compact --keep boathouse";

/// Of `tinsel why`.
pub const WHY: &str = "\
Examples:
  tinsel why yard.tinsel 'heron[3]'
  tinsel why yard.tinsel lighthouse.2
  tinsel why yard.tinsel roof.eaves";

/// Of `tinsel table`.
pub const TABLE: &str = "\
Without --by, text, csv and html have the table of strings; json, yaml and xlsx have all tables. \
mvr has strings and fixtures with their addresses (My Virtual Rig, DIN SPEC 15801). While an \
error leaves addresses in doubt there is no table; with errors of power or network only, it is \
printed all the same. csv has CR LF line ends, and a ' before a cell that a spreadsheet would run \
as a formula. The same display gives the same bytes.

Examples:
  tinsel table yard.tinsel
  tinsel table yard.tinsel --by universe
  tinsel table yard.tinsel --only 'heron[2]'
  tinsel table yard.tinsel -o yard.csv
  tinsel table yard.tinsel -o yard.xlsx
  tinsel table yard.tinsel -o yard.mvr";

/// Of `tinsel fit`.
pub const FIT: &str = "\
Each port with the nodes on it and those it has left at the display's frame rate, each controller \
with ports and universes left (`more` are those it can grow by), and how far the ports that the \
compiler picked can be from the best. With --add, where something would go and what would move, \
before you write it into the display: a number of nodes of a make, cut where ports are too short, \
or another prop like one that is there.

Examples:
  tinsel fit yard.tinsel
  tinsel fit yard.tinsel --add '60 nodes of bullet'
  tinsel fit yard.tinsel --add prop heron
  tinsel fit yard.tinsel --after 'owl[2]' --add '60 nodes of bud'
  tinsel fit yard.tinsel -o fit.csv

It exits with 1 also where there is no room for what is to be added.";

/// Of `tinsel parts`.
pub const PARTS: &str = "\
What the display says is counted: strings by make and length, leads by gauge and total length, a \
joint before each piece of a data line, points of injection, fuses by rating, supplies, \
controllers and receivers with the ports they use.

Examples:
  tinsel parts yard.tinsel
  tinsel parts yard.tinsel -o parts.xlsx";

/// Of `tinsel power`.
pub const POWER: &str = "\
Figures are solved from `draw`, `pitch`, `gauge`, leads and feeds. They are an aid and no \
approval. In text, --suggest prints statements and comments only, ready to be appended.

Examples:
  tinsel power yard.tinsel
  tinsel power yard.tinsel --at 100
  tinsel power yard.tinsel --suggest >> yard.tinsel
  tinsel power yard.tinsel -o power.html";

/// The answer to `tinsel export`, a former command.
pub const NO_EXPORT: &str = "\
there is no `export`: `tinsel table yard.tinsel -o yard.xlsx` writes a workbook (or csv, json, \
yaml, html, mvr by the file's ending), `tinsel graph yard.tinsel -o yard.svg` a picture";

/// Of `tinsel import`.
pub const IMPORT: &str = "\
The table is csv (cells parted by commas, semicolons or tabs) or a workbook (.xlsx, .xlsm). The \
first row with a heading for names and one for nodes is the header; two rows of headings are read \
together, and a later one with other columns begins a table of its own. All sheets of a workbook \
that have such a header, and several files, become one display; a sheet of boxes says where they \
are and what they are called in short. Headings are known by their usual words, in any case: name or prop; count; nodes, \
pixels or lights; strings; controller; port; start, or universe and slot, or channel; end; \
channels; colour order; voltage; chip; receiver; lead; note. `--column 'Plug=port'` says what \
another one is, and `--column 'Plug=?'` lists the kinds.

Addresses are read as `12/307`, `12:307`, `12.307`, in two columns, or as a channel. With them, a \
lock is written beside the display, so that a build moves nothing.

What is not understood, or contradicts itself, is reported with its row, column and text, and \
stands in the display as a comment. What the table does not say has a comment that begins with \
\"fill in\".

Examples:
  tinsel import props.csv -o yard.tinsel
  tinsel import props.xlsx --sheet Porch --sheet Pond -o yard.tinsel
  tinsel import props.csv --column 'Plug=port' -o yard.tinsel
  tinsel import props.xlsx porch.csv -o yard.tinsel

It exits with 1 also where something was not understood or is in doubt, and with 2 where nothing \
could be imported or a file to write is there already.";

/// Of `tinsel fmt`.
pub const FMT: &str = "\
Only blanks, line ends and `;` change, and on a single port a comma becomes the `->` that it \
means. Lines are neither joined nor wrapped. A file that does not parse is left as it is. `-` \
reads standard input and writes to standard output.

Examples:
  tinsel fmt yard.tinsel
  tinsel fmt --check examples/*/*.tinsel
  tinsel fmt - < yard.tinsel

It exits with 1 also where a file does not parse or, with --check, would change.";

/// Of `tinsel schema`.
pub const SCHEMA: &str = "\
Examples:
  tinsel schema > table.schema.json
  tinsel schema parts";

/// Of `tinsel report`.
pub const REPORT: &str = "\
Pages need nothing but a browser: no network, no server. With a folder, index.html shows \
everything and links to the sheets and labels; with --single, all of it but the labels, which go \
on paper of their own, is in one file. While an error leaves addresses in doubt nothing is \
written; with errors of power or network only, it is written all the same and shows them.

Examples:
  tinsel report yard.tinsel -o papers
  tinsel report yard.tinsel --single -o yard.html";

/// Of `tinsel explain`.
pub const EXPLAIN: &str = "\
Examples:
  tinsel explain                list all codes
  tinsel explain port/nodes     the page of one
  tinsel explain port           the codes of a group
  tinsel explain chips          the known chips, with the source of each figure
  tinsel explain ws2811         one of them
  tinsel explain language       the language guide";

/// Of `tinsel graph`.
pub const GRAPH: &str = "\
The graph holds what the display says: what names something, hangs on it or comes after it on a \
data line. Left out is what a lock keeps in place: the next port and the next controller, which \
move where there is no lock and a string grows, and the ports that the compiler picks. To see \
what a change moves, make it in the file: `tinsel diff` lists what moves.

Examples:
  tinsel graph yard.tinsel -o yard.svg
  tinsel graph yard.tinsel --reach boathouse";

/// Of `tinsel lsp`.
pub const LSP: &str = "\
Set your editor up to start this command for files that end in `.tinsel`. It then shows findings \
while you type, where each string starts, what a name stands for, and which names fit; it renames \
without moving an address.

Example:
  tinsel lsp

Exit status: 0 the editor ended it, 1 the stream ended, 2 the command could not be carried out";

/// Of `tinsel completions`.
pub const COMPLETIONS: &str = "\
Examples:
  tinsel completions bash > ~/.local/share/bash-completion/completions/tinsel
  tinsel completions fish > ~/.config/fish/completions/tinsel.fish";
