//! What comes into the build, held against `deny.toml` without any tool: licences, registries, crates that are barred.
//! Advisories need their database from the network: `cargo deny check advisories`.

#![allow(clippy::unwrap_used)]

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn rules() -> toml::Table {
    let text = std::fs::read_to_string(root().join("deny.toml")).unwrap();
    text.parse().unwrap()
}

/// Texts of a list of the rules.
fn listed(rules: &toml::Table, table: &str, list: &str) -> BTreeSet<String> {
    let list = rules[table][list].as_array().unwrap();
    list.iter()
        .map(|item| item.as_str().unwrap().to_owned())
        .collect()
}

/// What one crate may have besides.
fn excepted(rules: &toml::Table, name: &str) -> BTreeSet<String> {
    let exceptions = rules["licenses"]["exceptions"].as_array().unwrap();
    let own = exceptions
        .iter()
        .filter(|item| item["crate"].as_str() == Some(name));
    own.flat_map(|item| item["allow"].as_array().unwrap())
        .map(|licence| licence.as_str().unwrap().to_owned())
        .collect()
}

/// Every crate of the main build that this machine compiles, those of every feature included.
fn packages() -> Vec<Value> {
    let host = Command::new(option_env!("RUSTC").unwrap_or("rustc"))
        .arg("-vV")
        .output()
        .unwrap();
    let host = String::from_utf8(host.stdout).unwrap();
    let host = host.lines().find_map(|line| line.strip_prefix("host: "));
    let output = Command::new(env!("CARGO"))
        .args(["metadata", "--format-version", "1", "--locked"])
        .arg("--all-features")
        .args(["--filter-platform", host.unwrap()])
        .current_dir(root())
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{said}");
    let mut metadata: Value = serde_json::from_slice(&output.stdout).unwrap();
    match metadata["packages"].take() {
        Value::Array(packages) => packages,
        other => panic!("{other}"),
    }
}

/// Whether a licence expression (SPDX 2.3, annex D) can be met with `allowed` alone. `/` is the old way to write OR.
fn is_met(expression: &str, allowed: &BTreeSet<String>) -> bool {
    let text = expression.replace('/', " OR ");
    let text = text.replace('(', " ( ").replace(')', " ) ");
    let mut words: Vec<&str> = text.split_whitespace().rev().collect();
    let met = any_of(&mut words, allowed);
    met && words.is_empty()
}

fn any_of(words: &mut Vec<&str>, allowed: &BTreeSet<String>) -> bool {
    let mut met = all_of(words, allowed);
    while words.last() == Some(&"OR") {
        words.pop();
        let other = all_of(words, allowed);
        met = met || other;
    }
    met
}

fn all_of(words: &mut Vec<&str>, allowed: &BTreeSet<String>) -> bool {
    let mut met = one_of(words, allowed);
    while words.last() == Some(&"AND") {
        words.pop();
        let other = one_of(words, allowed);
        met = met && other;
    }
    met
}

fn one_of(words: &mut Vec<&str>, allowed: &BTreeSet<String>) -> bool {
    let Some(word) = words.pop() else {
        return false;
    };
    if word == "(" {
        let met = any_of(words, allowed);
        return words.pop() == Some(")") && met;
    }
    let mut licence = word.to_owned();
    if words.last() == Some(&"WITH") {
        words.pop();
        licence = format!("{licence} WITH {}", words.pop().unwrap_or_default());
    }
    allowed.contains(&licence)
}

#[test]
fn expressions_are_read_as_the_standard_says() {
    let allowed = ["MIT", "Zlib", "Apache-2.0 WITH LLVM-exception"];
    let allowed = allowed.map(str::to_owned).into_iter().collect();
    for (expression, met) in [
        ("MIT", true),
        ("GPL-3.0", false),
        ("MIT OR GPL-3.0", true),
        ("GPL-3.0/MIT", true),
        ("MIT AND GPL-3.0", false),
        ("MIT AND Zlib OR GPL-3.0", true),
        ("GPL-3.0 AND (MIT OR Zlib)", false),
        ("(GPL-3.0 OR MIT) AND Zlib", true),
        ("Apache-2.0 WITH LLVM-exception", true),
        ("Apache-2.0", false),
        ("MIT Zlib", false),
        ("(MIT", false),
        ("", false),
    ] {
        assert_eq!(is_met(expression, &allowed), met, "{expression}");
    }
}

#[test]
fn every_licence_is_allowed_and_listed_for_developers() {
    let rules = rules();
    let allowed = listed(&rules, "licenses", "allow");
    let packages = packages();
    assert!(packages.len() > 150, "{} crates", packages.len());
    let mut wrong = Vec::new();
    for package in &packages {
        let licence = package["license"].as_str().unwrap_or_default();
        let mut allowed = allowed.clone();
        allowed.extend(excepted(&rules, package["name"].as_str().unwrap()));
        if !is_met(licence, &allowed) {
            wrong.push(format!(
                "{} {}: {licence:?}",
                package["name"], package["version"]
            ));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
    let document = std::fs::read_to_string(root().join("DEVELOPERS.md")).unwrap();
    for licence in &allowed {
        assert!(document.contains(&format!("`{licence}`")), "{licence}");
    }
}

#[test]
fn everything_comes_from_the_registry_with_its_checksum_and_nothing_is_barred() {
    let rules = rules();
    let barred: BTreeSet<&str> = rules["bans"]["deny"]
        .as_array()
        .unwrap()
        .iter()
        .map(|item| item["crate"].as_str().unwrap())
        .collect();
    for lock in ["Cargo.lock", "fuzz/Cargo.lock"] {
        let text = std::fs::read_to_string(root().join(lock)).unwrap();
        let lock_file: toml::Table = text.parse().unwrap();
        for package in lock_file["package"].as_array().unwrap() {
            let name = package["name"].as_str().unwrap();
            assert!(!barred.contains(name), "{lock}: {name} is barred");
            let Some(source) = package.get("source") else {
                assert!(name.starts_with("photoproof"), "{lock}: {name}");
                continue;
            };
            let source = source.as_str().unwrap();
            assert!(
                source.starts_with("registry+"),
                "{lock}: {name} from {source}"
            );
            assert!(package.get("checksum").is_some(), "{lock}: {name}");
        }
    }
    for manifest in ["Cargo.toml", "fuzz/Cargo.toml"] {
        let text = std::fs::read_to_string(root().join(manifest)).unwrap();
        // A profile may speak of every package; no crate may come in any version.
        let crates = text.replace("[profile.dev.package.\"*\"]", "");
        assert!(
            !crates.contains("\"*\"") && !crates.contains("git ="),
            "{manifest}"
        );
    }
}
