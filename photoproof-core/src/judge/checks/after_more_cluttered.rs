//! `after-more-cluttered`: the after photo shows more texture where things would lie than the before photo.

use crate::group::ViewSet;
use crate::ingest::PhotoId;
use crate::judge::together::each_area;
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};
use crate::phase::Phase;

/// Smallest share of the lower part of the frame that changed.
const MIN_SHARE: f64 = 0.05;

static META: CheckMeta = CheckMeta {
    id: "after-more-cluttered",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Review,
    summary: "The lower part of an after photo has more texture than that of its before photo: more may lie there than before.",
    why: "Photos with their labels swapped, or things brought in, look like that.",
    how_measured: "In the lower 55 % of the common frame, mean contrast of the cells that changed (see no-visible-change), after by before, divided by the same ratio of the cells that did not change, which takes out light and sharpness. Of several pairs of one view the one that grew least counts.",
    limit: "max_texture_growth (1.35), over at least 5 % of the lower part: before and after of rendered rooms measure 1.05 at most.",
    remedy: "Look at both photos. If their labels were swapped, correct them; if things were brought in, say why.",
    innocent: &[
        "the labels of the two photos were swapped by mistake",
        "furniture, tools or a machine were put into the room for the work",
        "a carpet or a sheet was taken up and a patterned floor came to light",
        "the sun throws a pattern on the floor",
    ],
    blind_spots: "Knows no floor and no things: it takes the lower part of the frame for the floor, and texture for clutter. Heaps of one colour, and things on shelves, pass. Silent where the photos are not the same view, and about photos between bars or in a frame.",
};

/// The check.
#[derive(Debug)]
pub struct AfterMoreCluttered;

impl Check for AfterMoreCluttered {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        each_area(evidence, finding)
    }
}

fn finding(evidence: &Evidence<'_>, area: Option<&str>, sets: &[&ViewSet]) -> Option<Finding> {
    let limit = evidence.limits().max_texture_growth;
    let mut views: Vec<Grown> = sets.iter().filter_map(|set| least(evidence, set)).collect();
    views.retain(|view| view.growth >= limit);
    let most = views.iter().map(|view| view.growth).reduce(f64::max)?;
    let photos = views.iter().flat_map(|view| [view.after, view.before]);
    Some(
        META.finding(format!(
            "where it changed, the lower part of the after photo has {most:.2} times the texture of the before photo"
        ))
        .area(area)
        .photos(photos)
        .measured(most, limit, "ratio"),
    )
}

/// Before and after of a view, and how the texture grew.
struct Grown {
    before: PhotoId,
    after: PhotoId,
    growth: f64,
}

/// The before and after of a view whose texture grew least; `None` if there is no such pair.
fn least(evidence: &Evidence<'_>, set: &ViewSet) -> Option<Grown> {
    // The edges of bars and frames are no things on the floor.
    let is_whole = |photo: &&PhotoId| {
        let quality = &evidence.measures[photo.0].quality;
        quality.bar_share == 0.0 && quality.frame_share == 0.0
    };
    let afters = || set.of(Phase::After).iter().filter(is_whole);
    let befores = set.of(Phase::Before).iter().filter(is_whole);
    let pairs = befores.flat_map(|&before| afters().map(move |&after| (before, after)));
    let grown = pairs.filter_map(|(before, after)| {
        let growth = growth(evidence, before, after)?;
        Some(Grown {
            before,
            after,
            growth,
        })
    });
    grown.min_by(|x, y| x.growth.total_cmp(&y.growth))
}

/// By how much the texture grew from one photo to the other, whichever of them the pair begins with.
fn growth(evidence: &Evidence<'_>, before: PhotoId, after: PhotoId) -> Option<f64> {
    let changed = evidence.grouped.change(before, after)?;
    let texture = changed.change.texture?;
    let is_forward = changed.a == before;
    let growth = if is_forward {
        texture.growth
    } else {
        texture.growth.recip()
    };
    (texture.share >= MIN_SHARE).then_some(growth)
}
