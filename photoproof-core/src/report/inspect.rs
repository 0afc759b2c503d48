//! What `inspect` prints of one file: a JSON line or a short block of text.

use serde::{Deserialize, Serialize};

use crate::ingest::{Credentials, CredentialsState, EarlierSave, Photo, Rejected};
use crate::measure::Quality;
use crate::report::v1;

/// One line of `inspect --format json`. A file that cannot be read has the same members, unknown ones
/// null, and the reason first among the problems.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct InspectLine {
    /// Path as given.
    pub path: String,
    /// Container format by content.
    pub format: Option<String>,
    /// Upright width, pixels.
    pub width: Option<u32>,
    /// Upright height, pixels.
    pub height: Option<u32>,
    /// Exif Orientation, 1..=8.
    pub orientation: Option<u16>,
    /// SHA-256 of the file, lower-case hexadecimal.
    pub sha256: Option<String>,
    /// Chosen capture time.
    pub capture_time: Option<v1::Time>,
    /// Every time the file offers, most trusted first.
    pub all_times: Vec<v1::Time>,
    /// GPS position.
    pub gps: Option<v1::Gps>,
    /// Where the camera pointed, degrees clockwise from north.
    pub direction_deg: Option<f64>,
    /// Camera tags.
    pub camera: v1::Camera,
    /// Software tags.
    pub software: Option<String>,
    /// Whether the file holds Content Credentials (C2PA). Their absence means nothing.
    #[serde(default)]
    pub content_credentials: bool,
    /// What the verification of Content Credentials gave, where there are any.
    #[serde(default)]
    pub credentials: Option<Credentials>,
    /// Traces of a saving before the last one, where the picture was read.
    #[serde(default)]
    pub earlier_save: Option<EarlierSave>,
    /// Sharpness measure.
    pub sharpness: Option<f64>,
    /// Exposure measures.
    pub exposure: Option<v1::Exposure>,
    /// Visible date stamp, when one was read.
    pub stamp: Option<v1::Stamp>,
    /// Oddities of the file.
    pub problems: Vec<String>,
    /// Whether the picture could be read.
    pub readable: bool,
}

impl InspectLine {
    /// The line of a readable photo.
    #[must_use]
    pub fn of_photo(photo: &Photo, quality: &Quality) -> Self {
        Self {
            path: photo.path.clone(),
            format: Some(photo.format.clone()),
            width: Some(photo.width),
            height: Some(photo.height),
            orientation: photo.orientation,
            sha256: Some(photo.sha256.clone()),
            capture_time: photo.capture_time.as_ref().map(v1::Time::from),
            all_times: photo.all_times.iter().map(v1::Time::from).collect(),
            gps: photo.gps.map(v1::Gps::from),
            direction_deg: photo.direction_deg,
            camera: v1::Camera::from(&photo.camera),
            software: photo.software.clone(),
            content_credentials: photo.traces.content_credentials.is_some(),
            credentials: photo.traces.content_credentials.clone(),
            earlier_save: None,
            sharpness: Some(quality.sharpness),
            exposure: Some(v1::Exposure {
                mean_luma: quality.mean_luma,
                dark_share: quality.dark_share,
                clipped_share: quality.clipped_share,
            }),
            stamp: photo.stamp.as_ref().map(crate::report::build::photo::stamp),
            problems: photo.problems.clone(),
            readable: true,
        }
    }

    /// The same, with the traces of an earlier saving.
    #[must_use]
    pub fn with_earlier_save(self, earlier_save: Option<EarlierSave>) -> Self {
        Self {
            earlier_save,
            ..self
        }
    }

    /// The line of a file that cannot be read.
    #[must_use]
    pub fn of_rejected(rejected: &Rejected) -> Self {
        let mut line = match &rejected.facts {
            Some(photo) => Self::of_photo(photo, &NOTHING),
            None => Self::of_photo(&Photo::default(), &NOTHING),
        };
        let known = rejected.facts.is_some();
        line.path.clone_from(&rejected.path);
        line.sha256.clone_from(&rejected.sha256);
        line.format = line.format.filter(|_| known);
        line.width = None;
        line.height = None;
        line.sharpness = None;
        line.exposure = None;
        line.problems.insert(0, rejected.reason.clone());
        line.readable = false;
        line
    }

    /// One line of JSON, closed by a line feed.
    #[must_use]
    pub fn to_json(&self) -> String {
        let mut text = serde_json::to_string(self).unwrap_or_default();
        text.push('\n');
        text
    }

    /// A short block for a person: what, when, where, with what, how good, what is odd.
    #[must_use]
    pub fn to_text(&self) -> String {
        let mut lines = vec![printable(&self.path)];
        let mut add = |name: &str, value: Option<String>| {
            if let Some(value) = value {
                lines.push(format!("  {name:<8} {}", printable(&value)));
            }
        };
        add("picture", self.picture());
        add("taken", Some(self.taken()));
        add("place", Some(self.place()));
        add("camera", self.camera_words());
        add("software", self.software.clone());
        add("signed", self.credentials.as_ref().map(signed_words));
        add("saved", self.earlier_save.as_ref().map(saved_words));
        add("quality", self.quality());
        for problem in &self.problems {
            add("problem", Some(problem.clone()));
        }
        lines.push(String::new());
        lines.join("\n") + "\n"
    }

    fn picture(&self) -> Option<String> {
        let (format, width, height) = (self.format.as_ref()?, self.width?, self.height?);
        let turned = match self.orientation {
            None | Some(1) => "",
            Some(_) => ", turned upright",
        };
        Some(format!("{format}, {width} x {height} pixels{turned}"))
    }

    fn taken(&self) -> String {
        let Some(time) = &self.capture_time else {
            return "unknown: the file states no capture time".to_owned();
        };
        let zone = if time.offset_known {
            ""
        } else {
            ", time zone not stated"
        };
        let value = time.value.replacen('T', " ", 1);
        format!("{value} ({}{zone})", source_words(&time.source))
    }

    fn place(&self) -> String {
        let Some(gps) = &self.gps else {
            return "unknown: the file states no position".to_owned();
        };
        let error = gps
            .error_m
            .map_or_else(String::new, |error| format!(", within {error:.0} m"));
        format!("{:.6}, {:.6}{error}", gps.lat, gps.lon)
    }

    fn camera_words(&self) -> Option<String> {
        let camera = &self.camera;
        let mut words: Vec<String> = [&camera.make, &camera.model]
            .into_iter()
            .flatten()
            .cloned()
            .collect();
        if let Some(focal) = camera.focal_35mm {
            words.push(format!("{focal:.0} mm (35 mm equivalent)"));
        } else if let Some(focal) = camera.focal_mm {
            words.push(format!("{focal:.1} mm lens"));
        }
        (!words.is_empty()).then(|| words.join(" "))
    }

    fn quality(&self) -> Option<String> {
        let (sharpness, exposure) = (self.sharpness?, self.exposure.as_ref()?);
        Some(format!(
            "sharpness {sharpness:.1}, brightness {:.0} %, {:.0} % black, {:.0} % white",
            exposure.mean_luma * 100.0,
            exposure.dark_share * 100.0,
            exposure.clipped_share * 100.0
        ))
    }
}

const NOTHING: Quality = Quality {
    sharpness: 0.0,
    mean_luma: 0.0,
    dark_share: 0.0,
    clipped_share: 0.0,
    one_colour_share: 0.0,
    bar_share: 0.0,
    frame_share: 0.0,
    moire_share: 0.0,
};

fn signed_words(credentials: &Credentials) -> String {
    let signer = credentials.signed_by.as_deref().unwrap_or("somebody");
    let why = credentials.failures.join(", ");
    let said = match credentials.state {
        CredentialsState::NotVerified => {
            "they were not verified, which needs a build with the feature content-credentials"
                .to_owned()
        }
        CredentialsState::Intact => {
            format!("the file is as {signer} signed it; nobody vouches here for that signer")
        }
        CredentialsState::Broken => {
            format!("the file is no longer as {signer} signed it ({why})")
        }
        CredentialsState::Unclear => format!("they can be neither confirmed nor refuted ({why})"),
    };
    format!("Content Credentials (C2PA) are in the file; {said}")
}

fn saved_words(earlier: &EarlierSave) -> String {
    let parts = match earlier.newer_parts.len() {
        0 => String::new(),
        1 => "; one part of the picture is newer than that".to_owned(),
        count => format!("; {count} parts of the picture are newer than that"),
    };
    format!(
        "before at a lower quality, about {} on the usual scale, and then again{parts}",
        earlier.quality
    )
}

fn source_words(source: &str) -> &str {
    match source {
        "exif_original" => "written by the camera",
        "exif_digitized" => "written by the camera when the picture was stored",
        "gps" => "from the satellite receiver",
        "stamp" => "read from the stamp in the picture",
        "container" => "from the file's description",
        "file_name" => "from the file name",
        "exif_modified" => "when the file was last changed",
        "file_system" => "when the file was stored on this computer",
        other => other,
    }
}

/// Text that cannot move the cursor, start a new line or change its direction.
fn printable(text: &str) -> String {
    let safe = |letter: char| {
        let moves = letter.is_control()
            || matches!(letter, '\u{061C}' | '\u{200E}' | '\u{200F}' | '\u{2028}'..='\u{202E}' | '\u{2066}'..='\u{2069}');
        if moves { '\u{FFFD}' } else { letter }
    };
    text.chars().map(safe).collect()
}
