//! What cameras that write a whole strip of data put beside the date: temperature, pressure, names, numbers, counts.

use super::layout::{month, run, weekday};

/// Units that stand behind a number, with a space or without.
const UNITS: [&str; 10] = ["C", "F", "K", "V", "M", "FT", "IN", "INHG", "HPA", "MB"];

/// The text with a break (`|`) for every such piece; `None` if there is none.
pub(super) fn without_data(text: &str) -> Option<String> {
    let pieces: Vec<&str> = text.split(' ').filter(|piece| !piece.is_empty()).collect();
    let piece = |at: Option<usize>| at.and_then(|at| pieces.get(at).copied());
    let is_data = |at: usize| {
        let own = pieces.get(at).copied().unwrap_or_default();
        let (before, after) = (piece(at.checked_sub(1)), piece(Some(at + 1)));
        let near = [before, after].into_iter().flatten();
        is_measure(own)
            || is_name(own)
            || is_count(own) && !near.into_iter().any(joins_a_year)
            || before.is_some_and(|before| is_pair(before, own))
            || after.is_some_and(|after| is_pair(own, after))
    };
    let data: Vec<bool> = (0..pieces.len()).map(is_data).collect();
    if !data.contains(&true) {
        return None;
    }
    let kept = pieces.iter().zip(data);
    let kept: Vec<&str> = kept
        .map(|(piece, is_data)| if is_data { "|" } else { piece })
        .collect();
    Some(kept.join(" "))
}

/// `-4*C`, `36*C/95*F`, `28.55IN`, `1013HPA`, `29.31`, `-12`, `52*`, `2/10`.
fn is_measure(piece: &str) -> bool {
    let parts: Vec<&str> = piece.split('/').collect();
    match parts[..] {
        [one] => is_amount(one, true),
        [a, b] => is_amount(a, false) && is_amount(b, false),
        _ => false,
    }
}

/// A number with a unit, a sign or one point; without any of them where `alone` is not asked.
fn is_amount(text: &str, alone: bool) -> bool {
    let unsigned = text.trim_start_matches(['-', '*']);
    let digits = run(unsigned, |c| c.is_ascii_digit());
    if !(1..=5).contains(&digits) {
        return false;
    }
    let rest = unsigned.get(digits..).unwrap_or_default();
    let fraction = rest.strip_prefix('.').map_or(0, |tail| {
        let digits = run(tail, |c| c.is_ascii_digit());
        if digits > 0 { digits + 1 } else { 0 }
    });
    let unit = rest.get(fraction..).unwrap_or_default();
    let name = unit.trim_matches(['*', '.']);
    let is_unit = name.is_empty() || UNITS.contains(&name);
    let is_bare = unit.is_empty() && fraction == 0 && unsigned == text;
    is_unit && !(alone && is_bare)
}

/// `CAM30`, `IMG*0138`, `C03`: letters, then a number.
fn is_name(piece: &str) -> bool {
    let letters = run(piece, |c| c.is_ascii_alphabetic());
    let plain = piece.chars().all(|c| c.is_ascii_alphanumeric() || c == '*');
    let digits = piece.chars().filter(char::is_ascii_digit).count();
    let first = piece.get(..letters).unwrap_or_default();
    plain && digits > 0 && letters + digits >= 3 && letters > 0 && month(first).is_none()
}

/// Whether two pieces belong together as a name and its number or an amount and its unit.
fn is_pair(first: &str, second: &str) -> bool {
    is_named_number(first, second) || is_in_unit(first, second)
}

/// `CAM 30`, `IMG 0138`: a word that no date or time has, then a number.
fn is_named_number(word: &str, number: &str) -> bool {
    let letters = word.len() >= 3 && word.bytes().all(|b| b.is_ascii_uppercase());
    let digits = number.len() <= 4 && number.bytes().all(|b| b.is_ascii_digit());
    letters && digits && month(word).is_none() && weekday(word).is_none()
}

/// `22 C`, `-4 F`, `29.31 INHG`: an amount and its unit.
fn is_in_unit(number: &str, unit: &str) -> bool {
    let unit = unit.trim_matches(['*', '.']);
    UNITS.contains(&unit) && is_amount(number, false)
}

/// A number of another length than those of a date in three pieces, or of four digits.
fn is_count(piece: &str) -> bool {
    let digits = piece.bytes().all(|b| b.is_ascii_digit());
    digits && matches!(piece.len(), 3..=7)
}

/// Whether four digits beside it may be the year of a date written in pieces.
fn joins_a_year(piece: &str) -> bool {
    let bare = piece.trim_end_matches([',', '.']);
    let is_short = bare.len() <= 2 && bare.bytes().all(|b| b.is_ascii_digit());
    is_short || month(bare).is_some()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_strip_holds_beside_a_date_is_left_out() {
        for piece in [
            "-4*C",
            "36*C/95*F",
            "28.55IN",
            "1013HPA",
            "29.31",
            "-12",
            "52*",
            "2/10",
            "CAM30",
            "IMG*0138",
            "1/2",
            "C03",
            "5120",
            "-19C",
        ] {
            assert_eq!(without_data(piece).as_deref(), Some("|"), "{piece}");
        }
        for pieces in ["CAM 30", "22 C", "-15 C", "29.31 INHG", "IMG 4123", "68 F"] {
            assert_eq!(without_data(pieces).as_deref(), Some("| |"), "{pieces}");
        }
    }

    #[test]
    fn what_may_be_of_a_date_or_time_stays() {
        for text in [
            "2026-03-02",
            "03/25/26",
            "14:15",
            "'26 03 02",
            "12 20 2025",
            "27 MAY 2027",
            "MAY 27, 2027",
            "MAY27",
            "MAY 04",
            "FRI 12 20 2025",
            "PM 03",
            "20260302",
            "7",
            "PM",
            "ZZ02-03-02",
            "E0",
        ] {
            assert_eq!(without_data(text), None, "{text}");
        }
    }
}
