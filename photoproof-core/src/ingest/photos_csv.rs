//! `photos.csv`: labels that the crew or the office wrote down beside the photos.

use std::collections::BTreeMap;

/// One row.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Row {
    /// Area as written.
    pub(crate) area: Option<String>,
    /// Phase as written.
    pub(crate) phase: Option<String>,
    /// Caption as written.
    pub(crate) caption: Option<String>,
    /// Shot it shows, as written.
    pub(crate) view: Option<String>,
}

/// Rows by the photo's path relative to the job folder, and what could not be used.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Rows {
    /// Rows by path.
    pub(crate) by_path: BTreeMap<String, Row>,
    /// What is wrong with the file, in words.
    pub(crate) problems: Vec<String>,
}

/// Reads the text of a `photos.csv` that lies in `folder` (relative to the job folder, empty for the
/// job folder itself). Paths that leave the folder name nothing and are reported.
pub(crate) fn read(bytes: &[u8], folder: &str) -> Rows {
    let bytes = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    let mut rows = Rows::default();
    let mut reader = csv::ReaderBuilder::new()
        .flexible(true)
        .delimiter(delimiter(bytes))
        .trim(csv::Trim::All)
        .from_reader(bytes);
    let header: Vec<String> = match reader.byte_headers() {
        Ok(header) => header
            .iter()
            .map(|cell| text(cell).to_lowercase())
            .collect(),
        Err(error) => {
            rows.problems.push(format!("cannot be read: {error}"));
            return rows;
        }
    };
    let column = |name: &str| header.iter().position(|cell| cell == name);
    let Some(file) = column("file") else {
        rows.problems
            .push("has no column \"file\" in its first line".to_owned());
        return rows;
    };
    let columns = ["area", "phase", "caption", "view"].map(column);
    for (index, record) in reader.byte_records().enumerate() {
        let line = index + 2;
        let Ok(record) = record else {
            rows.problems.push(format!("row {line} cannot be read"));
            break;
        };
        let cell = |at: Option<usize>| {
            at.and_then(|at| record.get(at))
                .map(text)
                .filter(|text| !text.is_empty())
        };
        let Some(path) = cell(Some(file)).and_then(|file| join(folder, &file)) else {
            rows.problems
                .push(format!("row {line} names no file of this folder"));
            continue;
        };
        let [area, phase, caption, view] = columns.map(cell);
        let row = Row {
            area,
            phase,
            caption,
            view,
        };
        if rows.by_path.insert(path, row).is_some() {
            rows.problems.push(format!(
                "row {line} names a file for the second time; the last row holds"
            ));
        }
    }
    rows.problems.truncate(20);
    rows
}

/// Spreadsheets of some countries write semicolons, and some crews paste tabs.
fn delimiter(bytes: &[u8]) -> u8 {
    let first = bytes
        .split(|&byte| byte == b'\n')
        .next()
        .unwrap_or_default();
    let has = |mark: u8| first.contains(&mark);
    if has(b',') {
        b','
    } else if has(b';') {
        b';'
    } else if has(b'\t') {
        b'\t'
    } else {
        b','
    }
}

fn text(cell: &[u8]) -> String {
    crate::ingest::exif::clean_text(cell).unwrap_or_default()
}

/// Joins a path of the table to its folder; `None` if it is empty, absolute or leads out.
fn join(folder: &str, file: &str) -> Option<String> {
    let file = file.replace('\\', "/");
    if file.starts_with('/') {
        return None;
    }
    let mut parts: Vec<&str> = folder.split('/').filter(|part| !part.is_empty()).collect();
    let floor = parts.len();
    for part in file.split('/') {
        match part {
            "" | "." => {}
            ".." if parts.len() > floor => {
                parts.pop();
            }
            ".." => return None,
            part => parts.push(part),
        }
    }
    (parts.len() > floor).then(|| parts.join("/"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_are_read_relative_to_the_table() {
        let table = b"\xEF\xBB\xBFFile,Area,Phase,Caption\r\na.jpg,Kitchen,before,\"sink, left\"\r\nx\\b.jpg,,after\r\n";
        let rows = read(table, "lot");
        assert_eq!(rows.problems, Vec::<String>::new());
        let first = &rows.by_path["lot/a.jpg"];
        assert_eq!(first.area.as_deref(), Some("Kitchen"));
        assert_eq!(first.caption.as_deref(), Some("sink, left"));
        let second = &rows.by_path["lot/x/b.jpg"];
        assert_eq!(
            (second.area.as_deref(), second.phase.as_deref()),
            (None, Some("after"))
        );
    }

    #[test]
    fn bad_tables_are_reported_and_nothing_leaves_the_folder() {
        assert_eq!(read(b"", "").problems.len(), 1);
        assert_eq!(read(b"name,area\na.jpg,Kitchen\n", "").problems.len(), 1);
        let rows = read(
            b"file;area\n../a.jpg;Kitchen\n/etc/x;Bath\n;x\nb.jpg;Bath\nb.jpg;Hall\n",
            "sub",
        );
        assert_eq!(rows.by_path.keys().collect::<Vec<_>>(), ["sub/b.jpg"]);
        assert_eq!(rows.problems.len(), 4);
        let _ = read(b"file,area\n\"unclosed", "");
        let _ = read(&[0xFF; 64], "");
    }
}
