//! Cautions printed beside shots: short, with their source, deferring to local rules.

use std::path::Path;
use std::sync::OnceLock;

use toml::de::DeTable;

use crate::job::{Mistakes, Reader, syntax_mistakes};

/// A caution.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub struct Caution {
    /// Id that profiles name.
    pub id: String,
    /// Its name in print.
    pub title: String,
    /// The caution, one or two sentences.
    pub text: String,
    /// Where it comes from.
    pub source: String,
    /// Words of a claimed hazard item that call for it.
    pub items: Vec<String>,
}

/// All cautions, in file order.
pub fn cautions() -> &'static [Caution] {
    static ALL: OnceLock<Vec<Caution>> = OnceLock::new();
    ALL.get_or_init(|| {
        let text = include_str!("profiles/cautions.toml");
        let (root, syntax) = DeTable::parse_recoverable(text);
        let mistakes = Mistakes::new(text, "cautions.toml".into());
        let found = read(root.get_ref(), &mistakes);
        // A test proves that the file in the program has no mistake.
        match mistakes.into_result(&syntax_mistakes(&syntax)) {
            Ok(()) => found,
            Err(_) => Vec::new(),
        }
    })
}

/// The caution with `id`.
pub(crate) fn find(id: &str) -> Option<&'static Caution> {
    cautions().iter().find(|c| c.id == id)
}

fn read<'a>(root: &'a DeTable<'a>, mistakes: &'a Mistakes<'a>) -> Vec<Caution> {
    let root = Reader::open(root, (0..0, String::new()), &["caution"], mistakes);
    root.tables("caution", &["id", "title", "text", "source", "items"])
        .iter()
        .filter_map(|table| {
            Some(Caution {
                id: table.text("id")?.value,
                title: table.text("title")?.value,
                text: table.text("text")?.value,
                source: table.text("source")?.value,
                items: table.texts("items").into_iter().map(|t| t.value).collect(),
            })
        })
        .collect()
}

/// Cautions that a claimed item calls for, in file order.
#[must_use]
pub fn for_item(item: &str) -> Vec<&'static Caution> {
    let item = item.to_lowercase();
    cautions()
        .iter()
        .filter(|c| c.items.iter().any(|word| item.contains(word.as_str())))
        .collect()
}

/// Where profiles say that a path is built in.
pub(crate) fn built_in_path(name: &str) -> std::path::PathBuf {
    Path::new("built-in").join(name)
}
