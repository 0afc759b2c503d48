//! Whether the values of a coefficient bear the steps of an earlier, coarser quantisation (Lukas and Fridrich 2003;
//! Popescu and Farid 2004).

use nalgebra::{Matrix4, Vector4};

use super::coefficients::{Block, Coefficients, KEPT};

/// Absolute values that are looked at: 1 to this.
pub(super) const VALUES: usize = 60;
/// Values of a coefficient needed to say anything.
const MIN_VALUES: f64 = 300.0;
/// Coarsest earlier step that is tried.
const MAX_STEP: u16 = 60;
/// Deviance for each value from which a histogram is not smooth. Photos saved once measured 0.05 at most.
const MIN_ROUGHNESS: f64 = 0.1;
/// Share of it that an earlier step may leave.
const MAX_LEFT: f64 = 0.6;
/// Rounding to whole pixels between two savings, as standard deviations of a coefficient, luma levels: 0.29 by uniform
/// errors, more by the rounding of colours and in fast decoders and encoders.
const ROUNDING: [f64; 3] = [0.35, 0.6, 1.0];
/// Least expected share of a value, of what a smooth histogram has.
const FLOOR: f64 = 0.01;

/// Counts of the absolute values 1 to [`VALUES`].
pub(super) type Histogram = [f64; VALUES];

/// A coefficient that was quantised before by a coarser step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Earlier {
    /// Number of the coefficient in zigzag order.
    pub(super) index: usize,
    /// Step of the earlier quantisation.
    pub(super) before: u16,
    /// Step of the last one.
    pub(super) now: u16,
    /// The one of the roundings that explains most.
    rounding: f64,
}

/// The coefficients that bear an earlier, coarser step.
pub(super) fn earlier(coefficients: &Coefficients) -> Vec<Earlier> {
    let of = |index: usize| {
        let now = *coefficients.steps.get(index)?;
        earlier_step(index, now, &histogram(&coefficients.blocks, index))
    };
    (1..KEPT).filter_map(of).collect()
}

/// How often coefficient `index` has each absolute value.
pub(super) fn histogram(blocks: &[Block], index: usize) -> Histogram {
    let mut counts = [0.0; VALUES];
    for block in blocks {
        if let Some(count) = bin(block, index).and_then(|bin| counts.get_mut(bin)) {
            *count += 1.0;
        }
    }
    counts
}

/// Place of the value of coefficient `index` in a histogram; `None` where it is zero.
pub(super) fn bin(block: &Block, index: usize) -> Option<usize> {
    let value = block.values.get(index)?.unsigned_abs();
    usize::from(value).checked_sub(1)
}

/// The coarser step that explains what is not smooth in a histogram of values with the step `now`.
fn earlier_step(index: usize, now: u16, histogram: &Histogram) -> Option<Earlier> {
    let count: f64 = histogram.iter().sum();
    if count < MIN_VALUES || now == 0 {
        return None;
    }
    let smooth = deviance(histogram, &[1.0; VALUES]);
    if smooth < MIN_ROUGHNESS * count {
        return None;
    }
    let coarser = now.saturating_add(1)..=MAX_STEP;
    let each = coarser.flat_map(|before| ROUNDING.map(|rounding| (before, rounding)));
    let tried = each.map(|(before, rounding)| {
        let steps = Earlier {
            index,
            before,
            now,
            rounding,
        };
        let pattern = std::array::from_fn(|at| pattern_at(at + 1, &steps));
        (deviance(histogram, &pattern), steps)
    });
    let (left, steps) = tried.min_by(|a, b| a.0.total_cmp(&b.0))?;
    (left < MAX_LEFT * smooth).then_some(steps)
}

/// How many times as often as in a smooth histogram `value` comes where multiples of an earlier step, rounded to pixels,
/// were quantised again.
pub(super) fn pattern_at(value: usize, steps: &Earlier) -> f64 {
    let (before, now) = (f64::from(steps.before), f64::from(steps.now));
    let edges = [-0.5, 0.5].map(|half| (value as f64 + half) * now);
    let below = |edge: f64, at: f64| normal((edge - at) / steps.rounding);
    let first = ((edges[0] - 4.0 * steps.rounding) / before).floor() as i32;
    let last = ((edges[1] + 4.0 * steps.rounding) / before).ceil() as i32;
    let multiples = (first..=last).map(|multiple| f64::from(multiple) * before);
    let share: f64 = multiples
        .map(|at| below(edges[1], at) - below(edges[0], at))
        .sum();
    (share * before / now).max(FLOOR)
}

/// The cumulative normal distribution by the usual logistic approximation (within 0.01).
fn normal(x: f64) -> f64 {
    1.0 / (1.0 + (-1.702 * x).exp())
}

/// Poisson deviance of a histogram from the best `pattern` times a smooth curve, exp of a sum of 1, v, the root of v and
/// the logarithm of v; by Newton's method.
fn deviance(histogram: &Histogram, pattern: &Histogram) -> f64 {
    let rows: Vec<Row> = (1u8..)
        .zip(histogram.iter().zip(pattern))
        .map(|(value, (&count, pattern))| {
            let v = f64::from(value);
            Row {
                basis: Vector4::new(1.0, v / 10.0, v.sqrt(), v.ln()),
                count,
                offset: pattern.ln(),
            }
        })
        .collect();
    // Logarithms of the counts, the surer the more, to begin with.
    let logs = |row: &Row| ((row.count + 0.5).ln() - row.offset, row.count + 1.0);
    let Some(mut curve) = solve(&rows, logs) else {
        return f64::INFINITY;
    };
    let mut left = total(&rows, &curve);
    for _ in 0..8 {
        let working = |row: &Row| {
            let mean = row.mean(&curve);
            (row.basis.dot(&curve) + (row.count - mean) / mean, mean)
        };
        let Some(next) = solve(&rows, working) else {
            break;
        };
        let step = next - curve;
        let shorter = (0..10).map(|halvings| curve + step * 0.5_f64.powi(halvings));
        let better = shorter.map(|curve| (total(&rows, &curve), curve));
        let Some((less, next)) = better.into_iter().find(|(less, _)| *less < left) else {
            break;
        };
        let gained = left - less;
        (left, curve) = (less, next);
        if gained < 0.01 {
            break;
        }
    }
    left
}

/// One value of a histogram.
struct Row {
    basis: Vector4<f64>,
    count: f64,
    offset: f64,
}

impl Row {
    fn mean(&self, curve: &Vector4<f64>) -> f64 {
        (self.basis.dot(curve) + self.offset)
            .clamp(-20.0, 20.0)
            .exp()
    }
}

/// The curve nearest to what `aim` says of each row: value and weight.
fn solve(rows: &[Row], aim: impl Fn(&Row) -> (f64, f64)) -> Option<Vector4<f64>> {
    let mut normal = Matrix4::from_diagonal_element(1e-6);
    let mut right = Vector4::zeros();
    for row in rows {
        let (value, weight) = aim(row);
        normal += row.basis * row.basis.transpose() * weight;
        right += row.basis * (value * weight);
    }
    normal.cholesky().map(|factors| factors.solve(&right))
}

fn total(rows: &[Row], curve: &Vector4<f64>) -> f64 {
    let of = |row: &Row| {
        let mean = row.mean(curve);
        let log = if row.count > 0.0 {
            row.count * (row.count / mean).ln()
        } else {
            0.0
        };
        2.0 * (log - row.count + mean)
    };
    rows.iter().map(of).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Values as a camera's: two-sided exponential, `spread` levels wide, rounded to `before` (0 for not at all), then moved by
    /// the rounding of pixels and quantised by `now`.
    fn saved(spread: f64, before: u16, now: u16) -> Histogram {
        let mut state = 7_u64;
        let mut draw = || {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            ((state >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
        };
        let mut counts = [0.0; VALUES];
        for _ in 0..40_000 {
            let mut value = -spread * draw().ln();
            if before > 0 {
                let step = f64::from(before);
                let rounding = (0..12).map(|_| draw()).sum::<f64>() - 6.0;
                value = ((value / step).round() * step + 0.35 * rounding).abs();
            }
            let at = (value / f64::from(now)).round() as usize;
            if let Some(count) = at.checked_sub(1).and_then(|bin| counts.get_mut(bin)) {
                *count += 1.0;
            }
        }
        counts
    }

    #[test]
    fn the_step_of_a_coarser_saving_is_found_and_no_other() {
        for (before, now) in [(3, 1), (5, 2), (8, 3), (10, 4), (6, 5), (14, 5)] {
            for spread in [12.0, 30.0] {
                let found = earlier_step(1, now, &saved(spread, before, now));
                assert_eq!(
                    found.map(|steps| steps.before),
                    Some(before),
                    "{before}, then {now}"
                );
            }
        }
    }

    #[test]
    fn values_saved_once_or_before_by_a_finer_step_bear_none() {
        for (before, now) in [(0, 1), (0, 2), (0, 6), (1, 4), (2, 6), (3, 3)] {
            for spread in [12.0, 30.0] {
                assert_eq!(
                    earlier_step(1, now, &saved(spread, before, now)),
                    None,
                    "{before}, then {now}"
                );
            }
        }
    }
}
