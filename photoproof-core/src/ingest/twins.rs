//! Names that are one name on some systems: those that differ only in case, or in how accents are written.
//!
//! Each such file is a file of its own here. On a system that takes the names for one, copying the
//! folder loses all but one of them, so the reader is told.

use std::collections::BTreeMap;

use unicode_normalization::UnicodeNormalization;

use crate::ingest::label::Labelled;

/// Tells every file of another one whose name is the same after case and Unicode normal form C
/// (UAX #15). `labels` has one entry a name.
pub(crate) fn note(names: &[&str], labels: &mut [Labelled]) {
    let mut alike: BTreeMap<String, Vec<usize>> = BTreeMap::new();
    for (index, name) in names.iter().enumerate() {
        alike.entry(folded(name)).or_default().push(index);
    }
    for group in alike.values().filter(|group| group.len() > 1) {
        for &index in group {
            let other = group.iter().find(|&&other| other != index);
            let other = other.and_then(|&other| names.get(other));
            if let (Some(other), Some(labels)) = (other, labels.get_mut(index)) {
                labels.problems.push(format!(
                    "some systems take this name and {other} for one and keep only one of the files"
                ));
            }
        }
    }
}

fn folded(name: &str) -> String {
    name.to_lowercase().nfc().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn case_and_accents_are_told_and_nothing_else() {
        let names = [
            "a.jpg",
            "A.JPG",
            "caf\u{e9}.jpg",
            "cafe\u{301}.jpg",
            "b.jpg",
            "B/a.jpg",
        ];
        let mut labels: Vec<Labelled> = names.iter().map(|_| Labelled::default()).collect();
        note(&names, &mut labels);
        let told: Vec<usize> = labels.iter().map(|labels| labels.problems.len()).collect();
        assert_eq!(told, [1, 1, 1, 1, 0, 0]);
        assert!(labels[0].problems[0].contains("A.JPG"));
    }
}
