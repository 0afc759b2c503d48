//! What `photoproof explain scope` prints: the job sheet, and the scope that its profiles give.

use std::fmt::Write;

use super::{Kind, Profile, ShotKind, cautions, kind_names};
use crate::phase::Phase;
use crate::volume::SHAPES;

const SHEET: &str = include_str!("explain.txt");

/// The manual of job sheets and scope profiles, from the profiles themselves.
#[must_use]
pub fn explain() -> String {
    let profiles = Profile::built_in();
    let mut out = String::from(SHEET);
    out.push_str("\nSHAPES OF LOADS\n");
    for shape in SHAPES {
        let _ = writeln!(
            out,
            "  {:10} {} ({})",
            shape.name,
            shape.what,
            shape.described()
        );
    }
    for profile in &profiles {
        service(&mut out, profile);
    }
    out.push_str("\nCAUTIONS (reminders; local codes and licensed practice come first)\n");
    for caution in cautions() {
        let _ = writeln!(
            out,
            "  {:16} {} [{}]",
            caution.id, caution.text, caution.source
        );
    }
    let _ = writeln!(
        out,
        "\nKinds of areas: {}",
        kind_names(&profiles).join(", ")
    );
    out
}

fn service(out: &mut String, profile: &Profile) {
    let _ = writeln!(
        out,
        "\nSERVICE {} ({})\n  {}",
        profile.service, profile.title, profile.about
    );
    let phases: Vec<&str> = profile.phases.iter().map(|p| p.name()).collect();
    let _ = writeln!(
        out,
        "  phases {}; {} photo of each view",
        phases.join(", "),
        profile.photos_per_view
    );
    out.push_str("  b before, d during, a after; v view, * only where the thing exists\n");
    for kind in &profile.kinds {
        shots(out, kind);
    }
}

fn shots(out: &mut String, kind: &Kind) {
    let every = if kind.every_job { ", in every job" } else { "" };
    let _ = writeln!(out, "  {} ({}{every})", kind.name, kind.title);
    for shot in &kind.shots {
        let letter = |phase: Phase| match shot.phases.contains(&phase) {
            true => phase.name().get(..1).unwrap_or_default(),
            false => "-",
        };
        let letters: String = Phase::ALL.into_iter().map(letter).collect();
        let _ = writeln!(
            out,
            "    {letters} {}{} {}.{}: {}",
            if shot.kind == ShotKind::View {
                "v"
            } else {
                " "
            },
            if shot.if_present { "*" } else { " " },
            kind.name,
            shot.id,
            shot.show
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_shape_and_key_is_explained() {
        let text = explain();
        for word in kind_names(&Profile::built_in()) {
            assert!(text.contains(word), "{word}");
        }
        for shape in SHAPES {
            assert!(text.contains(shape.name), "{}", shape.name);
        }
        for key in [
            "window",
            "services",
            "latitude",
            "radius_m",
            "timezone",
            "match",
            "photos_full",
            "hazards",
            "debris_cubic_yards",
            "photos_per_view",
            "skip",
            "profile",
            "no_tailgate_share",
            "hand_loaded_share",
            "tailgate",
            "loading",
            "weight_lb",
        ] {
            assert!(text.contains(key), "{key}");
        }
    }
}
