//! Places in a case file: from a path of keys to the bytes of the text.
//!
//! Our own types carry no positions. When a check refuses a value, its place is found by walking the parsed document along the path.

use super::error::{Accepted, CaseError, Mistake, Problem, nearest};
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A path of keys and places in lists.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Path(Vec<Part>);

#[derive(Clone, Debug, PartialEq)]
enum Part {
    Key(String),
    Item(usize),
}

impl Path {
    /// The top of the file.
    pub(crate) const TOP: Self = Self(Vec::new());

    /// The key below this place.
    pub(crate) fn key(&self, key: &str) -> Self {
        self.with(Part::Key(key.to_owned()))
    }

    /// The entry of the list at this place, counted from 0.
    pub(crate) fn item(&self, item: usize) -> Self {
        self.with(Part::Item(item))
    }

    fn with(&self, part: Part) -> Self {
        Self(self.0.iter().cloned().chain([part]).collect())
    }

    /// The last key.
    pub(crate) fn last_key(&self) -> &str {
        self.keys().last().copied().unwrap_or_default()
    }

    /// The keys; which entry of a list is meant is left out.
    pub(crate) fn keys(&self) -> Vec<&str> {
        let keys = self.0.iter().filter_map(|part| match part {
            Part::Key(key) => Some(key.as_str()),
            Part::Item(_) => None,
        });
        keys.collect()
    }

    /// Another key in the same table.
    pub(crate) fn beside(&self, key: &str) -> Self {
        let table = self.0.len().saturating_sub(1);
        Self(self.0.iter().take(table).cloned().collect()).key(key)
    }

    /// The keys as typed; the line says which entry of a list is meant.
    fn typed(&self) -> String {
        self.keys().join(".")
    }
}

impl From<&serde_path_to_error::Path> for Path {
    fn from(path: &serde_path_to_error::Path) -> Self {
        use serde_path_to_error::Segment;
        let parts = path.iter().filter_map(|segment| match segment {
            Segment::Seq { index } => Some(Part::Item(*index)),
            Segment::Map { key } => Some(Part::Key(key.clone())),
            Segment::Enum { .. } | Segment::Unknown => None,
        });
        Self(parts.collect())
    }
}

/// A text with its name and what was parsed of it.
pub(crate) struct Source<'a> {
    pub(crate) file: &'a str,
    pub(crate) text: &'a str,
    pub(crate) top: &'a Spanned<DeTable<'a>>,
}

impl Source<'_> {
    /// Refuses the value at a place.
    pub(crate) fn refuse(&self, path: &Path, problem: Problem) -> CaseError {
        self.mistake(path, self.value(path), true, problem)
    }

    /// Refuses the key at a place, whatever its value.
    pub(crate) fn refuse_key(&self, path: &Path, problem: Problem) -> CaseError {
        self.mistake(path, self.key(path), false, problem)
    }

    /// Says that a key is missing below a table.
    pub(crate) fn missing(&self, table: &Path, key: &str, accepted: Accepted) -> CaseError {
        let span = if *table == Path::TOP { 0..0 } else { self.key(table) };
        self.mistake(&table.key(key), span, false, Problem::Missing { accepted })
    }

    /// The place of a word in a list of accepted ones, in the order of the list.
    pub(crate) fn word(&self, path: &Path, found: &str, accepted: &[&str]) -> Result<usize, CaseError> {
        accepted.iter().position(|word| *word == found).ok_or_else(|| {
            let suggestion = nearest(found, accepted.iter().copied()).map(str::to_owned);
            let accepted = accepted.iter().map(|word| (*word).to_owned()).collect();
            self.refuse(path, Problem::UnknownWord { suggestion, accepted })
        })
    }

    /// A number between two bounds; nothing that is not a number passes.
    pub(crate) fn number(
        &self,
        path: &Path,
        found: f64,
        (low, high): (f64, f64),
        unit: &'static str,
    ) -> Result<f64, CaseError> {
        if (low..=high).contains(&found) {
            Ok(found)
        } else {
            Err(self.refuse(path, Problem::NotAccepted { accepted: Accepted::Number { low, high, unit } }))
        }
    }

    /// A whole number between two bounds.
    pub(crate) fn whole(&self, path: &Path, found: u64, low: u64, high: u64) -> Result<u64, CaseError> {
        if (low..=high).contains(&found) {
            Ok(found)
        } else {
            Err(self.refuse(path, Problem::NotAccepted { accepted: Accepted::Whole { low, high } }))
        }
    }

    fn mistake(&self, path: &Path, span: Range<usize>, found: bool, problem: Problem) -> CaseError {
        CaseError::Mistaken(Box::new(Mistake::new(self.file, self.text, path.typed(), span, found, problem)))
    }

    /// Bytes of the value at a place, or of the nearest table around it.
    fn value(&self, path: &Path) -> Range<usize> {
        self.walk(path).1
    }

    /// Bytes of the key at a place, or of the nearest one around it.
    fn key(&self, path: &Path) -> Range<usize> {
        self.walk(path).0
    }

    /// The text at a place, if one is there.
    pub(crate) fn text_at(&self, path: &Path) -> Option<&str> {
        self.steps(path).nth(path.0.len().checked_sub(1)?)?.1.get_ref().as_str()
    }

    /// The whole number at a place, if one is there.
    pub(crate) fn whole_at(&self, path: &Path) -> Option<u64> {
        let number = self.steps(path).nth(path.0.len().checked_sub(1)?)?.1.get_ref().as_integer()?;
        u64::from_str_radix(number.as_str(), number.radix()).ok()
    }

    /// Bytes of the key and of the value at a place, or of the nearest one around it.
    fn walk(&self, path: &Path) -> (Range<usize>, Range<usize>) {
        let last = self.steps(path).last().map(|(key, value)| (key, value.span()));
        last.unwrap_or_else(|| (self.top.span(), self.top.span()))
    }

    /// What lies on the way to a place, as far as it is there: the bytes of each key, and its value.
    fn steps(&self, path: &Path) -> impl Iterator<Item = (Range<usize>, &Spanned<DeValue<'_>>)> {
        let mut before = None::<&Spanned<DeValue<'_>>>;
        path.0.iter().map_while(move |part| {
            let (key, next) = match part {
                Part::Key(key) => {
                    let table = match before {
                        None => self.top.get_ref(),
                        Some(value) => value.get_ref().as_table()?,
                    };
                    let (key, value) = table.get_key_value(key.as_str())?;
                    (key.span(), value)
                }
                Part::Item(item) => {
                    let value = before?.get_ref().as_array()?.get(*item)?;
                    (value.span(), value)
                }
            };
            before = Some(next);
            Some((key, next))
        })
    }
}
