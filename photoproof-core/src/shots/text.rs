//! The shot list as plain text, at most 100 columns where words allow it.

use std::fmt::Write;

use super::list::{ListArea, ShotList};
use crate::report::words::inert;

const WIDTH: usize = 100;

/// Renders the whole list.
pub(super) fn render(list: &ShotList) -> String {
    let mut out = String::new();
    head(&mut out, list);
    for area in &list.areas {
        section(&mut out, list, area);
    }
    if !list.cautions.is_empty() {
        out.push_str("\nTAKE CARE (reminders; local codes and licensed practice come first)\n");
        for caution in &list.cautions {
            let text = format!("{}: {} [{}]", caution.title, caution.text, caution.source);
            wrap(&mut out, "  ", &text);
        }
    }
    let totals = &list.totals;
    let _ = writeln!(
        out,
        "\n{} areas, {} shots: {} photos, and up to {} more where the thing exists",
        totals.areas, totals.shots, totals.photos, totals.photos_if_present
    );
    out
}

fn head(out: &mut String, list: &ShotList) {
    let job = &list.job;
    let id = job.id.as_deref().unwrap_or("without a job id");
    let _ = writeln!(out, "SHOT LIST {}", inert(id));
    let window = job.window_start.as_deref().zip(job.window_end.as_deref());
    let window = window.map(|(start, end)| match &job.timezone {
        Some(zone) => format!("{start} to {end} ({zone})"),
        None => format!("{start} to {end}, time at the site"),
    });
    let rows = [
        ("crew", job.vendor.as_deref()),
        ("site", job.address.as_deref()),
        ("window", window.as_deref()),
    ];
    for (name, value) in rows {
        if let Some(value) = value {
            let _ = writeln!(out, "  {name:8} {}", inert(value));
        }
    }
    let _ = writeln!(
        out,
        "  {:8} {}",
        "services",
        inert(&job.services.join(", "))
    );
    for note in &list.notes {
        wrap(out, "  note: ", &inert(note));
    }
    out.push_str("\nHOW TO SHOOT\n");
    for advice in &list.advice {
        wrap(out, "  - ", &format!("{} [{}]", advice.text, advice.source));
    }
    let names: Vec<&str> = list.phases.iter().map(|p| p.name()).collect();
    let _ = writeln!(
        out,
        "\nBoxes, from the left: {}. A dot means not asked. (*) only where the thing exists.\n\
         The word in brackets names the shot: put it into the file name or the caption.",
        names.join(", ")
    );
}

fn section(out: &mut String, list: &ShotList, area: &ListArea) {
    let place = if area.listed {
        ""
    } else {
        ", not on the job sheet"
    };
    let _ = writeln!(
        out,
        "\n{}. {} ({}{place})",
        area.number,
        inert(&area.name),
        area.kind
    );
    for shot in &area.shots {
        let boxes: String = list
            .phases
            .iter()
            .map(|phase| tick(shot.phases.contains(phase)))
            .collect();
        let mark = if shot.if_present { "*" } else { " " };
        let times = if shot.photos > 1 {
            format!(" ({} photos)", shot.photos)
        } else {
            String::new()
        };
        let lead = format!("  {boxes}{mark} {:9}", shot.shot);
        let name = inert(&shot.name);
        wrap(
            out,
            &lead,
            &format!("{}{times} ({name})", inert(&shot.show)),
        );
    }
    if !area.cautions.is_empty() {
        let titles: Vec<&str> = list
            .cautions
            .iter()
            .filter(|c| area.cautions.iter().any(|id| id == c.id))
            .map(|c| c.title)
            .collect();
        wrap(out, "  care: ", &titles.join(", ").to_lowercase());
    }
}

fn tick(asked: bool) -> &'static str {
    if asked { "[ ] " } else { " .  " }
}

/// Writes `text` after `lead`, wrapped, later lines indented below the first word.
fn wrap(out: &mut String, lead: &str, text: &str) {
    let indent = lead.chars().count();
    let mut line = lead.to_owned();
    let mut used = indent;
    for word in text.split_whitespace() {
        let length = word.chars().count();
        if used > indent && used + 1 + length > WIDTH {
            let _ = writeln!(out, "{}", line.trim_end());
            line = " ".repeat(indent);
            used = indent;
        }
        if used > indent {
            line.push(' ');
            used += 1;
        }
        line.push_str(word);
        used += length;
    }
    let _ = writeln!(out, "{}", line.trim_end());
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wrapped_lines_stay_in_their_column() {
        let mut out = String::new();
        wrap(&mut out, "  - ", &"word ".repeat(60));
        for line in out.lines() {
            assert!(line.chars().count() <= WIDTH);
            assert!(line.starts_with("  - ") || line.starts_with("    "));
        }
    }
}
