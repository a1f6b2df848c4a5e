//! All tests that look at the compiler from outside, as one program.
//!
//! | file | what belongs there |
//! |---|---|
//! | `check` | the one way in which tests compile text |
//! | `diagnostics` | each rule's page, and every case under `tests/diagnostics/` |
//! | `advice` | what findings advise is done, and the result is as they say |
//! | `allocation` | random displays (`random`) against a slow second decider (`oracle`) |
//! | `picked` | ports that the compiler picks, seen from the display |
//! | `keeping` | what the lock keeps, and that what moves is the least, against slow deciders |
//! | `placement` | the placement engine on recorded instances, and against a slow decider |
//! | `plurals` | counts and units in all that is said |
//! | `power` | currents and voltages: handbook examples, ngspice, displays |
//! | `standards` | one test a clause of a standard, its source beside it |
//! | `examples` | every example, and the displays in README.md |
//! | `guide` | the language guide: its examples, its settings, what pages cite of it |
//! | `outputs` | every output of every example, read again by another reader |
//! | `handing` | workbook, MVR, picture and schema, as far as no reader of their own is needed |
//! | `formatter` | the formatter over every text there is |
//! | `importing` | tables of props, sound and not |
//! | `sheets` | tables of props that grew over several seasons, and several tables at once |
//! | `papers` | the papers of a crew, against the table and against one another |
//! | `parts` | the parts list, counted by hand and against the table |
//! | `fit` | how full a display is, and where more would go |
//! | `chips` | chips known beforehand, held against their sources and against the compiler |
//! | `cli` | the program as the shell sees it |
//! | `build` | what `tinsel build` writes, and that nothing is lost whatever happens on the way |
//! | `overwrite` | no result is written over what the display is read from |
//! | `changes` | `tinsel diff`, its remap and `tinsel why` as the shell sees them |
//! | `evenings` | seasons of random edits: the work order typed into a model of the boxes |
//! | `renaming` | `renamed` around the lock, and the exit statuses of `diff` and `why` |
//! | `lockfile` | the lock as text: fixtures of every format, slips and cuts, merges by real git |
//! | `settings` | settings against figures worked out by hand or by programs of others |
//! | `pairs` | two mistakes in one file: none hides the other |
//! | `editor` | answers to whoever writes a display |
//! | `lsp` | the language server as an editor sees it |
//! | `robust` | bad input: bytes, deceptive text, syntax, numbers, meaning |
//! | `heavy` | short texts that ask for much, in a process with limits |
//! | `noise` | texts nobody meant: cut off, with slips, random, from the fuzzers |
//! | `house` | the figures and walls of the code base |

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test that fails says so by a panic"
)]
#![allow(
    clippy::too_many_lines,
    clippy::too_many_arguments,
    reason = "a test tells one story from its start to its end"
)]

mod advice;
mod allocation;
mod areas;
mod build;
mod changes;
mod check;
mod chips;
mod cli;
mod diagnostics;
mod editor;
mod evenings;
mod examples;
mod fit;
mod formatter;
mod guide;
mod handing;
mod heavy;
mod house;
mod importing;
mod keeping;
mod lockfile;
mod lsp;
mod noise;
mod oracle;
mod outputs;
mod overwrite;
mod pairs;
mod papers;
mod parts;
mod picked;
mod placement;
mod plurals;
mod power;
mod random;
mod renaming;
mod robust;
mod settings;
mod sheets;
mod standards;
