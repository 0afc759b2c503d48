//! Words that crews use for phases, rooms and places (common practice, no source).

use crate::phase::Phase;

/// The phase a word names, and how surely: `before`, `during` and `after` beat looser words in the
/// same name.
pub(crate) fn phase(word: &str) -> Option<(Phase, Firmness)> {
    Some(match word {
        "before" | "b4" => (Phase::Before, Firmness::Firm),
        "during" => (Phase::During, Firmness::Firm),
        "after" => (Phase::After, Firmness::Firm),
        "pre" | "prior" | "befores" => (Phase::Before, Firmness::Loose),
        "progress" | "mid" | "inprogress" | "wip" | "underway" => (Phase::During, Firmness::Loose),
        "post" | "done" | "complete" | "completed" | "finished" | "final" | "afters" => {
            (Phase::After, Firmness::Loose)
        }
        _ => return None,
    })
}

/// How surely a word names a phase.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Firmness {
    /// A word with other uses too.
    Loose,
    /// The phase's own name.
    Firm,
}

/// What a word means in the name of an area.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Meaning {
    /// A kind of room or outdoor place, by its canonical words.
    Kind(&'static [&'static str]),
    /// Tells rooms of one kind apart, or says where they are.
    Qualifier,
    /// Says nothing about the area.
    Noise,
    /// Introduces the name of a view; it and what follows are not part of the area.
    View,
    /// Any other word.
    Unknown,
}

/// Kinds and the words for them.
const KINDS: [(&[&str], &[&str]); 39] = [
    (
        &["kitchen"],
        &["kitchen", "kitch", "ktch", "ktchn", "kit", "kitchenette"],
    ),
    (
        &["bath"],
        &[
            "bath", "bathroom", "ba", "bthrm", "restroom", "washroom", "wc", "ensuite", "powder",
        ],
    ),
    (
        &["bedroom"],
        &["bedroom", "bed", "bdrm", "bdr", "br", "bedrm"],
    ),
    (
        &["living"],
        &["living", "livingroom", "lr", "lounge", "livrm"],
    ),
    (&["dining"], &["dining", "diningroom", "dr"]),
    (&["family"], &["family", "familyroom", "fr"]),
    (&["great"], &["great", "greatroom"]),
    (&["den"], &["den"]),
    (&["office"], &["office", "study", "library"]),
    (&["hall"], &["hall", "hallway", "corridor"]),
    (&["entry"], &["entry", "entryway", "foyer", "vestibule"]),
    (&["mudroom"], &["mudroom", "mud"]),
    (
        &["stairs"],
        &["stairs", "stair", "stairway", "stairwell", "staircase"],
    ),
    (&["closet"], &["closet", "wardrobe"]),
    (&["pantry"], &["pantry"]),
    (&["laundry"], &["laundry", "laundryroom"]),
    (
        &["utility"],
        &["utility", "mechanical", "furnace", "boiler"],
    ),
    (&["basement"], &["basement", "bsmt", "cellar"]),
    (&["attic"], &["attic", "loft"]),
    (&["garage"], &["garage", "gar"]),
    (&["carport"], &["carport"]),
    (&["shed"], &["shed", "outbuilding", "barn", "workshop"]),
    (&["porch"], &["porch"]),
    (&["deck"], &["deck"]),
    (&["patio"], &["patio"]),
    (&["balcony"], &["balcony"]),
    (&["yard"], &["yard", "lawn", "garden", "grounds"]),
    (&["back", "yard"], &["backyard"]),
    (&["front", "yard"], &["frontyard"]),
    (&["side", "yard"], &["sideyard"]),
    (&["driveway"], &["driveway"]),
    (
        &["exterior"],
        &["exterior", "ext", "outside", "outdoors", "facade"],
    ),
    (&["crawlspace"], &["crawlspace", "crawl"]),
    (&["sunroom"], &["sunroom"]),
    (&["nursery"], &["nursery", "playroom"]),
    (&["storage"], &["storage", "storeroom"]),
    (&["room"], &["room", "rm"]),
    (
        &["unit"],
        &["unit", "apartment", "apt", "suite", "building", "bldg"],
    ),
    (&["pool"], &["pool"]),
];

const QUALIFIERS: [&str; 36] = [
    "master",
    "primary",
    "main",
    "guest",
    "spare",
    "kids",
    "half",
    "full",
    "front",
    "back",
    "rear",
    "side",
    "left",
    "right",
    "north",
    "south",
    "east",
    "west",
    "upstairs",
    "downstairs",
    "upper",
    "lower",
    "ground",
    "first",
    "second",
    "third",
    "1st",
    "2nd",
    "3rd",
    "4th",
    "small",
    "large",
    "big",
    "little",
    "bonus",
    "covered",
];

const PLACES: [&str; 10] = [
    "upstairs",
    "downstairs",
    "upper",
    "lower",
    "master",
    "primary",
    "main",
    "guest",
    "ground",
    "spare",
];

const NOISE: [&str; 98] = [
    "photo",
    "photos",
    "pic",
    "pics",
    "picture",
    "pictures",
    "image",
    "images",
    "img",
    "imgs",
    "dsc",
    "dscn",
    "dscf",
    "pxl",
    "pict",
    "mvimg",
    "dji",
    "gopr",
    "cimg",
    "sam",
    "kic",
    "wa",
    "whatsapp",
    "screenshot",
    "burst",
    "cover",
    "hdr",
    "mp",
    "portrait",
    "night",
    "edited",
    "edit",
    "copy",
    "kopie",
    "received",
    "camera",
    "cam",
    "roll",
    "dcim",
    "apple",
    "android",
    "upload",
    "uploads",
    "job",
    "work",
    "order",
    "wo",
    "site",
    "house",
    "home",
    "property",
    "vacant",
    "clean",
    "cleaning",
    "cleaned",
    "cleanup",
    "cleanout",
    "trash",
    "trashout",
    "debris",
    "removal",
    "junk",
    "initial",
    "service",
    "services",
    "shot",
    "shots",
    "the",
    "of",
    "and",
    "a",
    "an",
    "at",
    "in",
    "on",
    "from",
    "to",
    "with",
    "phase",
    "no",
    "new",
    "all",
    "misc",
    "version",
    "resized",
    "compressed",
    "export",
    "jpg",
    "jpeg",
    "png",
    "area",
    "areas",
    "set",
    "crew",
    "vendor",
    "client",
    "am",
    "pm",
];

const VIEWS: [&str; 8] = [
    "view",
    "views",
    "angle",
    "angles",
    "position",
    "pos",
    "standpoint",
    "spot",
];

/// Looks up a lower-case word.
pub(crate) fn meaning(word: &str) -> Meaning {
    if let Some((canonical, _)) = KINDS.iter().find(|(_, words)| words.contains(&word)) {
        Meaning::Kind(canonical)
    } else if QUALIFIERS.contains(&word) {
        Meaning::Qualifier
    } else if VIEWS.contains(&word) {
        Meaning::View
    } else if NOISE.contains(&word) {
        Meaning::Noise
    } else {
        Meaning::Unknown
    }
}

/// Whether a qualifier that stands behind the kind still belongs to the area ("bath upstairs"); "left"
/// or "back" there name a view, except outdoors ("yard back").
pub(crate) fn qualifies_behind(word: &str, head: &str) -> bool {
    const OUTDOORS: [&str; 8] = [
        "yard", "exterior", "porch", "deck", "patio", "balcony", "driveway", "shed",
    ];
    const SIDES: [&str; 10] = [
        "front", "back", "rear", "side", "left", "right", "north", "south", "east", "west",
    ];
    PLACES.contains(&word) || (OUTDOORS.contains(&head) && SIDES.contains(&word))
}

/// Whether rooms of this kind are usually numbered.
pub(crate) fn is_numbered(head: &str) -> bool {
    const NUMBERED: [&str; 9] = [
        "bath", "bedroom", "room", "unit", "closet", "office", "hall", "shed", "garage",
    ];
    NUMBERED.contains(&head)
}

/// Whether a room of this kind can be a part of another room, so that its name beside another room's
/// is no contradiction.
pub(crate) fn is_part(head: &str) -> bool {
    matches!(head, "closet" | "pantry" | "storage" | "stairs" | "entry")
}

/// Whether a folder name of these canonical words only says where rooms are ("Upstairs", "Unit 2").
pub(crate) fn is_place(word: &str) -> bool {
    const LEVELS: [&str; 12] = [
        "upstairs",
        "downstairs",
        "upper",
        "lower",
        "floor",
        "level",
        "unit",
        "first",
        "second",
        "third",
        "ground",
        "main",
    ];
    LEVELS.contains(&word) || word.bytes().all(|byte| byte.is_ascii_digit()) || is_ordinal(word)
}

/// `1st`, `2nd`, `22nd`.
pub(crate) fn is_ordinal(word: &str) -> bool {
    let letters = word.trim_start_matches(|letter: char| letter.is_ascii_digit());
    letters.len() < word.len() && matches!(letters, "st" | "nd" | "rd" | "th")
}

/// Numbers written as words.
pub(crate) fn number_word(word: &str) -> Option<&'static str> {
    Some(match word {
        "one" => "1",
        "two" => "2",
        "three" => "3",
        "four" => "4",
        "five" => "5",
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_word_has_two_meanings() {
        let mut seen = std::collections::BTreeSet::new();
        let kinds = KINDS.iter().flat_map(|(_, words)| words.iter());
        for word in kinds.chain(&QUALIFIERS).chain(&NOISE).chain(&VIEWS) {
            assert!(seen.insert(*word), "{word} is listed twice");
            assert!(phase(word).is_none(), "{word} is a phase word too");
        }
    }
}
