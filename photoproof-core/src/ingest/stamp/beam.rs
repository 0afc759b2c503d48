//! The likeliest texts of a line and their probabilities.

use std::collections::BTreeMap;

/// Texts kept at every frame.
const KEPT: usize = 16;

/// A symbol less likely than this in a frame is not followed.
const LEAST: f64 = 0.002;

/// Probabilities of a text so far: its last frame "nothing", and its last frame a symbol.
#[derive(Debug, Clone, Copy, Default)]
struct Ends {
    nothing: f64,
    symbol: f64,
}

impl Ends {
    fn sum(self) -> f64 {
        self.nothing + self.symbol
    }
}

/// The likeliest texts, likeliest first, by prefix beam search over the frames' probabilities; symbol 0 is
/// "nothing" (Graves et al., 2006, section 3.2; Hannun et al., 2014, algorithm 1, without a language model).
pub(super) fn texts(frames: &[Vec<f64>]) -> Vec<(Vec<usize>, f64)> {
    let start = Ends {
        nothing: 1.0,
        symbol: 0.0,
    };
    let mut kept: Vec<(Vec<usize>, Ends)> = vec![(Vec::new(), start)];
    for frame in frames {
        let mut next: BTreeMap<Vec<usize>, Ends> = BTreeMap::new();
        for (text, ends) in &kept {
            extend(&mut next, frame, text, *ends);
        }
        kept = next.into_iter().collect();
        kept.sort_by(|a, b| b.1.sum().total_cmp(&a.1.sum()).then(a.0.cmp(&b.0)));
        kept.truncate(KEPT);
    }
    kept.into_iter()
        .map(|(text, ends)| (text, ends.sum()))
        .filter(|(_, chance)| *chance > 0.0)
        .collect()
}

fn extend(next: &mut BTreeMap<Vec<usize>, Ends>, frame: &[f64], text: &[usize], ends: Ends) {
    let last = text.last().copied();
    for (symbol, &chance) in frame.iter().enumerate() {
        if symbol == 0 {
            next.entry(text.to_vec()).or_default().nothing += ends.sum() * chance;
            continue;
        }
        if last == Some(symbol) {
            next.entry(text.to_vec()).or_default().symbol += ends.symbol * chance;
        }
        if chance < LEAST {
            continue;
        }
        // The same symbol again needs "nothing" in between.
        let before = if last == Some(symbol) {
            ends.nothing
        } else {
            ends.sum()
        };
        let mut longer = text.to_vec();
        longer.push(symbol);
        next.entry(longer).or_default().symbol += before * chance;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_chance_of_a_text_sums_its_alignments() {
        // Two frames, symbols {nothing, a}: "a" by (a,a), (a,-), (-,a).
        let frames = [vec![0.4, 0.6], vec![0.4, 0.6]];
        let texts = texts(&frames);
        assert_eq!(texts[0].0, [1]);
        assert!((texts[0].1 - 0.84).abs() < 1e-12);
        assert_eq!(texts[1].0, [0usize; 0]);
        assert!((texts[1].1 - 0.16).abs() < 1e-12);
        assert_eq!(texts.len(), 2);
    }

    #[test]
    fn a_repeated_digit_needs_a_gap() {
        let (one, nothing) = (vec![0.1, 0.9], vec![0.9, 0.1]);
        let double = texts(&[one.clone(), nothing, one.clone()]);
        assert_eq!(double[0].0, [1, 1]);
        assert_eq!(texts(&[one.clone(), one])[0].0, [1]);
    }
}
