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
    textures(&same);
}

/// Growth of the texture of what changed in the lower part of the frame, before to after: as the photos are labelled
/// it should shrink, with the labels swapped it should grow.
fn textures(same: &[&Compared]) {
    let limit = photoproof_core::Limits::default().max_texture_growth;
    let of = |c: &&&Compared| c.truth.phase_a == "before" && c.truth.phase_b == "after";
    let mut growth: Vec<f64> = same
        .iter()
        .filter(of)
        .filter_map(|c| c.change.as_ref()?.texture)
        .filter(|texture| texture.share >= 0.05)
        .map(|texture| texture.growth)
        .collect();
    growth.sort_by(f64::total_cmp);
    let (n, middle) = (growth.len(), growth.get(growth.len() / 2).copied());
    let grown = growth.iter().filter(|growth| **growth >= limit).count();
    let shrunk = growth
        .iter()
        .filter(|growth| growth.recip() >= limit)
        .count();
    println!(
        "texture, before to after: {n} pairs, median {:.2}, most {:.2}; over {limit}: {grown}, with labels swapped {shrunk}",
        middle.unwrap_or(1.0),
        growth.last().copied().unwrap_or(1.0),
    );
}
