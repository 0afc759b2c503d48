//! One exposure or two: two photos of one view that agree everywhere are told by parallax and by their noise.

use super::SMALL_COVER;
use super::agree::Agreement;
use super::grain::Grain;

/// Parallax, thumbnail samples, that no single map takes out; copies measured 0.002 to 0.093.
const MAX_FLOW: f64 = 0.11;
/// The same in working pixels over the middle window. Copies measured 0 to 0.116, parts and pictures on a page 0 to
/// 0.086, second exposures from the hand 0.03 to 0.7.
const MAX_FINE_FLOW: f64 = 0.125;
const MAX_FINE_FLOW_PART: f64 = 0.1;
/// Cover below which a picture is a part in that sense.
const PART_COVER: f64 = 0.6;
/// A photo of a screen bends the picture a little; those measured 0.08 to 0.245.
const MAX_FINE_FLOW_FRAMED: f64 = 0.27;
/// From this share on, more than all of the fainter side's detail is in the other: the one is a blurred version of
/// the other, whose edges are too unlike to tell small shifts. Two exposures measured 1.25 at most, a strong blur 1.5.
const BLURRED: f64 = 1.4;
/// The same where the noise is equally strong: then nearly all of it is in both, and an overlay bends what is compared.
/// Second exposures of equally strong noise measured 0.55 at most.
const ONE_NOISE: f64 = 0.9;
/// Where the two are laid onto each other this exactly and share less than this, what noise says is final.
const EXACT_FLOW: f64 = 0.06;
const HARDLY_SHARED: f64 = 0.25;
/// Shared detail below which noise is not shared. Copies measured 0.36 to 1.5, second exposures 0 to 0.33 and with
/// little noise up to 0.55.
const MIN_SHARED: f64 = 0.36;
/// The same where the noise is equally strong: nothing was lost by saving, and copies measured 0.6 to 1.5.
const MIN_SHARED_EQUAL: f64 = 0.55;
/// The same where a little parallax speaks against a copy as well.
const MIN_SHARED_MOVED: f64 = 0.5;
const MOVED_FLOW: f64 = 0.09;
/// Noise so little, luma levels, that rounding to whole levels makes much of it: of equally strong noise from this share on
/// nobody can be sure then. Cropped copies measured 0.46 to 0.54.
const LITTLE_NOISE: f64 = 0.5;
const MAY_BE_SHARED: f64 = 0.45;
/// Cover below which nobody can be sure either: what is shown so small has neither noise nor parallax. Two exposures, one
/// cropped and one on a page, passed for copies at 0.11 and 0.15; pages of copies measured 0.22 and more.
const TINY_COVER: f64 = 0.2;
/// Ratio up to which noise is equally strong: second exposures measured up to 1.1.
const EQUAL_NOISE: f64 = 1.25;
/// Change of brightness, luma levels, from which equally strong noise has lost something: two exposures measured up to 10.
const RECOLOURED: f64 = 20.0;
/// From this ratio on, saving has taken the noise of the one side, as in a copy saved at a quality of 30 (2.8 to 75;
/// two exposures sent alike measured up to 2.3), and what is left is mostly the steps of the compression: those share
/// little and bend edges a little.
const LOST_NOISE: f64 = 2.5;
const MIN_SHARED_LOST: f64 = 0.12;
const MAX_FINE_FLOW_LOST: f64 = 0.16;
/// Noise below this is gone, luma levels: what is left is rounding. Photos as they came measured 0.19 and more,
/// those saved at a quality of 30 mostly below 0.13.
const NO_NOISE: f64 = 0.14;

/// Whether two pictures that agree are one exposure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Exposure {
    /// One and the same.
    Same,
    /// One or two: nothing is left that would tell.
    Unsure,
    /// Two exposures, by their noise.
    Second,
    /// The camera moved, or they are not laid well.
    Apart,
}

/// Tells one exposure from two of one view, by hand or from a tripod, the whole frame or a part: in two, parallax is
/// left or the noise of each is its own. Where saving has left no noise, coded values tell (`saved_from`). The noise is
/// measured only where nothing else has told.
pub(super) fn exposure(
    found: &Agreement,
    framed: bool,
    saved_from: Option<bool>,
    grain: impl FnOnce() -> Option<Grain>,
) -> Exposure {
    if saved_from == Some(true) {
        return Exposure::Same;
    }
    // Parallax tells a camera that moved, however far, from a copy that was cropped or enlarged.
    if found.flow > MAX_FLOW {
        return Exposure::Apart;
    }
    let Some(grain) = grain() else {
        return Exposure::Same;
    };
    let cover = found.cover_a.min(found.cover_b);
    let [fainter, stronger] = [
        grain.noise[0].min(grain.noise[1]),
        grain.noise[0].max(grain.noise[1]),
    ];
    let lost = stronger >= LOST_NOISE * fainter;
    let most = most_fine_flow(framed, cover, lost);
    let equal = stronger < EQUAL_NOISE * fainter;
    let share_of = |least: f64| {
        let has = |share: Option<f64>| share.is_some_and(|share| share >= least);
        has(grain.shared) && has(grain.shared_faint)
    };
    if grain.flow > most && !share_of(if equal { ONE_NOISE } else { BLURRED }) {
        return Exposure::Apart;
    }
    if cover < TINY_COVER {
        return Exposure::Unsure;
    }
    // A photo of a screen has noise of its own.
    if framed {
        return Exposure::Same;
    }
    // Brightening makes the noise stronger: equal then, some of it was lost.
    let unsaved = equal && found.recoloured < RECOLOURED;
    let least = if unsaved {
        MIN_SHARED_EQUAL
    } else {
        MIN_SHARED
    };
    let moved = grain.flow > MOVED_FLOW;
    let own_noise = match (grain.shared, grain.shared_faint) {
        (share, faint) if lost => share.or(faint).is_some_and(|s| s < MIN_SHARED_LOST),
        (Some(share), faint) => {
            share < least || moved && faint.is_some_and(|faint| faint < MIN_SHARED_MOVED)
        }
        (None, Some(faint)) => faint < if moved { MIN_SHARED_MOVED } else { MIN_SHARED },
        (None, None) => false,
    };
    let untold = lost || grain.shared.or(grain.shared_faint).is_none();
    let hardly = |share: Option<f64>| share.is_none_or(|share| share < HARDLY_SHARED);
    let clear = hardly(grain.shared) && hardly(grain.shared_faint);
    let rounded = unsaved && stronger < LITTLE_NOISE && share_of(MAY_BE_SHARED);
    if own_noise && clear && grain.flow <= EXACT_FLOW {
        Exposure::Second
    } else if own_noise && rounded {
        Exposure::Unsure
    } else if own_noise {
        Exposure::Apart
    } else if untold && saved_from == Some(false) || stronger < NO_NOISE && !lost {
        Exposure::Unsure
    } else {
        Exposure::Same
    }
}

/// Fine flow of copies at most: framed in the other picture or not, of which the one shows a share of `cover`, the noise
/// of the one side lost or not.
fn most_fine_flow(framed: bool, cover: f64, lost: bool) -> f64 {
    if framed && cover >= SMALL_COVER {
        MAX_FINE_FLOW_FRAMED
    } else if cover < PART_COVER {
        MAX_FINE_FLOW_PART
    } else if lost {
        MAX_FINE_FLOW_LOST
    } else {
        MAX_FINE_FLOW
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two whole frames laid exactly onto each other, noise of the same strength on both sides.
    fn told(noise: f64, shared: f64, flow: f64, recoloured: f64) -> Exposure {
        let found = Agreement {
            cover_a: 1.0,
            cover_b: 1.0,
            recoloured,
            ..Agreement::default()
        };
        exposure(&found, false, None, || Some(grain(noise, shared, flow)))
    }

    fn grain(noise: f64, shared: f64, flow: f64) -> Grain {
        Grain {
            noise: [noise; 2],
            shared: Some(shared),
            shared_faint: Some(shared),
            flow,
            edges: 100,
        }
    }

    #[test]
    fn equally_strong_noise_is_shared_by_one_exposure() {
        assert_eq!(told(1.0, 0.9, 0.02, 0.0), Exposure::Same);
        assert_eq!(told(1.0, 0.5, 0.02, 0.0), Exposure::Apart);
        assert_eq!(told(1.0, 0.1, 0.02, 0.0), Exposure::Second);
    }

    #[test]
    fn a_brightened_copy_has_lost_some_of_its_noise() {
        assert_eq!(told(1.0, 0.4, 0.02, 40.0), Exposure::Same);
        assert_eq!(told(1.0, 0.4, 0.02, 10.0), Exposure::Apart);
        assert_eq!(told(1.0, 0.3, 0.02, 40.0), Exposure::Apart);
    }

    #[test]
    fn little_noise_shared_in_half_leaves_it_unsure() {
        assert_eq!(told(0.4, 0.5, 0.02, 0.0), Exposure::Unsure);
        assert_eq!(told(0.4, 0.4, 0.02, 0.0), Exposure::Apart);
    }

    #[test]
    fn parallax_tells_unless_the_noise_is_one() {
        assert_eq!(told(1.0, 0.8, 0.2, 0.0), Exposure::Apart);
        assert_eq!(told(1.0, 1.0, 0.2, 0.0), Exposure::Same);
    }

    #[test]
    fn a_picture_shown_tiny_leaves_it_unsure() {
        let of = |cover_b| {
            let found = Agreement {
                cover_a: 1.0,
                cover_b,
                ..Agreement::default()
            };
            exposure(&found, true, None, || Some(grain(1.0, 0.9, 0.02)))
        };
        assert_eq!(of(0.3), Exposure::Same);
        assert_eq!(of(0.15), Exposure::Unsure);
    }
}
