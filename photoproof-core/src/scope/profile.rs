//! A scope profile: one service, its phases, and the shots of each kind of area.

use std::path::Path;
use std::sync::OnceLock;

use toml::de::DeTable;

use super::caution;
use crate::error::Error;
use crate::job::{Mistakes, Reader, phases, read_text, syntax_mistakes};
use crate::phase::Phase;
use crate::volume::Rules;

/// A scope profile.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub struct Profile {
    /// The service it describes (`debris-removal`).
    pub service: String,
    /// Its name in print.
    pub title: String,
    /// What the service is, one sentence.
    pub about: String,
    /// Phases asked for.
    pub phases: Vec<Phase>,
    /// Photos wanted of each view and close-up, at least 1.
    pub photos_per_view: u32,
    /// Programme rules for debris volume.
    pub volume: Rules,
    /// Kinds of areas, in walking order.
    pub kinds: Vec<Kind>,
}

/// A kind of area with the shots it needs.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub struct Kind {
    /// Name in job sheets.
    pub name: String,
    /// Name in print.
    pub title: String,
    /// Other names a job sheet may use; an area without a kind is placed by them too.
    pub aliases: Vec<String>,
    /// Place in the walk: lower comes first.
    pub order: u32,
    /// Whether every job has it, on the sheet or not (street view, loads).
    pub every_job: bool,
    /// The shots.
    pub shots: Vec<ShotRule>,
}

/// A shot of a kind of area.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub struct ShotRule {
    /// Id within the kind.
    pub id: String,
    /// View or close-up.
    pub kind: ShotKind,
    /// What to show, to the crew.
    pub show: String,
    /// Phases, a part of the profile's.
    pub phases: Vec<Phase>,
    /// Ids of cautions.
    pub cautions: Vec<String>,
    /// Words in a caption or label that name this shot.
    pub words: Vec<String>,
    /// Whether it is asked only where the thing exists (a fireplace, a pool).
    pub if_present: bool,
}

/// How near a shot is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum ShotKind {
    /// The room or the side of the house, repeated from the same spot in each phase.
    View,
    /// One thing, filling the frame.
    CloseUp,
}

impl ShotKind {
    /// `view` or `close-up`.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            ShotKind::View => "view",
            ShotKind::CloseUp => "close-up",
        }
    }
}

/// The built-in profiles: file name and text.
pub(crate) const BUILT_IN: [(&str, &str); 2] = [
    (
        "debris-removal.toml",
        include_str!("profiles/debris-removal.toml"),
    ),
    (
        "initial-cleaning.toml",
        include_str!("profiles/initial-cleaning.toml"),
    ),
];

const PROFILE_KEYS: [&str; 7] = [
    "service",
    "title",
    "about",
    "phases",
    "photos_per_view",
    "volume",
    "kind",
];
const KIND_KEYS: [&str; 6] = ["name", "title", "aliases", "order", "every_job", "shot"];
const SHOT_KEYS: [&str; 7] = [
    "id",
    "view",
    "show",
    "phases",
    "cautions",
    "words",
    "if_present",
];

impl Profile {
    /// The profiles that come with the program.
    #[must_use]
    pub fn built_in() -> Vec<Profile> {
        static ALL: OnceLock<Vec<Profile>> = OnceLock::new();
        // A test proves that the files in the program have no mistake.
        ALL.get_or_init(|| {
            BUILT_IN
                .iter()
                .filter_map(|(name, text)| Profile::parse(text, &caution::built_in_path(name)).ok())
                .collect()
        })
        .clone()
    }

    /// The text of the built-in profile of `service`, to copy and change.
    #[must_use]
    pub fn built_in_text(service: &str) -> Option<&'static str> {
        BUILT_IN
            .iter()
            .find(|(name, _)| name.strip_suffix(".toml") == Some(service))
            .map(|(_, text)| *text)
    }

    /// Reads and checks a profile file.
    ///
    /// # Errors
    ///
    /// When the file cannot be read or holds mistakes; the message lists all of them, one a line.
    pub fn read(path: &Path) -> Result<Self, Error> {
        Self::parse(&read_text(path, "profile")?, path)
    }

    /// Checks the text of a profile.
    ///
    /// # Errors
    ///
    /// When the text holds mistakes; the message lists all of them, one a line.
    pub fn parse(text: &str, shown_path: &Path) -> Result<Self, Error> {
        let (root, syntax) = DeTable::parse_recoverable(text);
        let mistakes = Mistakes::new(text, shown_path.display().to_string());
        let profile = profile(root.get_ref(), &mistakes);
        mistakes.into_result(&syntax_mistakes(&syntax))?;
        Ok(profile)
    }
}

fn profile<'a>(root: &'a DeTable<'a>, mistakes: &'a Mistakes<'a>) -> Profile {
    let root = Reader::open(root, (0..0, "the profile".into()), &PROFILE_KEYS, mistakes);
    let service = text(&root, "service", "service = \"debris-removal\"");
    let mut asked = phases(&root, "phases");
    if asked.is_empty() {
        asked = Phase::ALL.to_vec();
    }
    let volume = root
        .table("volume", &Rules::KEYS)
        .map(|table| Rules::from_table(&table))
        .unwrap_or_default();
    let mut kinds: Vec<Kind> = Vec::new();
    for table in root.tables("kind", &KIND_KEYS) {
        let found = kind(&table, &asked);
        if kinds.iter().any(|k| k.name == found.name) {
            table.mistake(
                &table.span,
                format!("kind `{}` is described twice; join the two", found.name),
            );
        }
        kinds.push(found);
    }
    if kinds.is_empty() {
        root.missing("kind", "[[kind]] with a name and shots");
    }
    kinds.sort_by_key(|k| k.order);
    Profile {
        title: root
            .text("title")
            .map_or_else(|| service.clone(), |t| t.value),
        about: root.text("about").map(|t| t.value).unwrap_or_default(),
        service,
        phases: asked,
        photos_per_view: root
            .integer("photos_per_view", 1..=100)
            .and_then(|n| u32::try_from(n).ok())
            .unwrap_or(1),
        volume,
        kinds,
    }
}

fn text(table: &Reader<'_>, key: &str, example: &str) -> String {
    if !table.has(key) {
        table.missing(key, example);
    }
    table.text(key).map(|t| t.value).unwrap_or_default()
}

fn kind(table: &Reader<'_>, asked: &[Phase]) -> Kind {
    let name = text(table, "name", "name = \"kitchen\"");
    let mut shots: Vec<ShotRule> = Vec::new();
    for shot_table in table.tables("shot", &SHOT_KEYS) {
        let found = shot(&shot_table, asked);
        if shots.iter().any(|s| s.id == found.id) {
            shot_table.mistake(
                &shot_table.span,
                format!(
                    "shot `{}` of `{name}` is described twice; remove one",
                    found.id
                ),
            );
        }
        shots.push(found);
    }
    Kind {
        title: table
            .text("title")
            .map_or_else(|| name.clone(), |t| t.value),
        name,
        aliases: table
            .texts("aliases")
            .into_iter()
            .map(|t| t.value)
            .collect(),
        order: table
            .integer("order", 0..=100_000)
            .and_then(|n| u32::try_from(n).ok())
            .unwrap_or(u32::MAX),
        every_job: table.boolean("every_job").unwrap_or(false),
        shots,
    }
}

fn shot(table: &Reader<'_>, asked: &[Phase]) -> ShotRule {
    let view = table.boolean("view").unwrap_or(false);
    let mut phases = phases(table, "phases");
    if phases.is_empty() {
        phases = Phase::ALL.to_vec();
    }
    phases.retain(|phase| asked.contains(phase));
    let mut cautions = Vec::new();
    for id in table.texts("cautions") {
        if caution::find(&id.value).is_none() {
            let known: Vec<&str> = super::cautions().iter().map(|c| c.id.as_str()).collect();
            table.mistake(
                &id.span,
                format!(
                    "unknown caution `{}`; {}",
                    id.value,
                    crate::job::suggestion(&id.value, &known)
                ),
            );
        }
        cautions.push(id.value);
    }
    ShotRule {
        id: text(table, "id", "id = \"corner-1\""),
        kind: if view {
            ShotKind::View
        } else {
            ShotKind::CloseUp
        },
        show: text(table, "show", "show = \"the whole room from the door\""),
        phases,
        cautions,
        words: table.texts("words").into_iter().map(|t| t.value).collect(),
        if_present: table.boolean("if_present").unwrap_or(false),
    }
}
