//! Which candidates stay: spread over the frame, so that plain regions keep their weak ones.

use super::FeatureOptions;
use super::detect::Candidate;

/// Columns and rows of the spreading grid along the long and the short side.
const LONG_CELLS: usize = 16;
const SHORT_CELLS: usize = 12;

/// Keeps at most `options.max_features` of `candidates`, strongest first.
///
/// A share of the budget is dealt out evenly over the cells of a grid, each cell's strongest first:
/// the threshold adapts to how plain a cell is. The rest goes to the strongest anywhere.
pub(super) fn choose(
    mut candidates: Vec<Candidate>,
    (width, height): (u32, u32),
    options: &FeatureOptions,
) -> Vec<Candidate> {
    sort_by_strength(&mut candidates);
    if candidates.len() <= options.max_features {
        return candidates;
    }
    let (columns, rows) = if width >= height {
        (LONG_CELLS, SHORT_CELLS)
    } else {
        (SHORT_CELLS, LONG_CELLS)
    };
    let cell_of = |c: &Candidate| {
        let column = (c.x / width as f32 * columns as f32) as usize;
        let row = (c.y / height as f32 * rows as f32) as usize;
        row.min(rows - 1) * columns + column.min(columns - 1)
    };
    let mut ranks = vec![0_usize; columns * rows];
    // Rank of each candidate within its cell.
    let rank: Vec<usize> = candidates
        .iter()
        .map(|c| {
            let count = &mut ranks[cell_of(c)];
            *count += 1;
            *count - 1
        })
        .collect();
    let even = (options.max_features as f32 * options.even_share.clamp(0.0, 1.0)) as usize;
    let quota = even_quota(&ranks, even);
    let mut kept: Vec<bool> = rank.iter().map(|&r| r < quota).collect();
    let mut left = options
        .max_features
        .saturating_sub(kept.iter().filter(|&&k| k).count());
    for keep in kept.iter_mut() {
        if left == 0 {
            break;
        }
        if !*keep {
            *keep = true;
            left -= 1;
        }
    }
    let chosen = candidates.into_iter().zip(kept);
    chosen.filter(|(_, keep)| *keep).map(|(c, _)| c).collect()
}

/// The largest number a cell such that all cells together hold at most `budget`.
fn even_quota(counts: &[usize], budget: usize) -> usize {
    let total = |quota: usize| counts.iter().map(|&c| c.min(quota)).sum::<usize>();
    let most = counts.iter().copied().max().unwrap_or(0);
    let (mut low, mut high) = (0, most);
    while low < high {
        let middle = (low + high).div_ceil(2);
        if total(middle) <= budget {
            low = middle;
        } else {
            high = middle - 1;
        }
    }
    low
}

/// Strongest first. Noise falls off with the scale, so response times scale is proportional to the
/// signal-to-noise ratio. Ties by position, so that the order never depends on the search.
fn sort_by_strength(candidates: &mut [Candidate]) {
    let strength = |c: &Candidate| c.response * c.scale;
    candidates.sort_by(|a, b| {
        strength(b)
            .total_cmp(&strength(a))
            .then(a.y.total_cmp(&b.y))
            .then(a.x.total_cmp(&b.x))
            .then(a.sigma.total_cmp(&b.sigma))
    });
}
