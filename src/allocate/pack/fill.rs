//! Packs lines onto ports that are alike: best fit, then port by port with subset sums.
#![allow(clippy::indexing_slicing)] // every index is made in this module from the lengths beside it

use super::state::Field;
use super::{Load, Room};
use std::cmp::Reverse;

/// Rooms above this are packed by best fit only.
const WIDEST: u64 = 8_192;

/// A line on its way to a port.
#[derive(Clone, Copy)]
pub struct Chunk {
    kind: usize,
    size: u64,
    /// The line.
    pub line: usize,
    /// The port that it goes to, counted from 0.
    pub bin: usize,
}

/// A port that is being filled.
#[derive(Clone, Copy)]
pub struct Bin {
    kind: usize,
    nodes: u64,
    current: u64,
    /// Slots of the lines on it.
    pub slots: u64,
}

impl Bin {
    fn of(kind: usize) -> Self {
        Self { kind, nodes: 0, current: 0, slots: 0 }
    }

    fn hang(&mut self, line: &Load) {
        self.nodes += line.size;
        self.current = self.current.saturating_add(line.draw);
        self.slots = self.slots.saturating_add(line.slots);
    }
}

/// Lines packed onto ports that are alike.
pub struct Packer<'a> {
    field: &'a Field<'a>,
    /// All lines as pieces, the largest of each kind first, and where each line stands there.
    order: Vec<Chunk>,
    rank: Vec<u32>,
    ranks: Vec<u32>,
    /// The lines that are packed.
    pub pieces: Vec<Chunk>,
    /// The ports.
    pub bins: Vec<Bin>,
    /// Steps used.
    pub steps: u64,
    sums: Vec<u64>,
}

impl<'a> Packer<'a> {
    /// Nothing is packed.
    pub fn new(field: &'a Field<'a>) -> Self {
        let piece = |line: usize| Chunk {
            kind: field.kind(line),
            size: field.lines[line].size,
            line,
            bin: 0,
        };
        let mut order: Vec<Chunk> = (0..field.lines.len()).map(piece).collect();
        order.sort_by_key(|piece| {
            let line = field.lines[piece.line];
            (piece.kind, Reverse(piece.size), line.draw, line.slots)
        });
        let mut rank = vec![0; order.len()];
        for (at, piece) in order.iter().enumerate() {
            rank[piece.line] = at as u32;
        }
        Self {
            field,
            order,
            rank,
            ranks: Vec::new(),
            pieces: Vec::new(),
            bins: Vec::new(),
            steps: 0,
            sums: Vec::new(),
        }
    }

    /// Packs lines onto ports that take `rooms` by class; at most `least` ports are good enough.
    pub fn pack(&mut self, lines: impl Iterator<Item = usize>, rooms: &[Option<Room>], least: u64) {
        self.bins.clear();
        self.ranks.clear();
        self.ranks.extend(lines.map(|line| self.rank[line]));
        self.ranks.sort_unstable();
        self.pieces.clear();
        let order = self.ranks.iter().map(|rank| self.order[*rank as usize]);
        self.pieces.extend(order);
        self.steps += self.pieces.len() as u64;
        let full = self.complete(rooms);
        if !full || self.bins.len() as u64 > least {
            let (pieces, bins) = (self.pieces.clone(), std::mem::take(&mut self.bins));
            self.best_fit(rooms);
            if full && self.bins.len() >= bins.len() {
                (self.pieces, self.bins) = (pieces, bins);
            }
        }
    }

    fn best_fit(&mut self, rooms: &[Option<Room>]) {
        let field = self.field;
        for piece in &mut self.pieces {
            let line = field.lines[piece.line];
            let Some(room) = rooms[line.class] else {
                continue;
            };
            let fits = |bin: &Bin| {
                bin.kind == piece.kind
                    && bin.nodes + line.size <= room.nodes
                    && bin.current.saturating_add(line.draw) <= room.current
            };
            let found = self.bins.iter().enumerate().filter(|(_, bin)| fits(bin));
            let found = found.max_by_key(|(at, bin)| (bin.nodes, Reverse(*at)));
            piece.bin = found.map_or(self.bins.len(), |(at, _)| at);
            if piece.bin == self.bins.len() {
                self.bins.push(Bin::of(piece.kind));
            }
            self.bins[piece.bin].hang(line);
        }
        self.steps += (self.pieces.len() * self.bins.len()) as u64 / 4 + 20;
    }

    /// Packs port by port: the largest piece left, and the pieces that fill the rest best. False
    /// where current is limited, or a room is too wide.
    fn complete(&mut self, rooms: &[Option<Room>]) -> bool {
        let field = self.field;
        let room = |piece: &Chunk| {
            let line = field.lines[piece.line];
            let room = rooms[line.class].filter(|room| room.nodes <= WIDEST);
            room.filter(|room| line.draw == 0 || room.current == u64::MAX)
        };
        let mut left = self.pieces.clone();
        if left.iter().any(|piece| room(piece).is_none()) {
            return false;
        }
        let mut pieces = Vec::new();
        let mut bins: Vec<Bin> = Vec::new();
        while let Some(first) = left.first().copied() {
            let mut bin = Bin::of(first.kind);
            let nodes = room(&first).map_or(0, |room| room.nodes);
            let kin = left.partition_point(|piece| piece.kind == first.kind);
            let size = |place: usize| left[place + 1].size;
            let space = nodes.saturating_sub(first.size);
            let steps = &mut self.steps;
            let mut chosen = subset(kin - 1, &size, space, &mut self.sums, steps);
            chosen.iter_mut().for_each(|place| *place += 1);
            chosen.push(0);
            for place in chosen {
                let piece = left.remove(place);
                bin.hang(field.lines[piece.line]);
                let bin = bins.len();
                pieces.push(Chunk { bin, ..piece });
            }
            bins.push(bin);
        }
        (self.pieces, self.bins) = (pieces, bins);
        true
    }
}

/// Which of some sizes (`size` by place, the largest first) fill a space best; of equal fills the
/// one with larger sizes. Returns their places, the last first.
pub fn subset(
    all: usize,
    size: &dyn Fn(usize) -> u64,
    space: u64,
    sums: &mut Vec<u64>,
    steps: &mut u64,
) -> Vec<usize> {
    let fits = (0..all).find(|place| size(*place) <= space);
    let (count, words) = (all - fits.unwrap_or(all), space as usize / 64 + 1);
    let size = |row: usize| size(all - 1 - row) as usize;
    sums.clear();
    sums.resize((count + 1) * words, 0);
    sums[0] = 1;
    *steps += (count * words) as u64 / 8 + 1;
    for row in 0..count {
        let (shift, bits) = (size(row) / 64, size(row) % 64);
        let (done, rest) = sums.split_at_mut((row + 1) * words);
        let before = &done[row * words..];
        rest[..words].copy_from_slice(before);
        for word in shift..words {
            rest[word] |= before[word - shift] << bits;
            if bits > 0 && word > shift {
                rest[word] |= before[word - shift - 1] >> (64 - bits);
            }
        }
    }
    let has = |row: usize, sum: usize| sums[row * words + sum / 64] >> (sum % 64) & 1 == 1;
    let mut sums = (0..=space as usize).rev();
    let mut sum = sums.find(|sum| has(count, *sum)).unwrap_or(0);
    let mut chosen = Vec::new();
    for row in (0..count).rev() {
        if size(row) <= sum && has(row, sum - size(row)) {
            sum -= size(row);
            chosen.push(all - 1 - row);
        }
    }
    chosen.reverse();
    chosen
}

/// Ports one after another that take `room` nodes: the largest size left, then what fills it best.
pub fn complete(sizes: &[u64], room: u64, steps: &mut u64) -> Vec<Vec<u64>> {
    let mut left = sizes.to_vec();
    left.sort_unstable_by(|one, other| other.cmp(one));
    let (mut bins, mut sums) = (Vec::new(), Vec::new());
    while !left.is_empty() {
        let first = left.remove(0);
        let size = |place: usize| left[place];
        let chosen = subset(left.len(), &size, room.saturating_sub(first), &mut sums, steps);
        let mut bin = vec![first];
        bin.extend(chosen.into_iter().map(|place| left.remove(place)));
        bins.push(bin);
    }
    bins
}
