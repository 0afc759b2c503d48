//! Typed access to a TOML table that notes every mistake and goes on.

use std::ops::Range;
use std::str::FromStr;

use rust_decimal::Decimal;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::mistake::{Mistakes, nearest, suggestion};

/// A value with its place in the file.
#[derive(Debug, Clone)]
pub(crate) struct At<T> {
    pub(crate) value: T,
    pub(crate) span: Range<usize>,
}

/// Reads one table. Unknown keys are noted when it is opened.
#[derive(Debug, Clone)]
pub(crate) struct Reader<'a> {
    table: &'a DeTable<'a>,
    /// Where the table starts, for keys that are missing.
    pub(crate) span: Range<usize>,
    /// How messages call the table: `[job]`, `[[area]] 2`.
    pub(crate) name: String,
    pub(crate) mistakes: &'a Mistakes<'a>,
    unknown: Vec<String>,
}

impl<'a> Reader<'a> {
    /// Opens a table whose keys must be among `known`.
    pub(crate) fn open(
        table: &'a DeTable<'a>,
        place: (Range<usize>, String),
        known: &[&str],
        mistakes: &'a Mistakes<'a>,
    ) -> Self {
        let (span, name) = place;
        let mut unknown = Vec::new();
        for key in table.keys() {
            if !known.contains(&key.get_ref().as_ref()) {
                unknown.push(key.get_ref().to_string());
                mistakes.add(
                    &key.span(),
                    format!(
                        "unknown key `{}` in {name}; {}",
                        key.get_ref(),
                        suggestion(key.get_ref(), known)
                    ),
                );
            }
        }
        Self {
            table,
            span,
            name,
            mistakes,
            unknown,
        }
    }

    /// The raw value of `key`.
    pub(crate) fn raw(&self, key: &str) -> Option<&'a Spanned<DeValue<'a>>> {
        self.table.get(key)
    }

    /// Whether `key` is given, rightly or not.
    pub(crate) fn has(&self, key: &str) -> bool {
        self.table.contains_key(key)
    }

    /// Keys and values in file order.
    pub(crate) fn entries(&self) -> Vec<(At<&'a str>, &'a Spanned<DeValue<'a>>)> {
        let mut all: Vec<_> = self
            .table
            .iter()
            .map(|(key, value)| {
                let at = At {
                    value: key.get_ref().as_ref(),
                    span: key.span(),
                };
                (at, value)
            })
            .collect();
        all.sort_by_key(|(key, _)| key.span.start);
        all
    }

    /// Notes a mistake at `span`.
    pub(crate) fn mistake(&self, span: &Range<usize>, message: impl Into<String>) {
        self.mistakes.add(span, message);
    }

    /// Whether an unknown key of the table probably stands for one of `keys`.
    pub(crate) fn mistyped(&self, keys: &[&str]) -> bool {
        self.table
            .keys()
            .map(|key| key.get_ref().as_ref())
            .filter(|key| self.unknown.iter().any(|u| u == key))
            .any(|key| nearest(key, keys.iter().copied()).is_some())
    }

    /// Notes that a key which must be there is not, unless it is there mistyped.
    pub(crate) fn missing(&self, key: &str, example: &str) {
        if self.mistyped(&[key]) {
            return;
        }
        self.mistake(
            &self.span,
            format!("{} has no `{key}`; add for instance {example}", self.name),
        );
    }

    fn wrong(&self, key: &str, wanted: &str, value: &Spanned<DeValue<'_>>) {
        self.mistake(
            &value.span(),
            format!(
                "`{key}` in {} must be {wanted}, not {}",
                self.name,
                article(value.get_ref().type_str())
            ),
        );
    }

    /// A text that is not blank.
    pub(crate) fn text(&self, key: &str) -> Option<At<String>> {
        let value = self.raw(key)?;
        let Some(text) = value.get_ref().as_str() else {
            self.wrong(key, "a text in quotes", value);
            return None;
        };
        if text.trim().is_empty() {
            self.mistake(
                &value.span(),
                format!(
                    "`{key}` in {} is empty; give it a text or leave it out",
                    self.name
                ),
            );
            return None;
        }
        Some(At {
            value: text.trim().to_owned(),
            span: value.span(),
        })
    }

    /// A yes or no.
    pub(crate) fn boolean(&self, key: &str) -> Option<bool> {
        let value = self.raw(key)?;
        let found = value.get_ref().as_bool();
        if found.is_none() {
            self.wrong(key, "true or false", value);
        }
        found
    }

    /// An exact decimal number, from an integer or a float.
    pub(crate) fn decimal(&self, key: &str) -> Option<At<Decimal>> {
        let value = self.raw(key)?;
        match decimal(value.get_ref()) {
            Some(number) => Some(At {
                value: number,
                span: value.span(),
            }),
            None => {
                self.wrong(key, "a number", value);
                None
            }
        }
    }

    /// A finite number.
    pub(crate) fn number(&self, key: &str) -> Option<At<f64>> {
        let value = self.raw(key)?;
        match number(value.get_ref()) {
            Some(found) => Some(At {
                value: found,
                span: value.span(),
            }),
            None => {
                self.wrong(key, "a finite number", value);
                None
            }
        }
    }

    /// A whole number in `range`.
    pub(crate) fn integer(&self, key: &str, range: std::ops::RangeInclusive<i64>) -> Option<i64> {
        let value = self.raw(key)?;
        let Some(found) = value.get_ref().as_integer() else {
            self.wrong(key, "a whole number", value);
            return None;
        };
        let found = i64::from_str_radix(found.as_str(), found.radix()).ok();
        match found {
            Some(number) if range.contains(&number) => Some(number),
            _ => {
                self.mistake(
                    &value.span(),
                    format!(
                        "`{key}` in {} must be a whole number from {} to {}",
                        self.name,
                        range.start(),
                        range.end()
                    ),
                );
                None
            }
        }
    }

    /// A list of texts, none blank.
    pub(crate) fn texts(&self, key: &str) -> Vec<At<String>> {
        let Some(value) = self.raw(key) else {
            return Vec::new();
        };
        let Some(items) = value.get_ref().as_array() else {
            self.wrong(key, "a list of texts in brackets", value);
            return Vec::new();
        };
        let mut found = Vec::new();
        for item in items.iter() {
            match item.get_ref().as_str() {
                None => self.wrong(key, "a list of texts in brackets", item),
                Some(text) if text.trim().is_empty() => self.mistake(
                    &item.span(),
                    format!("`{key}` in {} holds an empty text; remove it", self.name),
                ),
                Some(text) => found.push(At {
                    value: text.trim().to_owned(),
                    span: item.span(),
                }),
            }
        }
        found
    }

    /// The table at `key`.
    pub(crate) fn table(&self, key: &str, known: &[&str]) -> Option<Reader<'a>> {
        let value = self.raw(key)?;
        let name = if self.name.is_empty() {
            format!("[{key}]")
        } else {
            format!("`{key}` of {}", self.name)
        };
        match value.get_ref().as_table() {
            Some(table) => Some(Reader::open(
                table,
                (value.span(), name),
                known,
                self.mistakes,
            )),
            None => {
                self.mistake(
                    &value.span(),
                    format!(
                        "{name} must be a table, not {}",
                        article(value.get_ref().type_str())
                    ),
                );
                None
            }
        }
    }

    /// The list of tables at `key`, each opened with the keys in `known`.
    pub(crate) fn tables(&self, key: &str, known: &[&str]) -> Vec<Reader<'a>> {
        let Some(value) = self.raw(key) else {
            return Vec::new();
        };
        let Some(items) = value.get_ref().as_array() else {
            self.mistake(
                &value.span(),
                format!("`{key}` must be a list of tables; write [[{key}]] with double brackets"),
            );
            return Vec::new();
        };
        let mut found = Vec::new();
        for (index, item) in items.iter().enumerate() {
            match item.get_ref().as_table() {
                Some(table) => found.push(Reader::open(
                    table,
                    (item.span(), format!("[[{key}]] {}", index + 1)),
                    known,
                    self.mistakes,
                )),
                None => self.wrong(key, "a list of tables", item),
            }
        }
        found
    }
}

/// The exact value of a TOML number; `None` for other types, not-a-number, infinity or overflow.
pub(crate) fn decimal(value: &DeValue<'_>) -> Option<Decimal> {
    match value {
        DeValue::Integer(i) => i64::from_str_radix(i.as_str(), i.radix())
            .ok()
            .map(Decimal::from),
        DeValue::Float(f) => {
            let text = f.as_str();
            Decimal::from_str(text)
                .or_else(|_| Decimal::from_scientific(text))
                .ok()
        }
        _ => None,
    }
}

/// A finite TOML number.
pub(crate) fn number(value: &DeValue<'_>) -> Option<f64> {
    match value {
        DeValue::Integer(i) => i64::from_str_radix(i.as_str(), i.radix())
            .ok()
            .map(|n| n as f64),
        DeValue::Float(f) => f.as_str().parse::<f64>().ok().filter(|n| n.is_finite()),
        _ => None,
    }
}

/// `a string`, `an integer`.
pub(crate) fn article(kind: &str) -> String {
    let an = kind.starts_with(['a', 'e', 'i', 'o', 'u']);
    format!("{} {kind}", if an { "an" } else { "a" })
}
