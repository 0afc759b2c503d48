//! Waivers: reading and applying them.

use super::*;
use crate::error::Error;
use std::path::Path;

const GOOD: &str = r#"
[[waiver]]
check = "viewpoint-shift"
photos = ["Kitchen/after/2.jpg", "Kitchen/before/1.jpg"]
who = "J. Alder"
why = "a wall stands there now"
until = 2026-06-30

[[waiver]]
check = "missing-phase"
area = "Attic"
who = "J. Alder"
why = "no access"
until = "2026-01-31"
"#;

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn parse(text: &str) -> Result<WaiverSet, Error> {
    WaiverSet::parse(text, Path::new("waivers.toml"))
}

fn known() -> Known<'static> {
    Known {
        checks: ["viewpoint-shift", "missing-phase"].into(),
        areas: ["Kitchen", "Attic"].into(),
        photos: [
            "Kitchen/after/2.jpg",
            "Kitchen/before/1.jpg",
            "Kitchen/after/3.jpg",
        ]
        .into(),
    }
}

#[test]
fn a_finding_is_accepted_when_every_photo_is_listed() {
    let set = parse(GOOD).unwrap();
    assert_eq!(
        set.waivers.iter().map(|w| w.line).collect::<Vec<_>>(),
        [2, 9]
    );
    let both = ["Kitchen/after/2.jpg", "Kitchen/before/1.jpg"];
    let other = ["Kitchen/after/3.jpg", "Kitchen/before/1.jpg"];
    let subject = |photos| Subject {
        check: "viewpoint-shift",
        area: Some("Kitchen"),
        photos,
    };
    let findings = [subject(&both), subject(&other), subject(&[])];
    let applied = set.apply(day("2026-06-30"), &findings, &known());
    assert_eq!(applied.accepted, [Some(0), None, None]);
    assert_eq!(applied.idle, [(1, Idle::Expired { findings: 0 })]);
}

#[test]
fn the_last_day_counts_and_the_next_does_not() {
    let set = parse(GOOD).unwrap();
    let attic = [Subject {
        check: "missing-phase",
        area: Some("Attic"),
        photos: &[],
    }];
    assert_eq!(
        set.apply(day("2026-01-31"), &attic, &known()).accepted,
        [Some(1)]
    );
    let late = set.apply(day("2026-02-01"), &attic, &known());
    assert_eq!(late.accepted, [None]);
    assert!(late.idle.contains(&(1, Idle::Expired { findings: 1 })));
}

#[test]
fn needless_and_orphaned_waivers_are_told_apart() {
    let set = parse(GOOD).unwrap();
    let mut known = known();
    let idle = set.apply(day("2026-01-01"), &[], &known).idle;
    assert_eq!(idle, [(0, Idle::Unused), (1, Idle::Unused)]);
    known.photos.remove("Kitchen/after/2.jpg");
    let idle = set.apply(day("2026-01-01"), &[], &known).idle;
    let missing = vec!["photo Kitchen/after/2.jpg".to_owned()];
    assert_eq!(idle[0], (0, Idle::Stale { missing }));
}

#[test]
fn mistakes_name_line_and_column() {
    let cases = [
        (
            "[[waiver]]\ncheck = \"a\"\nwhoo = \"x\"\n",
            "waivers.toml:3:1: ",
        ),
        (
            "[[waiver]]\ncheck = \"a\"\narea = \"b\"\nwho = \"\"\n",
            "waivers.toml:4:7: who is empty",
        ),
        (
            "[[waiver]]\ncheck = \"a\"\n",
            "waivers.toml:1:1: this waiver does not say",
        ),
        (
            "[[waiver]]\ncheck = \"a\"\narea = \"b\"\nwho = \"c\"\nwhy = \"d\"\nuntil = \"soon\"\n",
            "waivers.toml:6:9: until is soon; write a day",
        ),
        ("[[waiver]\n", "waivers.toml:1:"),
    ];
    for (text, wanted) in cases {
        let message = parse(text).unwrap_err().to_string();
        assert!(message.starts_with(wanted), "{message}");
    }
    assert_eq!(parse("").unwrap(), WaiverSet::default());
}

/// Found by the fuzz target: what a message quotes moved the cursor of the terminal.
#[test]
fn messages_quote_no_signs_that_act() {
    for until in ["29\\u001b[2J", "29\\u202e86", "29\\t\t86"] {
        let text = format!(
            "[[waiver]]\ncheck = \"a\"\narea = \"b\"\nwho = \"c\"\nwhy = \"d\"\nuntil = \"{until}\"\n"
        );
        let said = WaiverSet::parse(&text, std::path::Path::new("w.toml")).unwrap_err();
        let said = said.to_string();
        assert!(said.starts_with("w.toml:6:9: until is 29"), "{said:?}");
        assert!(
            !said.contains(|sign: char| sign.is_control() || sign == '\u{202e}'),
            "{said:?}"
        );
    }
}
