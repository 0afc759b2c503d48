//! `editing-software`: a file names a program that edits pictures or their metadata.

use std::collections::{BTreeMap, BTreeSet};

use crate::ingest::{PhotoId, Program, ProgramSource};
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "editing-software",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Note,
    summary: "Files name a program that edits pictures or their metadata.",
    why: "The file is not the one the camera wrote; what the program changed is not known.",
    how_measured: "ImageEditingSoftware and MetadataEditingSoftware of Exif 3.0 (CIPA DC-008-2023) and software agents of the XMP history, whatever their name; Exif Software and xmp:CreatorTool where they contain the name of a common picture editor. Firmware names of cameras do not count.",
    limit: "No such program. One finding for each program.",
    remedy: "Send the original files from the camera, and say what was done with the program.",
    innocent: &[
        "the photo was turned, made smaller or given a caption",
        "brightness was corrected so that the room can be seen",
        "the program only copied the photo from the phone and put its name on it",
    ],
    blind_spots: "Most programs can leave their name out, and messengers remove it. A name says nothing of what was changed.",
};

/// The check.
#[derive(Debug)]
pub struct EditingSoftware;

/// Parts of the names, in lower case, of common picture editors (general knowledge, no source).
const EDITORS: [&str; 36] = [
    "acdsee",
    "affinity",
    "canva",
    "camera raw",
    "capture one",
    "corel",
    "darktable",
    "digikam",
    "exiftool",
    "facetune",
    "faststone",
    "gimp",
    "graphicsmagick",
    "gthumb",
    "imagemagick",
    "imageready",
    "irfanview",
    "krita",
    "lightroom",
    "luminar",
    "meitu",
    "paint",
    "photo editor",
    "photofiltre",
    "photopea",
    "photoscape",
    "photoshop",
    "picasa",
    "picsart",
    "pixelmator",
    "pixlr",
    "rawtherapee",
    "retouch",
    "snapseed",
    "vsco",
    "xnview",
];

impl Check for EditingSoftware {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let mut by_program: BTreeMap<String, BTreeSet<PhotoId>> = BTreeMap::new();
        for id in evidence.photo_ids() {
            let programs = &evidence.photo(id).traces.programs;
            for program in programs.iter().filter(|program| edits(program)) {
                let name = program.name.clone();
                by_program.entry(name).or_default().insert(id);
            }
        }
        // Several versions in one history are one cause: photos with the same programs make one finding.
        let mut by_photos: BTreeMap<BTreeSet<PhotoId>, Vec<String>> = BTreeMap::new();
        for (name, photos) in by_program {
            by_photos.entry(photos).or_default().push(name);
        }
        by_photos
            .into_iter()
            .map(|(photos, names)| {
                let count = photos.len();
                let who = if count == 1 {
                    "the file names".to_owned()
                } else {
                    format!("{count} files name")
                };
                let area = photos.first().and_then(|&id| evidence.area(id));
                META.finding(format!("{who} {}", names.join(", ")))
                    .area(area.filter(|_| count == 1))
                    .photos(photos)
                    .subject(names.join(", "))
                    .measured(count as f64, 0.0, "photos")
            })
            .collect()
    }
}

/// Whether a program edits, by where it is named or by its name.
pub(super) fn edits(program: &Program) -> bool {
    match program.source {
        ProgramSource::ImageEditing | ProgramSource::MetadataEditing | ProgramSource::History => {
            true
        }
        _ => {
            let name = program.name.to_lowercase();
            EDITORS.iter().any(|editor| name.contains(editor))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Names as they stand in public pictures.
    #[test]
    fn firmware_is_no_editor() {
        let named = |name: &str| {
            edits(&Program {
                source: ProgramSource::Software,
                name: name.to_owned(),
            })
        };
        for firmware in [
            "13.1.2",
            "HDR+ 1.0.199571065z",
            "G930VVRS4BQI1",
            "ILCE-7SM3 v1.01",
            "Google",
        ] {
            assert!(!named(firmware), "{firmware}");
        }
        for editor in ["GIMP 2.10.36", "Snapseed 2.0", "Microsoft Paint"] {
            assert!(named(editor), "{editor}");
        }
    }
}
