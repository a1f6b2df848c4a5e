//! What the strings of a row are connected to: controller, port, receiver.

use super::{Facts, MOST_COUNT, MOST_NODES, Stage, remarked};
use crate::import::cells::{self, SheetPort};
use crate::import::found::{Board, SheetLine};
use crate::import::headings::Kind;
use crate::import::names::lawful;
use crate::import::sheet::SheetRow;
use crate::import::{Grade, Note, boxes};
use crate::model::Output;
use crate::unit;

impl Stage<'_> {
    /// The controller by a row's cell; where that is blank and the row has a port, the one above.
    pub(super) fn controller(&mut self, row: &SheetRow) -> Option<usize> {
        if !self.columns.has(Kind::Controller) {
            let band = self.band.clone()?;
            return Some(self.board(&band));
        }
        let text = match self.columns.cell(row, Kind::Controller) {
            Some(text) => text.to_owned(),
            None => {
                self.columns.cell(row, Kind::Port)?;
                let above = self.carried.get(&Kind::Controller)?.clone();
                let what = format!("no controller; taken as `{above}`, which stands above");
                self.note((row, Kind::Controller), what, Grade::Noted);
                above
            }
        };
        let text = self.box_and_port(row, text);
        self.carried.insert(Kind::Controller, text.clone());
        let at = self.board(&text);
        let host = self.columns.cell(row, Kind::Host).map(str::to_owned);
        let lawful = |c: char| c.is_ascii_alphanumeric() || matches!(c, '.' | '-' | ':');
        if host.as_ref().is_some_and(|host| !host.chars().all(lawful)) {
            self.note((row, Kind::Host), "no address of a host; left out", Grade::Lost);
        }
        let host = host.filter(|host| host.chars().all(lawful));
        if let Some((host, board)) = host.zip(self.found.boxes.get_mut(at)) {
            let known = board.host.get_or_insert_with(|| host.clone()).clone();
            if known != host {
                let what = format!("`{text}` is at {known} by a row above");
                self.note((row, Kind::Host), what, Grade::Wrong);
            } else if board.host_cell.is_none() {
                board.host_cell = Some(Note {
                    row: Some(row.number),
                    column: self.columns.heading(Kind::Host).to_owned(),
                    text: host,
                    ..Note::of_table(String::new(), Grade::Wrong)
                });
            }
        }
        Some(at)
    }

    pub(super) fn board(&mut self, text: &str) -> usize {
        let own = text.to_lowercase();
        if let Some(at) = self.boxes_by_text.get(&own) {
            return *at;
        }
        let text = self.known_box(text).unwrap_or(text);
        let key = text.to_lowercase();
        if let Some(at) = self.boxes_by_text.get(&key).copied() {
            self.boxes_by_text.insert(own, at);
            return at;
        }
        let name = self.boxes.give(text, "box");
        let differs = name != *text;
        if differs {
            self.renamed.push((text.to_owned(), name.clone()));
        }
        let at = self.found.boxes.len();
        self.boxes_by_text.extend([(key, at), (own, at)]);
        let label = differs.then(|| text.to_owned());
        self.found.boxes.push(Board { name, label, ..Board::default() });
        at
    }

    /// Makes the strings of a row and connects them to its ports. Returns their places in the prop.
    pub(super) fn lines(
        &mut self,
        row: &SheetRow,
        prop: usize,
        controller: Option<usize>,
        facts: &mut Facts,
    ) -> Vec<(usize, usize)> {
        let runs = self.runs(row, facts);
        let line = self.plain(row, facts);
        let instance = self.optional(row, Kind::Instance, MOST_COUNT);
        let strings = facts.sizes.len();
        let [enters, same_as] =
            [Kind::Enters, Kind::SameAs].map(|kind| self.for_each(row, kind, strings));
        let skips = self.skips(row, strings);
        let mut places = Vec::new();
        for one in 0..facts.count {
            let Some(own) = self.found.props.get_mut(prop) else {
                break;
            };
            // A prop of several fixtures is a family of them.
            let more = facts.make.is_none() && instance.is_none() && !own.members.is_empty();
            let next = if more { own.members.len() as u64 } else { one };
            let number = instance.unwrap_or(next + 1);
            own.family |= more || facts.count > 1 || instance.is_some();
            let next = own.members.len();
            let member = *self.members.entry((prop, number)).or_insert(next);
            if member == next {
                own.members.push((number, Vec::new()));
            }
            let Some((_, strings)) = own.members.get_mut(member) else {
                break;
            };
            for (at, size) in facts.sizes.iter().enumerate() {
                let nodes = if facts.make.is_some() { *size } else { 0 };
                self.sums.nodes = self.sums.nodes.saturating_add(nodes);
                if !line.stored {
                    self.live.nodes = self.live.nodes.saturating_add(nodes);
                }
                places.push((member, strings.len()));
                strings.push(SheetLine {
                    size: *size,
                    enters: enters.get(at).or(enters.first()).or(line.enters.as_ref()).cloned(),
                    same_as: same_as.get(at).or(same_as.first()).cloned(),
                    skip: skips.get(at).or(skips.first()).copied().unwrap_or(line.skip),
                    runs: runs.get(at).filter(|runs| runs.contains("->")).cloned(),
                    ..line.clone()
                });
            }
        }
        self.hang(row, (prop, controller), &places, &facts.ports);
        places
    }

    /// The texts of a cell that lists one for each string of a row; else the whole text, if any.
    fn for_each(&self, row: &SheetRow, kind: Kind, strings: usize) -> Vec<String> {
        let text = self.columns.cell(row, kind).unwrap_or("");
        let each: Vec<String> = text.split(", ").map(str::to_owned).collect();
        let each = if each.len() == strings { each } else { vec![text.to_owned()] };
        if text.is_empty() { Vec::new() } else { each }
    }

    /// The runs of each string of a row; they also set the sizes of the strings.
    fn runs(&mut self, row: &SheetRow, facts: &mut Facts) -> Vec<String> {
        let runs = self.for_each(row, Kind::Runs, facts.sizes.len());
        let sizes: Option<Vec<u64>> = runs.iter().map(|runs| cells::runs(runs)).collect();
        let fits = |sizes: &Vec<u64>| {
            sizes.len() == facts.sizes.len()
                && !sizes.contains(&0)
                && sizes.iter().sum::<u64>() == facts.sizes.iter().sum::<u64>()
        };
        match sizes.filter(fits) {
            Some(sizes) if facts.make.is_some() => {
                facts.sizes = sizes;
                runs
            }
            _ if runs.is_empty() => runs,
            _ => {
                let what =
                    "no runs of that many nodes, such as `left 10 nodes -> skip 1 -> 5 nodes`";
                self.note((row, Kind::Runs), format!("{what}; left out"), Grade::Lost);
                Vec::new()
            }
        }
    }

    /// Dark nodes before each string of a row; one number is for all.
    fn skips(&mut self, row: &SheetRow, strings: usize) -> Vec<u64> {
        let skips = self.for_each(row, Kind::Skip, strings);
        let skips = skips.iter().map(|text| cells::whole(text).filter(|skip| *skip <= MOST_NODES));
        skips.collect::<Option<_>>().unwrap_or_else(|| {
            self.note((row, Kind::Skip), "no number that fits here; left out", Grade::Lost);
            Vec::new()
        })
    }

    /// What holds for each string of a row.
    pub(super) fn plain(&mut self, row: &SheetRow, facts: &Facts) -> SheetLine {
        let cell = |kind| self.columns.cell(row, kind).map(str::to_owned);
        // A string may have a name where others have a number.
        let letters = |text: &String| text.starts_with(char::is_alphabetic);
        let unnumbered = cell(Kind::StringNumber).filter(letters);
        let numbered = unnumbered.is_none();
        let name = cell(Kind::StringName).or(unnumbered).map(|name| lawful(&name, "string"));
        let heading = self.columns.heading(Kind::Lead).to_lowercase();
        let unit = heading.rsplit(|c: char| !c.is_alphabetic()).find(|word| !word.is_empty());
        let lead = cell(Kind::Lead).filter(|lead| lead != "0");
        let length = lead.as_deref().map(|lead| cells::length(lead, unit.unwrap_or("")));
        let receiver = cell(Kind::Receiver);
        let stored = cell(Kind::Stored).map(|text| cells::yes(&text));
        self.idle = stored.flatten().unwrap_or_else(|| self.is_idle(row));
        if length == Some(None) {
            self.note((row, Kind::Lead), "no length with a unit; left out", Grade::Lost);
        }
        if stored == Some(None) {
            self.note((row, Kind::Stored), "neither yes nor no; left out", Grade::Lost);
        }
        let number = match numbered {
            true => self.optional(row, Kind::StringNumber, MOST_COUNT),
            false => None,
        };
        let position = self.optional(row, Kind::Position, MOST_NODES);
        let receiver_port = self.optional(row, Kind::ReceiverPort, 1_024);
        let receiver = receiver.map(|text| self.receiver(row, &text, receiver_port));
        SheetLine {
            row: row.number,
            make: facts.make,
            name,
            number,
            strands: facts.strands,
            position,
            lead: length.flatten(),
            receiver,
            stored: self.idle,
            mirrors: self.remarks_of(row).any(|(_, text)| remarked::is_shared(text)),
            skip: self.remark(row, &remarked::dark).unwrap_or(0),
            enters: self.remark(row, &remarked::enters),
            ..SheetLine::default()
        }
    }

    /// A receiver by its text, and its port: 1 where the table does not say it.
    pub(super) fn receiver(
        &mut self,
        row: &SheetRow,
        text: &str,
        port: Option<u64>,
    ) -> (usize, u32) {
        // `pond.3` names both.
        let (name, own) = match text.rsplit_once(['.', ':']) {
            Some((name, own)) if own.bytes().all(|byte| byte.is_ascii_digit()) => {
                (name, own.parse().ok())
            }
            _ => (text, None),
        };
        let port = port.or(own).filter(|port| (1..=1_024).contains(port));
        let port = u32::try_from(port.unwrap_or(1)).unwrap_or(1);
        let key = name.to_lowercase();
        if let Some(at) = self.receivers.get(&key) {
            return (*at, port);
        }
        let lawful = self.boxes.give(name, "receiver");
        if lawful != *name {
            let what = format!("is called `{lawful}` in the display");
            self.note((row, Kind::Receiver), what, Grade::Noted);
        }
        let at = self.found.receivers.len();
        self.receivers.insert(key, at);
        self.found.receivers.push(lawful);
        (at, port)
    }

    /// Connects strings to ports: all to one, or an equal share of them to each.
    pub(super) fn hang(
        &mut self,
        row: &SheetRow,
        (prop, controller): (usize, Option<usize>),
        places: &[(usize, usize)],
        ports: &[SheetPort],
    ) {
        let (strings, count) = (places.len(), ports.len());
        if count > 0 && (count > strings || strings % count != 0) {
            let strings = unit::counted(strings as u64, "string");
            let what =
                format!("{strings} can't be spread evenly over {count} ports, so all stay open");
            self.note((row, Kind::Port), what, Grade::Lost);
        }
        let even = count > 0 && count <= strings && strings % count == 0;
        let share = if even { strings / count } else { 1 };
        let mut homeless = false;
        let board = controller.and_then(|at| self.found.boxes.get(at));
        let own = board.map(|board| boxes::squeezed(&board.name));
        let other = ports.iter().filter_map(|(name, _)| name.clone()).find(|name| {
            let name = self.known.get(&boxes::squeezed(name)).unwrap_or(name);
            own.as_ref().is_some_and(|own| *own != boxes::squeezed(name))
        });
        if let Some(name) = other {
            let what = format!("the row is on another box than `{name}`, which is not kept");
            self.note((row, Kind::Port), what, Grade::Wrong);
        }
        for (at, place) in places.iter().enumerate() {
            let port = ports.get(at / share.max(1)).filter(|_| even);
            // A string whose port stays open is still on the box that is named.
            let named = port.or(ports.first()).and_then(|(name, _)| name.as_deref());
            let column = self.columns.has(Kind::Controller) && controller.is_some();
            let own = match named {
                Some(name) if !column => Some(self.board(name)),
                _ => controller,
            };
            // Ports without any controller can only be those of one box.
            let only = !self.columns.has(Kind::Controller) && own.is_none();
            let own = if only { Some(self.the_only_box()) } else { own };
            homeless |= own.is_none() && port.is_some();
            if let Some(line) = self.found.line_mut((prop, *place)) {
                line.controller = own;
                line.output = port.map(|(_, output)| *output).filter(|_| own.is_some());
            }
        }
        if homeless {
            let what = "a port without a controller; the port is left open";
            self.note((row, Kind::Port), what, Grade::Lost);
        }
        self.limit(row, prop, places);
    }

    /// The box of a table that names none.
    fn the_only_box(&mut self) -> usize {
        if let Some(name) = self.on.clone() {
            return self.board(&name);
        }
        if !self.boxes_by_text.contains_key("main") {
            let what = "it names no controller: the display calls it `main`";
            // Beside boxes with names it may be one of these.
            let grade = if self.found.boxes.is_empty() { Grade::Noted } else { Grade::Lost };
            self.notes.push(Note::of_table(what.to_owned(), grade));
        }
        self.board("main")
    }

    /// Takes over the limit of a port.
    pub(super) fn limit(&mut self, row: &SheetRow, prop: usize, places: &[(usize, usize)]) {
        let in_slots = self.columns.has(Kind::Derived) && self.columns.of_ports;
        let limit = self.optional(row, Kind::Limit, MOST_NODES);
        let Some(limit) = limit.filter(|limit| *limit > 0) else {
            return;
        };
        for place in places {
            let line = self.found.line((prop, *place));
            let Some((Some(Output::Pixel(port)), pixels, own)) =
                line.map(|line| (line.output, line.make.is_some(), line.controller))
            else {
                continue;
            };
            if !pixels && in_slots {
                continue;
            }
            if let Some(board) = own.and_then(|at| self.found.boxes.get_mut(at)) {
                let known = board.limits.entry(port).or_insert(limit);
                *known = (*known).max(limit);
            }
        }
    }
}
