//! BagIt manifest lines (RFC 8493, sections 2.1.1 to 2.1.3).

use std::collections::BTreeMap;

/// `bagit.txt` of every bag written here.
pub(super) const DECLARATION: &str = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n";

/// One line a file: digest, two spaces, path.
pub(super) fn render(digests: &BTreeMap<String, String>) -> String {
    digests
        .iter()
        .map(|(path, digest)| format!("{digest}  {}\n", encode(path)))
        .collect()
}

/// Reads manifest lines; `Err` names the first line, from 1, that is none.
pub(super) fn parse(text: &str, encoding: Encoding) -> Result<BTreeMap<String, String>, usize> {
    let mut digests = BTreeMap::new();
    for (number, line) in text.split('\n').enumerate() {
        let line = line.strip_suffix('\r').unwrap_or(line);
        if line.is_empty() {
            continue;
        }
        let (digest, path) = line.split_once([' ', '\t']).ok_or(number + 1)?;
        let path = path.trim_start_matches([' ', '\t']);
        let hexadecimal = !digest.is_empty() && digest.bytes().all(|b| b.is_ascii_hexdigit());
        if !hexadecimal || path.is_empty() {
            return Err(number + 1);
        }
        digests.insert(decode(path, encoding), digest.to_ascii_lowercase());
    }
    Ok(digests)
}

/// Which characters of a path are percent-encoded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Encoding {
    /// Line feed, carriage return and the percent sign (version 1.0).
    Current,
    /// Line feed and carriage return only (drafts before 1.0).
    Draft,
}

fn encode(path: &str) -> String {
    path.replace('%', "%25")
        .replace('\r', "%0D")
        .replace('\n', "%0A")
}

fn decode(path: &str, encoding: Encoding) -> String {
    let mut out = String::with_capacity(path.len());
    let mut rest = path;
    while let Some(at) = rest.find('%') {
        let (plain, coded) = rest.split_at(at);
        out.push_str(plain);
        let known = match coded.get(..3) {
            Some("%0A" | "%0a") => Some('\n'),
            Some("%0D" | "%0d") => Some('\r'),
            Some("%25") if encoding == Encoding::Current => Some('%'),
            _ => None,
        };
        out.push(known.unwrap_or('%'));
        let length = if known.is_some() { 3 } else { 1 };
        rest = coded.get(length..).unwrap_or_default();
    }
    out.push_str(rest);
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn odd_names_survive_the_round_trip() {
        let names = [
            "data/a b.jpg",
            "data/50%25.jpg",
            "data/new\nline\r.jpg",
            "data/%0A.jpg",
        ];
        let digests: BTreeMap<String, String> = names
            .iter()
            .map(|name| ((*name).to_owned(), "0a".repeat(32)))
            .collect();
        let text = render(&digests);
        assert_eq!(text.lines().count(), 4);
        assert_eq!(parse(&text, Encoding::Current), Ok(digests));
    }

    #[test]
    fn lines_that_are_none_are_named() {
        assert_eq!(parse("00  data/a\nnonsense\n", Encoding::Current), Err(2));
        assert_eq!(parse("zz  data/a\n", Encoding::Current), Err(1));
    }
}
