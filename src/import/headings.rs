//! What headings mean.

use super::Reading;
use std::collections::BTreeMap;
use std::sync::LazyLock;

/// What a column holds.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Kind {
    /// The prop's name.
    Name,
    /// How many alike there are.
    Count,
    /// Which of several alike it is.
    Instance,
    /// Nodes of the whole prop.
    Nodes,
    /// Nodes of one string.
    NodesPerString,
    /// How many strings one prop has.
    Strings,
    /// Which string of its prop it is.
    StringNumber,
    /// The name of a string within its prop.
    StringName,
    /// How many strands one prop has.
    Strands,
    /// Nodes of one strand.
    NodesPerStrand,
    /// Slots of the whole row.
    Slots,
    /// Slots of one node.
    SlotsPerNode,
    /// The controller it hangs on.
    Controller,
    /// Where the controller is on the network.
    Host,
    /// The port of the controller.
    Port,
    /// Its place on the port.
    Position,
    /// The most nodes of the port.
    Limit,
    /// The receiver it hangs on.
    Receiver,
    /// The port of the receiver.
    ReceiverPort,
    /// Nodes before it that show nothing.
    Skip,
    /// The runs of a string as built.
    Runs,
    /// Nodes within it that show nothing.
    SkipWithin,
    /// Cable before it.
    Lead,
    /// The universe it starts in.
    Universe,
    /// The slot it starts at, within its universe.
    Slot,
    /// Where it starts, in one cell.
    Start,
    /// The channel it starts at.
    StartChannel,
    /// The universe it ends in.
    EndUniverse,
    /// The slot it ends at.
    EndSlot,
    /// Where it ends, in one cell.
    End,
    /// The channel it ends at.
    EndChannel,
    /// A label for people.
    Label,
    /// The make of its nodes.
    Make,
    /// The chip of its nodes.
    Chip,
    /// The colour order of its nodes.
    Colour,
    /// The voltage of its nodes.
    Volts,
    /// Where its data come in.
    Enters,
    /// Whether it is not put up.
    Stored,
    /// The string whose data it shows.
    SameAs,
    /// What is kept as a comment.
    Note,
    /// What follows from other columns.
    Derived,
}

/// The headings of each kind, as [`plain`] gives them; `%` stands for each of [`NODE_WORDS`].
/// Messages offer the first heading of a kind. A kind may have several lines.
const HEADINGS: &[(Kind, &str)] = &[
    (
        Kind::Name,
        "name prop props propname element item nameofprop model display fixture what namewhat whatitis thing \
         spot spots luminaire nm lamp flood floods",
    ),
    (Kind::Count, "count qty quantity howmany copies amount pieces pcs numberofprops propcount"),
    (Kind::Instance, "instance member copy"),
    (Kind::NodesPerString, "nodesperstring %perstring %string %eachstring stringlength perstring"),
    (Kind::NodesPerStrand, "nodesperstrand %perstrand %strand strandlength perstrand"),
    (Kind::Nodes, "nodes % %count numberof% total% %total %perprop %each no% noof% num% #%"),
    (
        Kind::Strings,
        "strings string stringcount numberofstrings noofstrings numstrings #strings stringsperprop datalines",
    ),
    (Kind::StringNumber, "stringnumber stringno string# nrofstring"),
    (Kind::StringName, "stringname"),
    (Kind::Strands, "strands strandcount numberofstrands"),
    (
        Kind::Slots,
        "channels channelcount numberofchannels noofchannels totalchannels chtotal totalch slots slotcount footprint chans mode dmxmode #channels",
    ),
    (
        Kind::SlotsPerNode,
        "channelspernode channelsper% channelsa% chper% cha% ch% slotsper% slotsa% bytesper% bpp",
    ),
    (
        Kind::Controller,
        "controller controllername box boxname bx board ctrl controllers device dmxplugof",
    ),
    (
        Kind::Host,
        "host ip ipaddress hostaddress controllerip boxip networkaddress numberonthenetwork networknumber",
    ),
    (
        Kind::Port,
        "port ports output outputs out portnumber portno port# #port controllerport outputport plug pt socket whereitplugs plugsinto pluggedinto",
    ),
    (
        Kind::Position,
        "position pos placeonport placeonline placeonstring orderonport order positiononport #",
    ),
    (Kind::Limit, "limit maxnodes maxpixels nodesatmost portlimit maxperport"),
    (Kind::Receiver, "receiver receivername remote remotereceiver"),
    (Kind::ReceiverPort, "receiverport remoteport portonreceiver receiveroutput"),
    (Kind::Runs, "built runs"),
    (Kind::SkipWithin, "skips darkwithin"),
    (
        Kind::Skip,
        "darknodesbefore darkbefore skipbefore dark dark% skip nullsbefore null% nulls startnulls deadbefore dead% skip%",
    ),
    (
        Kind::Lead,
        "lead leadbefore leadlength cable cablelength leadin leadbeforemm extension wire wirelength \
         wireto1st% wiretofirst% leadto1st% leadtofirst% cableto1st% cabletofirst% leadm leadft leadcm leadmetres leadfeet",
    ),
    (
        Kind::Universe,
        "universe universes startuniverse firstuniverse univ uni unis u universestart firstuni startuni",
    ),
    (
        Kind::Slot,
        "slot sl startslot firstslot startaddress dmxaddress dmxaddr dmxstart dial universechannel slotstart",
    ),
    (
        Kind::Start,
        "start starts address addresses addr startsat begin begins first from startat startedat st",
    ),
    (
        Kind::StartChannel,
        "startchannel channel ch chan firstchannel firstch startch channelstart chstart fromch fromchannel fromchan absolutechannel absolutestart absstart abschannel startabs",
    ),
    (Kind::EndUniverse, "enduniverse enduni enduniv lastuniverse lastuni lastuniv universeend"),
    (Kind::EndSlot, "endslot endsl lastslot lastsl endaddress slotend"),
    (Kind::End, "end ends endsat last to until endat endedat en"),
    (
        Kind::EndChannel,
        "endchannel lastchannel endch lastch endchan channelend chend toch tochannel tochan absoluteend absend endabs",
    ),
    (Kind::Label, "label description title caption"),
    (Kind::Make, "node nodemake make nodename"),
    (Kind::Chip, "chip chiptype ic protocol pixeltype nodetype type kind speaks"),
    (Kind::Colour, "colourorder colour color colororder ord rgborder orderofcolours rgb col"),
    (Kind::Volts, "volts voltage volt v"),
    (Kind::Enters, "enters direction entersat datain dataenters startsfrom"),
    (Kind::Stored, "stored notused unused"),
    (Kind::SameAs, "sameas copyof mirrors"),
    (
        Kind::Note,
        "note notes remark remarks comment comments location where place size length height width row area \
        material weight date checked done status info crate cmt stands year mindedby means since bits no nr id amps amp bright brightness level",
    ),
    (Kind::Derived, "fullname limitin left onepiece contiguous skipped receivers"),
];

/// Words for a node, as headings have them.
const NODE_WORDS: &[&str] =
    &["nodes", "node", "pixels", "pixel", "px", "leds", "led", "lights", "bulbs", "lamps"];

/// The kinds of columns that are offered, by the first of their headings.
const OFFERED: &str = "`name`, `count` (props alike), `instance` (which of them), `nodes`, `nodesperstring`, \
     `nodesperstrand`, `strings`, `stringnumber`, `stringname`, `strands`, `channels` (how many), `channelspernode`; `controller`, `host`, \
     `port`, `position` (on the port), `limit` (nodes of the port), `receiver`, `receiverport`, `built` (runs), `skips` \
     (dark nodes within), `darknodesbefore`, `lead`; where it begins: `start` (12/307, or a channel), `universe` with \
     `slot` (1 to 512), `startchannel` (counted through all universes); where it ends: `end`, `enduniverse` with \
     `endslot`, `endchannel`; `label`, `node` (its make), `chip`, `colourorder`, `volts`, `enters`, `stored`, `sameas`, \
     `note` (a comment), `fullname` (left out)";

/// A heading's small letters and digits, without what stands in brackets.
pub fn plain(heading: &str) -> String {
    let plain = heading.split(['(', '[']).next().unwrap_or(heading);
    plain
        .chars()
        .flat_map(char::to_lowercase)
        .filter(|c| c.is_alphanumeric() || *c == '#')
        .collect()
}

/// The kind that a heading means. Case, blanks, punctuation and text in brackets don't matter.
pub fn kind(heading: &str, reading: &Reading) -> Option<Kind> {
    let word = plain(heading);
    let given = reading.columns.iter().find(|(given, _)| plain(given) == word);
    if let Some((_, kind)) = given {
        return Some(*kind);
    }
    // A universe and a slot in one cell: `Uni/start`.
    let both = heading.split_once('/').filter(|(_, slot)| !slot.contains('/'));
    if let Some((universe, slot)) = both {
        match (kind(universe, reading), kind(slot, reading)) {
            (Some(Kind::Universe), Some(Kind::Slot | Kind::Start | Kind::StartChannel)) => {
                return Some(Kind::Start);
            }
            (Some(Kind::EndUniverse), Some(Kind::Slot | Kind::EndSlot | Kind::StartChannel)) => {
                return Some(Kind::End);
            }
            _ => {}
        }
    }
    let known = KNOWN.get(&word).map(|(kind, says_more)| match *kind {
        Kind::Nodes if reading.nodes_per_string && !*says_more => Kind::NodesPerString,
        kind => kind,
    });
    // Headings such as `Mode / remarks`, and `??` for a column without a name.
    let remarks = || {
        let mut words = heading.split(|c: char| !c.is_alphanumeric()).map(plain);
        let remark = words.any(|word| ["remarks", "notes", "comments"].contains(&&*word));
        remark || word.is_empty() && heading.contains('?')
    };
    known.or_else(|| remarks().then_some(Kind::Note))
}

/// The kind of each plain heading, and whether it says for what its nodes are counted.
static KNOWN: LazyLock<BTreeMap<String, (Kind, bool)>> = LazyLock::new(|| {
    const NO_MORE: [&str; 7] = ["%", "%count", "numberof%", "no%", "noof%", "num%", "#%"];
    let mut known = BTreeMap::new();
    for (kind, patterns) in HEADINGS {
        for pattern in patterns.split_whitespace() {
            let no_more = NO_MORE.contains(&pattern) || NODE_WORDS.contains(&pattern);
            let means = (*kind, !no_more);
            // A heading belongs to the first kind that lists it.
            match pattern.split_once('%') {
                None => {
                    known.entry(pattern.to_owned()).or_insert(means);
                }
                Some((before, after)) => {
                    for node in NODE_WORDS {
                        let word = format!("{before}{node}{after}");
                        known.entry(word).or_insert(means);
                    }
                }
            }
        }
    }
    known
});

/// Reads `HEADING=KIND`: a heading and what its column holds.
///
/// # Errors
/// In words: no such kind.
pub fn given(text: &str) -> Result<(String, Kind), String> {
    let (heading, word) =
        text.rsplit_once('=').ok_or_else(|| format!("`{text}` is not HEADING=KIND"))?;
    let (kind, _) = KNOWN
        .get(&plain(word))
        .ok_or_else(|| format!("`{word}` is no kind of column; there are {OFFERED}"))?;
    Ok((heading.trim().to_owned(), *kind))
}

#[cfg(test)]
mod tests {
    use super::{HEADINGS, OFFERED};

    /// The list of kinds names every one by the first of its headings, in their order.
    #[test]
    fn every_kind_is_offered() {
        let mut kinds = Vec::new();
        for (kind, words) in HEADINGS {
            if !kinds.contains(kind) {
                kinds.push(*kind);
                let first = words.split_whitespace().next().unwrap_or("");
                assert!(OFFERED.contains(&format!("`{first}`")), "{first}");
            }
        }
    }
}
