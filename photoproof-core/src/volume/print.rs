//! The tally as text, with the working of each line, and as JSON.

use std::fmt::Write;

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use serde_json::{Value, json};

use super::tally::{HazardLine, LoadLine, Tally};
use super::{PI, show};
use crate::report::words::inert;

impl Tally {
    /// For a terminal: every load with its working, to be checked by hand.
    #[must_use]
    pub fn to_text(&self) -> String {
        let mut out = String::from("DEBRIS\n");
        for line in &self.loads {
            load(&mut out, line, self.decimals);
        }
        if self.loads.is_empty() {
            out.push_str("  no loads on the job sheet; add [[load]] tables\n");
        }
        out.push('\n');
        self.sums(&mut out);
        if !self.hazards.is_empty() {
            out.push_str("\nCOUNTED APART (not in the cubic yards)\n");
            for line in &self.hazards {
                hazard(&mut out, line);
            }
        }
        let _ = writeln!(
            out,
            "\nEach load is rounded half up to {} decimal{}, then added. pi = {PI}; 1 yd3 = 27 ft3 = 0.764554857984 m3.",
            self.decimals,
            if self.decimals == 1 { "" } else { "s" }
        );
        out
    }

    fn sums(&self, out: &mut String) {
        let yards = |value: Decimal| format!("{:>10} yd3", show(value, self.decimals));
        let _ = writeln!(out, "  measured   {}", yards(self.measured));
        let _ = writeln!(
            out,
            "  documented {}  (loads with photos)",
            yards(self.documented)
        );
        if let Some(claimed) = self.claimed {
            let _ = writeln!(out, "  claimed    {}", yards(claimed));
        }
        if let Some(difference) = self.difference {
            let words = match difference.cmp(&Decimal::ZERO) {
                std::cmp::Ordering::Greater => "claimed above documented",
                std::cmp::Ordering::Less => "claimed below documented",
                std::cmp::Ordering::Equal => "claim and loads agree",
            };
            let _ = writeln!(out, "  difference {}  ({words})", yards(difference));
        }
        if self.claim_impossible {
            let _ = writeln!(
                out,
                "  the claim is above the boxes around all loads, {} yd3: a measure or a load is missing",
                show(self.bound, self.decimals)
            );
        }
    }

    /// For other programs: one object (`photoproof.volume/1`). Volumes are numbers in cubic yards.
    #[must_use]
    pub fn to_json(&self) -> Value {
        json!({
            "schema": "photoproof.volume/1",
            "loads": self.loads.iter().map(load_json).collect::<Vec<_>>(),
            "hazards": self.hazards.iter().map(|h| json!({
                "item": h.item, "count": h.count, "photos": h.photos,
            })).collect::<Vec<_>>(),
            "measured": number(self.measured),
            "documented": number(self.documented),
            "claimed": self.claimed.map(number),
            "difference": self.difference.map(number),
            "bounding_boxes": number(self.bound),
            "claim_impossible": self.claim_impossible,
            "decimals": self.decimals,
            "rounding": "half up",
        })
    }
}

fn number(value: Decimal) -> f64 {
    value.to_f64().unwrap_or_default()
}

fn load_json(line: &LoadLine) -> Value {
    json!({
        "name": line.name,
        "cubic_yards": number(line.cubic_yards),
        "bounding_box": number(line.bound),
        "evidenced": line.evidenced,
        "photos": line.photos,
        "missing_states": line.missing_states,
        "working": line.working,
        "weight": line.weight.as_ref().map(|w| json!({
            "lb_per_cubic_yard": number(w.lb_per_cubic_yard),
            "published": number(w.published),
            "plausible": w.plausible,
            "working": w.working,
        })),
    })
}

fn load(out: &mut String, line: &LoadLine, decimals: u32) {
    let _ = writeln!(
        out,
        "  {:<28} {:>10} yd3  {}",
        inert(&line.name),
        show(line.cubic_yards, decimals),
        photos(&line.photos)
    );
    let _ = writeln!(out, "      {}", inert(&line.working));
    if !line.missing_states.is_empty() {
        let _ = writeln!(
            out,
            "      no photo of the bed {}",
            line.missing_states.join(", ")
        );
    }
    if let Some(weight) = &line.weight {
        let word = if weight.plausible {
            "ticket fits"
        } else {
            "ticket does not fit, check units and material"
        };
        let _ = writeln!(out, "      {word}: {}", weight.working);
    }
}

fn hazard(out: &mut String, line: &HazardLine) {
    let _ = writeln!(
        out,
        "  {:>5} x {}  {}",
        line.count,
        inert(&line.item),
        photos(&line.photos)
    );
}

fn photos(paths: &[String]) -> String {
    match paths.len() {
        0 => "no photos found".to_owned(),
        1 => "1 photo".to_owned(),
        many => format!("{many} photos"),
    }
}
