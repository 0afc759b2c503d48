//! The scope: which shots each service needs in each kind of area, from profiles that are data.
//!
//! A profile is a TOML file (see `scope/profiles/`); the built-in ones may be copied, changed and
//! named in `[scope] profile` of a job sheet.

mod caution;
mod profile;

pub use caution::{Caution, cautions};
pub use profile::{Kind, Profile, ShotKind, ShotRule};

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
