//! The table of changed shares against truth.

use photoproof_core::Relation;

use crate::Compared;

pub(crate) fn print(all: &[Compared]) {
    let same: Vec<&Compared> = all
        .iter()
        .filter(|c| c.relation == Relation::SameView && c.change.is_some())
        .collect();
    println!("pairs {}, same view and compared {}", all.len(), same.len());
    println!(
        "{:16} {:>4} {:>8} {:>8} {:>8} {:>9} {:>8} {:>7} {:>9} {:>6}",
        "phases", "n", "truth", "found", "bias", "mean err", "within10", "max err", "least", "ms"
    );
    for (first, second) in [
        ("before", "during"),
        ("before", "after"),
        ("during", "after"),
        ("", ""),
    ] {
        let rows: Vec<&&Compared> = same
            .iter()
            .filter(|c| first.is_empty() || (c.truth.phase_a == first && c.truth.phase_b == second))
            .collect();
        if rows.is_empty() {
            continue;
        }
        let n = rows.len() as f64;
        let found = |c: &Compared| c.change.as_ref().map_or(0.0, |change| change.share);
        let errors: Vec<f64> = rows.iter().map(|c| found(c) - c.truth.share).collect();
        let mean = |values: &mut dyn Iterator<Item = f64>| values.sum::<f64>() / n;
        let changed = rows.iter().filter(|c| c.truth.share > 0.05);
        println!(
            "{:16} {:4} {:7.1}% {:7.1}% {:+7.1}% {:8.1}% {:7.0}% {:6.1}% {:8.2}% {:6.1}",
            if first.is_empty() {
                "all".to_owned()
            } else {
                format!("{first}-{second}")
            },
            rows.len(),
            100.0 * mean(&mut rows.iter().map(|c| c.truth.share)),
            100.0 * mean(&mut rows.iter().map(|c| found(c))),
            100.0 * mean(&mut errors.iter().copied()),
            100.0 * mean(&mut errors.iter().map(|e| e.abs())),
            100.0 * mean(&mut errors.iter().map(|e| f64::from(u8::from(e.abs() <= 0.1)))),
            100.0 * errors.iter().fold(0.0f64, |m, e| m.max(e.abs())),
            100.0 * changed.map(|c| found(c)).fold(1.0, f64::min),
            mean(&mut rows.iter().map(|c| c.ms)),
        );
    }
    let mut worst: Vec<&&Compared> = same.iter().collect();
    let error = |c: &Compared| c.change.as_ref().map_or(0.0, |x| x.share) - c.truth.share;
    worst.sort_by(|p, q| error(q).abs().total_cmp(&error(p).abs()));
    for c in worst.iter().take(8) {
        println!(
            "  off by {:+.1} %, truth {:.1} %: {} {}",
            100.0 * error(c),
            100.0 * c.truth.share,
            c.truth.a,
            c.truth.b
        );
    }
}
