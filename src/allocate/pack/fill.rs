//! Packs lines onto ports: port by port with subset sums, then by best fit if that may be better.
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
    /// The port that it goes to, counted from 0 in [`Packer::bins`].
    pub bin: usize,
}

/// Ports that are alike.
pub struct Shelf {
    /// Which look they have.
    pub look: usize,
    /// What one takes, by class.
    pub rooms: Vec<Option<Room>>,
    /// The ports.
    pub ports: Vec<u32>,
}

impl Shelf {
    /// Whether an empty port takes a line.
    pub fn takes(&self, line: &Load) -> bool {
        let room = self.rooms[line.class];
        room.is_some_and(|room| line.size <= room.nodes && line.draw <= room.current)
    }
}

/// A port that is being filled.
#[derive(Clone, Copy)]
pub struct Bin {
    kind: usize,
    shelf: usize,
    nodes: u64,
    current: u64,
    /// The port; `None` where the shelf has too few.
    pub port: Option<u32>,
    /// Slots of the lines on it.
    pub slots: u64,
}

impl Bin {
    fn hang(&mut self, line: &Load) {
        self.nodes += line.size;
        self.current = self.current.saturating_add(line.draw);
        self.slots = self.slots.saturating_add(line.slots);
    }
}

/// Lines packed onto ports.
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

    /// Packs lines onto the ports of shelves; at most `least` ports are good enough.
    pub fn pack(&mut self, lines: impl Iterator<Item = usize>, shelves: &[Shelf], least: u64) {
        self.ranks.clear();
        self.ranks.extend(lines.map(|line| self.rank[line]));
        self.ranks.sort_unstable();
        let order = self.ranks.iter().map(|rank| self.order[*rank as usize]);
        let order: Vec<Chunk> = order.collect();
        self.steps += order.len() as u64;
        (self.pieces, self.bins) = (Vec::new(), Vec::new());
        let worth = |bins: &[Bin]| {
            let lacking = bins.iter().filter(|bin| bin.port.is_none()).count();
            (lacking, bins.len())
        };
        let mut best = (usize::MAX, usize::MAX);
        for way in [Way::Fullest, Way::Tightest, Way::BestFit] {
            let found = match way {
                Way::Tightest if shelves.len() == 1 => None,
                Way::BestFit => Some(self.best_fit(order.clone(), shelves)),
                Way::Fullest | Way::Tightest => self.complete(order.clone(), shelves, way),
            };
            if let Some((pieces, bins)) = found
                && worth(&bins) < best
            {
                best = worth(&bins);
                (self.pieces, self.bins) = (pieces, bins);
            }
            // Where ports are alike, the fewest ports also lack the fewest.
            if best.1 as u64 <= least && (best.0 == 0 || shelves.len() == 1) {
                return;
            }
        }
    }

    fn best_fit(&mut self, mut pieces: Vec<Chunk>, shelves: &[Shelf]) -> (Vec<Chunk>, Vec<Bin>) {
        let field = self.field;
        let mut bins: Vec<Bin> = Vec::new();
        let mut used = vec![0; shelves.len()];
        for piece in &mut pieces {
            let line = field.lines[piece.line];
            let fits = |bin: &Bin| {
                let room = shelves[bin.shelf].rooms[line.class];
                bin.kind == piece.kind
                    && room.is_some_and(|room| {
                        bin.nodes + line.size <= room.nodes
                            && bin.current.saturating_add(line.draw) <= room.current
                    })
            };
            let space = |bin: &Bin| {
                let room = shelves[bin.shelf].rooms[line.class];
                room.map_or(0, |room| room.nodes) - bin.nodes
            };
            let found = bins.iter().enumerate().filter(|(_, bin)| fits(bin));
            let found = found.min_by_key(|(at, bin)| (space(bin), *at));
            piece.bin = found.map_or(bins.len(), |(at, _)| at);
            if piece.bin == bins.len() {
                let widest = |shelf: &usize| {
                    let room = shelves[*shelf].rooms[line.class];
                    let free = used[*shelf] < shelves[*shelf].ports.len();
                    (free, room.map_or(0, |room| room.nodes), Reverse(*shelf))
                };
                let takes = (0..shelves.len()).filter(|shelf| shelves[*shelf].takes(line));
                if let Some(shelf) = takes.max_by_key(widest) {
                    bins.push(open(piece.kind, shelf, shelves, &mut used));
                }
            }
            if let Some(bin) = bins.get_mut(piece.bin) {
                bin.hang(line);
            }
        }
        self.steps += (pieces.len() * bins.len()) as u64 / 4 + 20;
        (pieces, bins)
    }

    /// Packs port by port: the largest piece left, and the pieces that fill the rest best. `None`
    /// where current is limited, a room is too wide, or one kind has several rooms on a port.
    fn complete(
        &mut self,
        mut left: Vec<Chunk>,
        shelves: &[Shelf],
        way: Way,
    ) -> Option<(Vec<Chunk>, Vec<Bin>)> {
        let field = self.field;
        let class = |piece: &Chunk| field.lines[piece.line].class;
        let hard = |piece: &Chunk| {
            let draws = field.lines[piece.line].draw > 0;
            let mut rooms = shelves.iter().filter_map(|shelf| shelf.rooms[class(piece)]);
            rooms.any(|room| room.nodes > WIDEST || draws && room.current < u64::MAX)
        };
        let unlike = |pair: &[Chunk]| {
            let [one, other] = [class(&pair[0]), class(&pair[1])];
            let mut rooms = shelves.iter().map(|shelf| &shelf.rooms);
            pair[0].kind == pair[1].kind && rooms.any(|rooms| rooms[one] != rooms[other])
        };
        if left.iter().any(hard) || left.windows(2).any(unlike) {
            return None;
        }
        let (mut pieces, mut bins) = (Vec::new(), Vec::new());
        let mut used = vec![0; shelves.len()];
        while !left.is_empty() {
            let first = match shelves.len() {
                1 => 0,
                _ => (0..left.len()).max_by_key(|at| (left[*at].size, Reverse(*at)))?,
            };
            let head = left[first];
            let end = left.partition_point(|piece| piece.kind <= head.kind);
            let mut best: Option<(_, usize, Vec<usize>)> = None;
            for shelf in 0..shelves.len() {
                let room = shelves[shelf].rooms[class(&head)];
                let nodes = room.map_or(0, |room| room.nodes);
                if nodes < head.size {
                    continue;
                }
                let size = |place: usize| left[first + 1 + place].size;
                let space = nodes - head.size;
                let steps = &mut self.steps;
                let chosen = subset(end - first - 1, &size, space, &mut self.sums, steps);
                let filled: u64 = chosen.iter().map(|place| size(*place)).sum();
                let free = used[shelf] < shelves[shelf].ports.len();
                let worth = match way {
                    Way::Tightest => (space - filled) * 1_000 / nodes,
                    _ => u64::MAX - filled,
                };
                let key = (!free, worth, nodes);
                if best.as_ref().is_none_or(|best| key < best.0) {
                    best = Some((key, shelf, chosen));
                }
            }
            let (_, shelf, mut chosen) = best?;
            let mut bin = open(head.kind, shelf, shelves, &mut used);
            chosen.iter_mut().for_each(|place| *place += first + 1);
            chosen.push(first);
            for place in chosen {
                let piece = left.remove(place);
                bin.hang(field.lines[piece.line]);
                pieces.push(Chunk { bin: bins.len(), ..piece });
            }
            bins.push(bin);
        }
        Some((pieces, bins))
    }
}

/// How ports are packed.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Way {
    /// Port by port, each time the port that takes most.
    Fullest,
    /// Port by port, each time the port that leaves the least free.
    Tightest,
    /// Piece by piece, each on the port that it leaves the least free.
    BestFit,
}

/// Opens a port of a shelf.
fn open(kind: usize, shelf: usize, shelves: &[Shelf], used: &mut [usize]) -> Bin {
    let port = shelves[shelf].ports.get(used[shelf]).copied();
    used[shelf] += 1;
    Bin { kind, shelf, nodes: 0, current: 0, port, slots: 0 }
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
