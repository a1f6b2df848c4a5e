//! Where a row says that its strings lie, and the rest of the row as comments.

use super::Stage;
use crate::import::Grade;
use crate::import::cells::{self, At, Spots};
use crate::import::found::Claim;
use crate::import::headings::Kind;
use crate::import::sheet::SheetRow;

impl Stage<'_> {
    /// Notes where a row says that its strings lie.
    pub(super) fn claim(&mut self, row: &SheetRow, prop: usize, lines: Vec<(usize, usize)>) {
        let [full, full_end] = self.full(row);
        let (from_pair, end_universe) = match full {
            Some(at) => (Some(at), None),
            None => self.pair(row, Kind::Universe, Kind::Slot),
        };
        let to_pair = full_end.or_else(|| self.pair(row, Kind::EndUniverse, Kind::EndSlot).0);
        let [start, end, from, to] = self.addresses(row);
        let range =
            self.columns.cell(row, Kind::Slots).and_then(|text| cells::spots(text, true, false));
        let range: Option<Spots> = range.filter(|spots| spots.iter().all(|(_, to)| to.is_some()));
        let first = |spots: Option<Spots>| {
            spots.and_then(|spots| spots.into_iter().next().map(|(from, _)| from))
        };
        let listed = start.or(from.clone().filter(|spots| spots.len() > 1)).or(range);
        let last = || listed.as_ref().or(from.as_ref()).and_then(|spots| spots.last()?.1.clone());
        let mut end = to_pair
            .map(|at| vec![at])
            .or_else(|| self.end_slot(row, (prop, &lines), from_pair, end_universe))
            .or_else(|| first(end))
            .or_else(|| first(to))
            .or_else(last);
        let mut channel = match from.as_deref() {
            Some([(at, _)]) => at.iter().find_map(|at| match at {
                At::Channel(channel) => Some(*channel),
                At::Slot(..) => None,
            }),
            _ => None,
        };
        let mut starts = match (from_pair, listed, channel) {
            (Some(at), listed, _) if listed.as_ref().is_none_or(|listed| listed.len() < 2) => {
                vec![vec![at]]
            }
            (_, Some(listed), _) => listed.into_iter().map(|(from, _)| from).collect(),
            (_, None, Some(channel)) => vec![vec![At::Channel(channel)]],
            (_, None, None) => return,
        };
        if let Some(size) = self.counted.map(|size| size.each()) {
            for at in starts.iter_mut().chain(&mut end).flatten() {
                if let At::Channel(channel @ 1..) = *at {
                    *at = At::Slot((channel - 1) / size + 1, (channel - 1) % size + 1);
                }
            }
            channel = None;
        }
        let universe = self.columns.cell(row, Kind::Universe).and_then(cells::universes);
        self.found.claims.push(Claim {
            table: self.found.places.len(),
            apart: self.counted.is_some(),
            row: row.number,
            prop,
            lines,
            starts,
            channel,
            end,
            universe: universe.filter(|_| from_pair.is_none()).map(|(first, _)| first),
            end_universe,
            texts: self.texts(row),
        });
    }

    /// The addresses in a row's cells of start, end, first channel and last channel; what is not
    /// understood is reported.
    fn addresses(&mut self, row: &SheetRow) -> [Option<Spots>; 4] {
        [Kind::Start, Kind::End, Kind::StartChannel, Kind::EndChannel].map(|kind| {
            let text = self.columns.cell(row, kind)?;
            // Beside an end, `21-256` is universe and slot, no range.
            let bare = |text: &str| text.chars().all(|c| c.is_ascii_digit() || "- ".contains(c));
            let read = match kind {
                Kind::Start | Kind::End => {
                    let cell = self.columns.at(kind).and_then(|at| row.cells.get(at));
                    let cut = self.cut && cell.is_some_and(|cell| cell.number);
                    let beside = self.columns.cell(row, Kind::End).is_some_and(bare);
                    let slash = bare(text) && (beside || kind == Kind::End);
                    let text = if slash { &text.replacen('-', "/", 1) } else { text };
                    cells::spots(text, false, cut)
                }
                _ => cells::spots(text, true, false),
            };
            if read.is_none() {
                let what = "no address that is understood, such as 12/307; not kept";
                self.note((row, kind), what, Grade::Lost);
            }
            read
        })
    }

    /// The start and the end that a row has whole in one cell of another column: of universes, of
    /// slots, or of slots a node; a channel among slots counts too.
    fn full(&mut self, row: &SheetRow) -> [Option<At>; 2] {
        let said = self.columns.first(row, &[Kind::Start, Kind::StartChannel]);
        let stray = Some(Kind::SlotsPerNode).filter(|_| said.is_none());
        let of = |kinds: &[Kind]| {
            let texts = kinds.iter().filter_map(|kind| self.columns.cell(row, *kind));
            texts.filter(|text| cells::universes(text).is_none()).find_map(cells::whole_address)
        };
        let begins = [Some(Kind::Universe), Some(Kind::Slot), stray];
        let from = of(&begins.into_iter().flatten().collect::<Vec<_>>());
        let to = of(&[Kind::EndUniverse, Kind::EndSlot]).map(|(to, _)| to);
        let end = from.and_then(|(_, end)| end);
        let channels = [
            self.beyond(row, Kind::Universe, Kind::Slot),
            self.beyond(row, Kind::EndUniverse, Kind::EndSlot),
        ];
        let [channel, channel_end] = channels;
        [from.map(|(from, _)| from).or(channel), to.or(end).or(channel_end)]
    }

    /// The universe and slot of a channel that stands in a column of slots, in a row without a
    /// universe.
    fn beyond(&mut self, row: &SheetRow, universe: Kind, slot: Kind) -> Option<At> {
        const ALL: u64 = 512;
        let text = self.columns.cell(row, slot)?.to_lowercase();
        let text = ["channel", "chan", "ch", "abs"]
            .iter()
            .find_map(|word| text.strip_prefix(word))
            .unwrap_or(&text);
        let channel = cells::whole(text.trim_start_matches([' ', '.'])).filter(|at| *at > ALL)?;
        if self.columns.cell(row, universe).is_some() {
            return None;
        }
        let [own, at] = [(channel - 1) / ALL + 1, (channel - 1) % ALL + 1];
        if !std::mem::replace(&mut self.told_channels, true) {
            let what = format!(
                "no universe; taken as a channel counted through universes of {ALL} slots: {own}/{at}; so are \
                 others like it"
            );
            self.note((row, slot), what, Grade::Noted);
        }
        Some(At::Slot(own, at))
    }

    /// The places that an end without a universe may mean: its slot in each universe that the
    /// strings can reach.
    fn end_slot(
        &self,
        row: &SheetRow,
        (prop, lines): (usize, &[(usize, usize)]),
        start: Option<At>,
        last: Option<u64>,
    ) -> Option<Vec<At>> {
        /// The most universes before the last one.
        const MOST: u64 = 64;
        let At::Slot(universe, _) = start? else { return None };
        let slot = self.columns.cell(row, Kind::EndSlot).and_then(cells::whole)?;
        let lines = lines.iter().filter_map(|at| self.found.line((prop, *at)));
        let slots: u64 = lines.map(|line| self.found.body(line).slots()).sum();
        let last = last.unwrap_or(universe + (slots / 500 + 1).min(MOST));
        let first = universe.max(last.saturating_sub(MOST));
        Some((first..=last).map(|universe| At::Slot(universe, slot)).collect())
    }

    /// The heading and the text of a row's start, and of its end.
    fn texts(&self, row: &SheetRow) -> [(String, String); 2] {
        let kind_of = |kinds: &[Kind]| {
            kinds.iter().copied().find(|kind| self.columns.cell(row, *kind).is_some())
        };
        let of = |kind: Option<Kind>| {
            kind.map_or_else(Default::default, |kind| {
                (
                    self.columns.heading(kind).to_owned(),
                    self.columns.cell(row, kind).unwrap_or("").to_owned(),
                )
            })
        };
        [
            of(kind_of(&[
                Kind::Slot,
                Kind::Start,
                Kind::StartChannel,
                Kind::Slots,
                Kind::Universe,
            ])),
            of(kind_of(&[Kind::EndSlot, Kind::End, Kind::EndChannel, Kind::Slots])),
        ]
    }

    /// A universe and a slot from two columns, and the last universe where the first has a range.
    pub(super) fn pair(
        &mut self,
        row: &SheetRow,
        universe: Kind,
        slot: Kind,
    ) -> (Option<At>, Option<u64>) {
        let carried =
            self.columns.cell(row, universe).is_none() && self.columns.cell(row, slot).is_some();
        let text = self.columns.cell(row, universe).map(str::to_owned);
        let text = match (text, self.carried.get(&universe)) {
            (Some(text), _) => text,
            (None, Some(above)) if carried => {
                let above = above.clone();
                let what = format!("no universe; taken as {above}, which stands above");
                self.note((row, universe), what, Grade::Noted);
                above
            }
            (None, _) => return (None, None),
        };
        self.carried.insert(universe, text.clone());
        let Some((first, last)) = cells::universes(&text) else {
            let what = "no universe that is understood; the address is not kept";
            self.note((row, universe), what, Grade::Lost);
            return (None, None);
        };
        let Some(text) = self.columns.cell(row, slot) else {
            let start = self.columns.first(row, &[Kind::Start, Kind::StartChannel]);
            if universe == Kind::Universe && start.is_none() {
                let what = "a universe without a slot; the address is not kept";
                self.note((row, universe), what, Grade::Lost);
            }
            return (None, last);
        };
        let at = text.rsplit(|c: char| !c.is_ascii_digit()).find(|digits| !digits.is_empty());
        match cells::whole(text).or_else(|| {
            at.filter(|_| text.chars().all(|c| c.is_ascii_alphanumeric() || c == ' '))?.parse().ok()
        }) {
            Some(slot @ 1..=512) => (Some(At::Slot(first, slot)), last),
            _ => {
                let what = "no slot of a universe (1 to 512); the address is not kept";
                self.note((row, slot), what, Grade::Lost);
                (None, last)
            }
        }
    }

    /// Keeps the rest of a row as comments of its prop.
    pub(super) fn comments(&mut self, row: &SheetRow, prop: usize) {
        let mut comments = Vec::new();
        for (at, cell) in row.filled() {
            let kept = match self.columns.kind_at(at) {
                None | Some(Kind::Note) => true,
                // The runs say where dark nodes are.
                Some(Kind::SkipWithin) => {
                    cell.text != "0" && self.columns.cell(row, Kind::Runs).is_none()
                }
                Some(Kind::StringNumber) => cells::nth(&cell.text).is_none(),
                // A table of ports does not read it.
                Some(Kind::Strings) => self.columns.of_ports,
                _ => false,
            };
            if kept {
                comments.push(format!("{}: {}", self.columns.heading_at(at), cell.text));
            }
        }
        comments.extend(self.remarks.remove(&row.number).into_iter().flatten());
        if let Some(own) = self.found.props.get_mut(prop).filter(|_| !comments.is_empty()) {
            let several = own.members.iter().map(|(_, lines)| lines.len()).sum::<usize>() > 1;
            let row = if several { format!("row {}: ", row.number) } else { String::new() };
            own.comments.push(format!("{row}{}", comments.join("; ")));
        }
    }
}
