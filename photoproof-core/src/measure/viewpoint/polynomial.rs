//! Real roots of a polynomial by the roots of its derivatives.

/// Real roots in `[-bound, bound]`, ascending. `coefficients` run from the lowest power.
///
/// Between two neighbouring roots of the derivative a polynomial is monotonic, so that each sign
/// change encloses exactly one root; double roots that do not change the sign are not reported.
pub(super) fn real_roots(coefficients: &[f64], bound: f64) -> Vec<f64> {
    let mut chain = vec![coefficients.to_vec()];
    while chain.last().is_some_and(|p| p.len() > 2) {
        let derived: Vec<f64> = chain
            .last()
            .map(|p| {
                p.iter()
                    .enumerate()
                    .skip(1)
                    .map(|(i, c)| c * i as f64)
                    .collect()
            })
            .unwrap_or_default();
        chain.push(derived);
    }
    let mut roots: Vec<f64> = Vec::new();
    for p in chain.iter().rev() {
        let mut edges = vec![-bound];
        edges.append(&mut roots);
        edges.push(bound);
        roots = edges
            .windows(2)
            .filter_map(|edge| root_between(p, edge[0], edge[1]))
            .collect();
    }
    roots
}

fn evaluate(p: &[f64], x: f64) -> (f64, f64) {
    p.iter().rev().fold((0.0, 0.0), |(value, slope), c| {
        (value * x + c, slope * x + value)
    })
}

/// Newton's method kept inside a shrinking bracket.
fn root_between(p: &[f64], mut low: f64, mut high: f64) -> Option<f64> {
    let (at_low, at_high) = (evaluate(p, low).0, evaluate(p, high).0);
    let change = at_low * at_high;
    if change.is_nan() || change >= 0.0 {
        return None;
    }
    let rising = at_high > 0.0;
    let mut x = 0.5 * (low + high);
    for _ in 0..60 {
        let (value, slope) = evaluate(p, x);
        if value == 0.0 {
            return Some(x);
        }
        if (value > 0.0) == rising {
            high = x;
        } else {
            low = x;
        }
        let step = x - value / slope;
        let next = if step > low && step < high {
            step
        } else {
            0.5 * (low + high)
        };
        if (next - x).abs() <= 1e-12 * (1.0 + x.abs()) {
            return Some(next);
        }
        x = next;
    }
    Some(x)
}

#[cfg(test)]
mod tests {
    use super::real_roots;

    #[test]
    fn roots_of_a_product_of_linear_factors() {
        // (x + 3)(x - 0.5)(x - 2)(x2 + 1)
        let p = [3.0, -6.5, 3.5, -5.5, 0.5, 1.0];
        let roots = real_roots(&p, 10.0);
        assert_eq!(roots.len(), 3, "{roots:?}");
        for (found, expected) in roots.iter().zip([-3.0, 0.5, 2.0]) {
            assert!((found - expected).abs() < 1e-9, "{found} {expected}");
        }
    }
}
