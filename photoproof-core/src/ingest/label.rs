//! Area and phase of every photo of a job, from `photos.csv`, the job sheet, folders and file names,
//! in this order of trust. Names are read for the whole job at once: whether a number belongs to a
//! room, and whether a word in front is the vendor's, only the other names can tell.

use std::collections::{BTreeMap, BTreeSet};

use crate::ingest::area_match::SheetAreas;
use crate::ingest::name_reading::{
    AreaWords, NameKind, NameReading, NumberUse, canonical, capital, read, read_phase,
};
use crate::ingest::photos_csv::Row;
use crate::ingest::vocabulary;
use crate::ingest::words::Word;
use crate::ingest::{Label, LabelSource};
use crate::job::JobSheet;
use crate::phase::Phase;

/// Labels of one photo, and contradictions between its names.
#[derive(Debug, Clone, Default)]
pub(crate) struct Labelled {
    /// Labels.
    pub(crate) label: Label,
    /// Contradictions, in words.
    pub(crate) problems: Vec<String>,
}

/// What the names of one path say.
struct PathReading<'a> {
    path: &'a str,
    /// Folders, outermost first.
    folders: Vec<NameReading>,
    file: NameReading,
}

/// Labels `paths` (relative to the job folder). `rows` are the rows of all `photos.csv` by path.
pub(crate) fn label_all(
    paths: &[&str],
    sheet: &JobSheet,
    rows: &BTreeMap<String, Row>,
) -> Vec<Labelled> {
    let readings: Vec<PathReading<'_>> = paths.iter().map(|path| read_path(path)).collect();
    let sheet_areas = SheetAreas::new(sheet);
    let facts = JobFacts::gather(&readings);
    let mut labelled: Vec<Labelled> = readings
        .iter()
        .map(|reading| label_one(reading, &sheet_areas, &facts, rows.get(reading.path)))
        .collect();
    facts.unify(&readings, &mut labelled);
    labelled
}

fn read_path(path: &str) -> PathReading<'_> {
    let (folders, file) = path.rsplit_once('/').unwrap_or(("", path));
    let stem = file.rsplit_once('.').map_or(file, |(stem, _)| stem);
    let folders = folders.split('/').filter(|part| !part.is_empty());
    PathReading {
        path,
        folders: folders.map(|part| read(part, NameKind::Folder)).collect(),
        file: read(stem, NameKind::File),
    }
}

fn label_one(
    reading: &PathReading<'_>,
    sheet_areas: &SheetAreas,
    facts: &JobFacts,
    row: Option<&Row>,
) -> Labelled {
    let mut labelled = Labelled::default();
    labelled.set_phase(reading, row);
    labelled.set_area(reading, sheet_areas, facts, row);
    labelled.label.caption = row.and_then(|row| row.caption.clone());
    labelled.label.view = row.and_then(|row| row.view.clone());
    labelled
}

impl Labelled {
    fn set_phase(&mut self, reading: &PathReading<'_>, row: Option<&Row>) {
        let written = row.and_then(|row| row.phase.as_deref());
        let from_row = written.and_then(read_phase);
        if let (Some(text), None) = (written, from_row) {
            self.problems.push(format!(
                "photos.csv gives the phase \"{text}\", which is not known"
            ));
        }
        let folders: Vec<Phase> = reading
            .folders
            .iter()
            .rev()
            .filter_map(|name| name.phase)
            .collect();
        let from_folder = folders.first().copied();
        let sources = [
            (from_row, LabelSource::PhotosCsv),
            (from_folder, LabelSource::Folder),
            (reading.file.phase, LabelSource::FileName),
        ];
        let chosen = sources
            .iter()
            .find_map(|(phase, source)| phase.map(|phase| (phase, *source)));
        let Some((phase, source)) = chosen else {
            return;
        };
        self.label.phase = Some(phase);
        self.label.phase_source = Some(source);
        for (other, place) in folders
            .iter()
            .map(|phase| (*phase, "folder"))
            .chain(reading.file.phase.map(|p| (p, "file name")))
        {
            if other != phase {
                let said = source_words(source);
                self.problems
                    .push(format!("{said} says {phase}, a {place} says {other}"));
                break;
            }
        }
    }

    fn set_area(
        &mut self,
        reading: &PathReading<'_>,
        sheet_areas: &SheetAreas,
        facts: &JobFacts,
        row: Option<&Row>,
    ) {
        let written = row.and_then(|row| row.area.as_deref());
        let from_row = written.map(|text| sheet_areas.named(text).unwrap_or_else(|| tidy(text)));
        let from_pattern = sheet_areas.by_pattern(reading.path).map(str::to_owned);
        let by_sheet = |name: &NameReading| sheet_areas.by_words(&name.words).map(str::to_owned);
        let folder_sheet = reading.folders.iter().rev().find_map(by_sheet);
        let file_sheet = by_sheet(&reading.file);
        let all_folders: Vec<Word> = reading
            .folders
            .iter()
            .flat_map(|name| name.words.iter().cloned())
            .collect();
        let joined_sheet = sheet_areas.by_words(&all_folders).map(str::to_owned);
        let folder_words = facts.folder_area(reading);
        let file_words = reading.file.area.as_ref();
        let known = |area: Option<&AreaWords>| area.filter(|area| area.head.is_some()).is_some();
        let shown = |area: Option<&AreaWords>| area.map(|area| facts.placed(reading, area).0);
        let (folder, file) = (LabelSource::Folder, LabelSource::FileName);
        let candidates = [
            (from_row, LabelSource::PhotosCsv),
            (from_pattern, LabelSource::JobSheet),
            (folder_sheet.clone(), folder),
            (file_sheet.clone(), file),
            (joined_sheet, folder),
            (shown(folder_words.filter(|area| known(Some(area)))), folder),
            (shown(file_words.filter(|area| known(Some(area)))), file),
            (shown(folder_words), folder),
            (shown(file_words), file),
        ];
        let chosen = candidates
            .into_iter()
            .find_map(|(area, source)| Some((area?, source)));
        let Some((area, source)) = chosen else { return };
        self.label.area = Some(area);
        self.label.area_source = Some(source);
        if source == LabelSource::Folder {
            let contradiction = match (folder_sheet, file_sheet) {
                (Some(folder), Some(file)) => (folder != file).then_some((folder, file)),
                _ => facts.contradiction(folder_words, file_words),
            };
            if let Some((folder, file)) = contradiction {
                self.problems.push(format!(
                    "the folder says {folder}, the file name says {file}"
                ));
            }
        }
    }
}

fn source_words(source: LabelSource) -> &'static str {
    match source {
        LabelSource::PhotosCsv => "photos.csv",
        LabelSource::JobSheet => "the job sheet",
        LabelSource::Folder => "the folder",
        LabelSource::FileName => "the file name",
        LabelSource::Inferred => "the picture",
    }
}

/// A name as written, blanks tidied.
fn tidy(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// What only the names of the whole job can tell.
#[derive(Debug, Default)]
struct JobFacts {
    /// Unknown words that stand in front of different kinds of rooms: not part of a room's name.
    common_prefix: BTreeSet<String>,
    /// Numbers that certainly belong to rooms, by the room's key without number.
    room_numbers: BTreeMap<Vec<String>, BTreeSet<String>>,
    /// Numbers at the end of file names, likewise.
    ending_numbers: BTreeMap<Vec<String>, BTreeSet<String>>,
    /// Folders that say where rooms are ("Upstairs", "Unit 2"); if there are several, the place is a part
    /// of an area's name.
    places: BTreeSet<String>,
}

/// Largest number of rooms of one kind that bare numbers at the end of names may count.
const MOST_ROOMS: usize = 4;

impl JobFacts {
    fn gather(readings: &[PathReading<'_>]) -> Self {
        let mut facts = Self::default();
        let mut heads: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
        let areas = readings
            .iter()
            .flat_map(|reading| reading.folders.iter().chain(std::iter::once(&reading.file)))
            .filter_map(|name| name.area.as_ref());
        for area in areas {
            for word in &area.prefix {
                heads.entry(&word.lower).or_default().extend(area.head);
            }
            if let Some((number, usage)) = &area.number {
                let numbers = match usage {
                    NumberUse::Room => &mut facts.room_numbers,
                    NumberUse::Ending => &mut facts.ending_numbers,
                };
                numbers
                    .entry(area.key(true, false))
                    .or_default()
                    .insert(number.lower.clone());
            }
        }
        facts.places = readings
            .iter()
            .filter_map(place)
            .map(|(place, _)| place)
            .collect();
        facts.common_prefix = heads
            .into_iter()
            .filter(|(_, heads)| heads.len() > 1)
            .map(|(word, _)| word.to_owned())
            .collect();
        facts
    }

    /// Innermost folder that names an area; a known room goes before unknown words, and a place such
    /// as "Upstairs" is taken only if nothing else is there.
    fn folder_area<'a>(&self, reading: &'a PathReading<'_>) -> Option<&'a AreaWords> {
        let areas = || {
            reading
                .folders
                .iter()
                .rev()
                .filter_map(|name| name.area.as_ref())
        };
        areas()
            .find(|area| area.head.is_some())
            .or_else(|| areas().next())
    }

    fn keeps_prefix(&self, area: &AreaWords) -> bool {
        !area
            .prefix
            .iter()
            .any(|word| self.common_prefix.contains(&word.lower))
    }

    fn keeps_number(&self, area: &AreaWords) -> bool {
        let Some((number, usage)) = &area.number else {
            return false;
        };
        if *usage == NumberUse::Room {
            return true;
        }
        let key = area.key(true, false);
        match self.room_numbers.get(&key) {
            Some(rooms) => rooms.contains(&number.lower),
            None => self
                .ending_numbers
                .get(&key)
                .is_none_or(|numbers| numbers.len() <= MOST_ROOMS),
        }
    }

    fn shown(&self, area: &AreaWords) -> String {
        area.shown(self.keeps_prefix(area), self.keeps_number(area))
    }

    /// Name and key of an area, with its place where rooms lie in several.
    fn placed(&self, reading: &PathReading<'_>, area: &AreaWords) -> (String, Vec<String>) {
        let name = self.shown(area);
        let mut key = area.key(self.keeps_prefix(area), self.keeps_number(area));
        let is_room = area.head.is_some_and(|head| head != "unit");
        let place = place(reading).filter(|_| is_room && self.places.len() > 1);
        match place {
            Some((place, words)) if !words.iter().all(|word| key.contains(word)) => {
                key.extend(words);
                (format!("{place} {name}"), key)
            }
            _ => (name, key),
        }
    }

    fn contradiction(
        &self,
        folder: Option<&AreaWords>,
        file: Option<&AreaWords>,
    ) -> Option<(String, String)> {
        let (folder, file) = (folder?, file?);
        let (folder_head, file_head) = (folder.head?, file.head?);
        let differs = folder_head != file_head && !vocabulary::is_part(file_head);
        differs.then(|| (self.shown(folder), self.shown(file)))
    }

    /// Gives areas with one key one name: a folder's before a file's, then the way most photos write it,
    /// then the longest.
    fn unify(&self, readings: &[PathReading<'_>], labelled: &mut [Labelled]) {
        let mut spellings: BTreeMap<Vec<String>, BTreeMap<String, (bool, usize)>> = BTreeMap::new();
        let keys: Vec<Option<Vec<String>>> = readings
            .iter()
            .zip(labelled.iter())
            .map(|(reading, done)| self.own_key(reading, done))
            .collect();
        for (key, done) in keys.iter().zip(labelled.iter()) {
            if let (Some(key), Some(area)) = (key, &done.label.area) {
                let names = spellings.entry(key.clone()).or_default();
                let uses = names.entry(area.clone()).or_default();
                uses.0 |= done.label.area_source == Some(LabelSource::Folder);
                uses.1 += 1;
            }
        }
        for (key, done) in keys.iter().zip(labelled.iter_mut()) {
            let Some(names) = key.as_ref().and_then(|key| spellings.get(key)) else {
                continue;
            };
            let best = names.iter().max_by_key(|(name, uses)| (**uses, name.len()));
            done.label.area = best.map(|(name, _)| name.clone());
        }
    }

    /// Key of a label that was made from a photo's own names (not from the sheet or the table).
    fn own_key(&self, reading: &PathReading<'_>, done: &Labelled) -> Option<Vec<String>> {
        let area = match done.label.area_source? {
            LabelSource::Folder => self.folder_area(reading)?,
            LabelSource::FileName => reading.file.area.as_ref()?,
            _ => return None,
        };
        let (name, key) = self.placed(reading, area);
        (done.label.area.as_deref() == Some(name.as_str())).then_some(key)
    }
}

/// Outermost folder whose words all say where rooms are: its name and words.
fn place(reading: &PathReading<'_>) -> Option<(String, Vec<String>)> {
    let is_place = |name: &&NameReading| {
        let says = name.words.iter().filter(|word| !word.lower.is_empty());
        let words: Vec<String> = canonical(&says.cloned().collect::<Vec<_>>());
        let names_one = words
            .iter()
            .any(|word| !word.bytes().all(|byte| byte.is_ascii_digit()));
        names_one && words.iter().all(|word| vocabulary::is_place(word))
    };
    let name = reading.folders.iter().find(is_place)?;
    let shown: Vec<String> = name
        .words
        .iter()
        .filter(|word| !word.lower.is_empty())
        .map(capital)
        .collect();
    Some((shown.join(" "), canonical(&name.words)))
}

#[cfg(test)]
#[path = "label_tests.rs"]
mod tests;
