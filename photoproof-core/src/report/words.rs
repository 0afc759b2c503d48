//! Foreign text made inert, and numbers made readable.
//!
//! File names, tags and job sheets may hold anything: control characters, terminal escapes, marks that
//! turn the reading direction, kilobytes of text. Readers see what is there, spelled out, and nothing acts.

use crate::judge::finding::{Measurement, Outcome, Severity};

/// Longest foreign text shown in one piece, characters.
pub const LONGEST: usize = 240;

/// Spells out characters that act instead of showing (controls, direction marks, line separators,
/// invisible characters) as `\u{202E}` or `\n`, and cuts text beyond [`LONGEST`] characters with its length.
#[must_use]
pub fn inert(text: &str) -> String {
    let mut out = String::with_capacity(text.len().min(1024));
    for (shown, c) in text.chars().enumerate() {
        if shown == LONGEST {
            out.push_str(&format!("\u{2026} ({} characters)", text.chars().count()));
            break;
        }
        push_inert(&mut out, c);
    }
    out
}

/// As [`inert`], without the cut: for formats in which the text must stay complete.
#[must_use]
pub fn inert_whole(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        push_inert(&mut out, c);
    }
    out
}

/// As [`inert`], with spaces that a wrapped text must not break at; [`unglued`] turns them back.
#[must_use]
pub(crate) fn glued(path: &str) -> String {
    inert(path).replace(' ', GLUE)
}

/// Turns the unbreakable spaces of [`glued`] into plain ones.
#[must_use]
pub(crate) fn unglued(text: &str) -> String {
    text.replace(GLUE, " ")
}

/// Stands for a space that holds a path together; never in inert text, which has no controls.
const GLUE: &str = "\u{1}";

fn push_inert(out: &mut String, c: char) {
    match c {
        '\n' => out.push_str("\\n"),
        '\r' => out.push_str("\\r"),
        '\t' => out.push_str("\\t"),
        c if acts(c) => out.push_str(&format!("\\u{{{:04X}}}", u32::from(c))),
        c => out.push(c),
    }
}

/// Whether a character controls the reader instead of being shown: C0 and C1 controls, bidirectional
/// marks and overrides (Unicode Standard Annex 9, section 2), line separators, zero-width and tag characters,
/// non-characters.
pub(crate) fn acts(c: char) -> bool {
    c.is_control()
        || matches!(u32::from(c),
            0x00AD | 0x061C | 0x180E | 0x200B..=0x200F | 0x2028..=0x202E | 0x2060..=0x206F
            | 0xFEFF | 0xFFF9..=0xFFFB | 0xFFFE | 0xFFFF | 0xE0000..=0xE0FFF)
}

/// Foreign text made inert and written as a sentence: a capital first, a full stop last.
#[must_use]
pub fn sentence(text: &str) -> String {
    let shown = inert(text);
    let shown = shown.trim();
    let mut letters = shown.chars();
    let Some(first) = letters.next() else {
        return String::new();
    };
    let stop = if shown.ends_with(['.', '!', '?', ':', '\u{2026}', ')']) {
        ""
    } else {
        "."
    };
    format!("{}{}{stop}", first.to_uppercase(), letters.as_str())
}

/// A count with its noun: `1 photo`, `3 photos`.
#[must_use]
pub fn count(number: usize, noun: &str) -> String {
    match number {
        1 => format!("1 {noun}"),
        n => format!("{n} {noun}s"),
    }
}

/// An angle in whole degrees with its noun: `1 degree`, `14 degrees`.
#[must_use]
pub fn degrees(value: f64) -> String {
    match number(value, 0).as_str() {
        "1" => "1 degree".into(),
        whole => format!("{whole} degrees"),
    }
}

/// A number with at most `digits` decimals, without trailing zeros.
#[must_use]
pub fn number(value: f64, digits: usize) -> String {
    if !value.is_finite() {
        return "not measurable".into();
    }
    let fixed = format!("{value:.digits$}");
    let short = if fixed.contains('.') {
        fixed.trim_end_matches('0').trim_end_matches('.')
    } else {
        fixed.as_str()
    };
    if short == "-0" {
        "0".into()
    } else {
        short.into()
    }
}

/// `measured 14.2 degrees, limit 10 degrees`; empty when nothing was measured.
#[must_use]
pub fn measured(measurement: &Measurement) -> String {
    let unit = inert(&measurement.unit);
    let with_unit = |value: f64| quantity(value, &unit);
    match (measurement.value, measurement.limit) {
        (Some(value), Some(limit)) => {
            format!("measured {}, limit {}", with_unit(value), with_unit(limit))
        }
        (Some(value), None) => format!("measured {}", with_unit(value)),
        (None, Some(limit)) => format!("not measured, limit {}", with_unit(limit)),
        (None, None) => String::new(),
    }
}

/// A value with its unit, in the form a person reads: shares in percent, long times in hours or days.
#[must_use]
pub fn quantity(value: f64, unit: &str) -> String {
    match unit {
        "share" => format!("{} %", number(value * 100.0, 0)),
        "share of the frame" => format!("{} % of the frame", number(value * 100.0, 0)),
        "ratio" => format!("{} times", number(value, 2)),
        "distance ratio" => format!("{} times the distance", number(value, 2)),
        "sharpness" => format!("sharpness {}", number(value, 0)),
        "seconds" | "s" => seconds(value),
        "" => number(value, 2),
        "degrees" => with_noun(number(value, 1), unit),
        unit => with_noun(number(value, 2), unit),
    }
}

/// A number with a plural noun, in the singular for 1.
fn with_noun(number: String, plural: &str) -> String {
    let noun = match plural.strip_suffix('s') {
        Some(singular) if number == "1" => singular,
        _ => plural,
    };
    format!("{number} {noun}")
}

fn seconds(value: f64) -> String {
    let size = value.abs();
    if size >= 2.0 * 86_400.0 {
        format!("{} days", number(value / 86_400.0, 1))
    } else if size >= 2.0 * 3_600.0 {
        format!("{} hours", number(value / 3_600.0, 1))
    } else if size >= 120.0 {
        format!("{} minutes", number(value / 60.0, 1))
    } else {
        format!("{} seconds", number(value, 0))
    }
}

/// The severity in one word.
#[must_use]
pub fn severity(severity: Severity) -> &'static str {
    match severity {
        Severity::Fail => "fail",
        Severity::Review => "review",
        Severity::Note => "note",
    }
}

/// The outcome in one word.
#[must_use]
pub fn outcome(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Pass => "pass",
        Outcome::Review => "review",
        Outcome::Fail => "fail",
    }
}

/// The outcome in one plain sentence.
#[must_use]
pub fn outcome_sentence(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Pass => "The photos show what was asked for.",
        Outcome::Review => "A person has to look before this job can be accepted.",
        Outcome::Fail => "The photos do not show the whole job yet.",
    }
}

/// What is asked of the photos of a relation, in words.
#[must_use]
pub fn relation(name: &str) -> &'static str {
    match name {
        "same_view" => "same view",
        "shifted" => "same place, camera moved",
        "different" => "different places",
        _ => "not decidable from the pictures",
    }
}

/// What a picture copy is, in words.
#[must_use]
pub fn copy_kind(name: &str) -> &'static str {
    match name {
        "same_bytes" => "the same file",
        "same_pixels" => "the same picture in another file",
        "edited" => "an edited copy of the same picture",
        "unsure" => "an edited copy, or a second exposure from the same spot",
        _ => "no copy",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn characters_that_act_are_spelled_out() {
        assert_eq!(
            inert("a\u{1b}[31m\n\u{202e}gpj"),
            "a\\u{001B}[31m\\n\\u{202E}gpj"
        );
        assert_eq!(inert("Küche <b> مطبخ 厨房.jpg"), "Küche <b> مطبخ 厨房.jpg");
    }

    #[test]
    fn long_text_is_cut_and_says_so() {
        let long = "x".repeat(4096);
        assert!(inert(&long).ends_with("\u{2026} (4096 characters)"));
        assert_eq!(inert(&long).chars().filter(|c| *c == 'x').count(), LONGEST);
        assert_eq!(inert_whole(&long), long);
    }

    #[test]
    fn sentences_begin_and_end_as_such() {
        assert_eq!(sentence("no after photo"), "No after photo.");
        assert_eq!(sentence("Seen."), "Seen.");
        assert_eq!(sentence(""), "");
    }

    #[test]
    fn quantities_read_as_people_say_them() {
        assert_eq!(quantity(0.415, "share"), "42 %");
        assert_eq!(quantity(14.25, "degrees"), "14.2 degrees");
        assert_eq!(quantity(1.0, "photos"), "1 photo");
        assert_eq!(quantity(259_200.0, "seconds"), "3 days");
        assert_eq!(quantity(-5400.0, "seconds"), "-90 minutes");
        assert_eq!(number(-0.001, 1), "0");
        assert_eq!(number(10.0, 0), "10");
        assert_eq!(number(f64::NAN, 1), "not measurable");
    }
}
