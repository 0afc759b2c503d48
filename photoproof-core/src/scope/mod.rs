//! The scope: which shots each service needs in each kind of area, from profiles that are data.
//!
//! A profile is a TOML file (see `scope/profiles/`); the built-in ones may be copied, changed and
//! named in `[scope] profile` of a job sheet.

mod caution;
mod coverage;
mod explain;
mod profile;
mod shot;

use crate::job::normalize;
pub use caution::{Caution, cautions, for_item};
pub(crate) use coverage::Assignment;
pub use coverage::{MissingShot, ShotPhoto, coverage};
pub use explain::explain;

pub use profile::{Kind, Profile, ShotKind, ShotRule};
pub use shot::{Scope, Shot, kind_of, place_of, walking_rank};

/// Names of all kinds of areas, sorted.
pub(crate) fn kind_names(profiles: &[Profile]) -> Vec<&str> {
    let mut names: Vec<&str> = profiles
        .iter()
        .flat_map(|p| p.kinds.iter().map(|k| k.name.as_str()))
        .collect();
    names.sort_unstable();
    names.dedup();
    names
}

/// The kind that `word` names, by its name or an alias, in any spelling of blanks and dashes.
pub(crate) fn kind_named<'a>(profiles: &'a [Profile], word: &str) -> Option<&'a str> {
    let word = normalize(word);
    let kinds = || profiles.iter().flat_map(|p| p.kinds.iter());
    let by_name = kinds().find(|k| normalize(&k.name) == word);
    by_name
        .or_else(|| kinds().find(|k| k.aliases.iter().any(|a| normalize(a) == word)))
        .map(|k| k.name.as_str())
}

/// The kind of an area whose sheet gives none, from the words of its name: the longest kind or
/// alias in it; `None` when no word is known.
pub(crate) fn kind_of_name<'a>(profiles: &'a [Profile], name: &str) -> Option<&'a str> {
    let name = format!(" {} ", normalize(name));
    let mut best: Option<(usize, &'a str)> = None;
    for kind in profiles.iter().flat_map(|p| p.kinds.iter()) {
        for word in kind.aliases.iter().chain(std::iter::once(&kind.name)) {
            let word = normalize(word);
            let longer = best.is_none_or(|(length, _)| word.len() > length);
            if longer && name.contains(&format!(" {word} ")) {
                best = Some((word.len(), kind.name.as_str()));
            }
        }
    }
    best.map(|(_, kind)| kind)
}

/// Names of all services, in profile order.
pub(crate) fn service_names(profiles: &[Profile]) -> Vec<&str> {
    profiles.iter().map(|p| p.service.as_str()).collect()
}

/// Ids that `skip` may name: kinds, and `kind.shot`, sorted.
pub(crate) fn shot_ids(profiles: &[Profile]) -> Vec<String> {
    let mut ids: Vec<String> = profiles
        .iter()
        .flat_map(|p| p.kinds.iter())
        .flat_map(|kind| {
            let shots = kind.shots.iter().map(|s| format!("{}.{}", kind.name, s.id));
            shots.chain(std::iter::once(kind.name.clone()))
        })
        .collect();
    ids.sort();
    ids.dedup();
    ids
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::Path;

    #[test]
    fn built_in_files_have_no_mistake() {
        for (name, text) in profile::BUILT_IN {
            if let Err(error) = Profile::parse(text, Path::new(name)) {
                panic!("{error}");
            }
        }
        assert_eq!(
            service_names(&Profile::built_in()),
            ["debris-removal", "initial-cleaning"]
        );
        assert!(cautions().len() >= 10, "cautions.toml holds a mistake");
    }

    #[test]
    fn aliases_name_one_kind_each() {
        let profiles = Profile::built_in();
        for profile in &profiles {
            let mut seen: Vec<String> = Vec::new();
            for kind in &profile.kinds {
                for word in kind.aliases.iter().chain([&kind.name]) {
                    let word = normalize(word);
                    assert!(!seen.contains(&word), "{word} names two kinds");
                    seen.push(word);
                }
            }
        }
        assert_eq!(kind_named(&profiles, "crawl_space"), Some("crawl-space"));
        assert_eq!(kind_of_name(&profiles, "Bath 1"), Some("bathroom"));
        assert_eq!(kind_of_name(&profiles, "Back yard"), Some("yard"));
        assert_eq!(kind_of_name(&profiles, "Zzz"), None);
    }

    #[test]
    fn no_word_names_two_shots_of_a_kind() {
        for profile in Profile::built_in() {
            for kind in &profile.kinds {
                let mut seen: Vec<(String, &str)> = Vec::new();
                for shot in &kind.shots {
                    for word in shot.words.iter().chain([&shot.id]) {
                        let word = normalize(word);
                        let other = seen.iter().find(|(w, id)| *w == word && *id != shot.id);
                        assert!(other.is_none(), "{}: {word} {other:?}", kind.name);
                        seen.push((word, &shot.id));
                    }
                }
            }
        }
    }

    #[test]
    fn every_room_asks_for_two_opposite_views_before_and_after() {
        for profile in Profile::built_in() {
            for kind in profile
                .kinds
                .iter()
                .filter(|k| !k.every_job && !["closet", "pile", "bags"].contains(&k.name.as_str()))
            {
                for phase in [crate::Phase::Before, crate::Phase::After] {
                    let views = kind
                        .shots
                        .iter()
                        .filter(|s| s.kind == ShotKind::View && s.phases.contains(&phase));
                    assert!(views.count() >= 2, "{} {phase}", kind.name);
                }
            }
        }
    }
}
