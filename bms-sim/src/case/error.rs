//! What can be wrong with a case file, said with the place, the value found and what is accepted.
//!
//! [`CaseError`] shows as one line, `crane.toml:41: defect.cell = 97: accepted is 1 to 96`; [`CaseError::excerpt`] shows the lines of
//! the file with a caret below the culprit. Keys are named as they are typed; the line says which of several equal tables is meant.

use super::Unchanged;
use annotate_snippets::{AnnotationKind, Level, Renderer, Snippet};
use std::fmt;
use std::ops::Range;

/// A case that cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum CaseError {
    /// The file cannot be read.
    #[error("{file}: {source}")]
    Unreadable {
        /// The file.
        file: String,
        /// Why.
        source: std::io::Error,
    },
    /// The file can be read, but its contents are not accepted.
    #[error("{0}")]
    Mistaken(Box<Mistake>),
}

impl CaseError {
    /// The same with the lines around the place and a caret below it, for a terminal; in colours if wished.
    #[must_use]
    pub fn excerpt(&self, coloured: bool) -> String {
        match self {
            Self::Unreadable { .. } => self.to_string(),
            Self::Mistaken(mistake) => mistake.excerpt(coloured),
        }
    }

    /// The mistake in the contents, if the file could be read.
    #[must_use]
    pub fn mistake(&self) -> Option<&Mistake> {
        match self {
            Self::Unreadable { .. } => None,
            Self::Mistaken(mistake) => Some(mistake),
        }
    }
}

/// One mistake in a case file.
#[derive(Clone, Debug, PartialEq)]
pub struct Mistake {
    /// The file.
    pub file: String,
    /// Its line, counted from 1.
    pub line: usize,
    /// The key with the tables around it, as typed; empty when the text is no TOML.
    pub key: String,
    /// The value found, as typed.
    pub found: Option<String>,
    /// What is wrong with it.
    pub problem: Problem,
    span: Range<usize>,
    text: String,
}

/// Longest value that is repeated in a message, in characters.
const LONGEST_FOUND: usize = 40;

impl Mistake {
    /// A mistake at these bytes of the text; `found` says whether they are the value found.
    pub(crate) fn new(
        file: &str,
        text: &str,
        key: String,
        span: Range<usize>,
        found: bool,
        problem: Problem,
    ) -> Self {
        let span = within(text, span);
        let line = 1 + text.bytes().take(span.start).filter(|byte| *byte == b'\n').count();
        let found = found.then(|| shortened(text.get(span.clone()).unwrap_or_default()));
        Self { file: file.to_owned(), line, key, found, problem, span, text: text.to_owned() }
    }

    fn headline(&self) -> String {
        match (&self.key, &self.found) {
            (key, None) if key.is_empty() => self.problem.to_string(),
            (key, None) => format!("{key}: {}", self.problem),
            (key, Some(found)) => format!("{key} = {found}: {}", self.problem),
        }
    }

    fn excerpt(&self, coloured: bool) -> String {
        let headline = self.headline();
        let renderer = if coloured { Renderer::styled() } else { Renderer::plain() };
        let annotation = AnnotationKind::Primary.span(self.span.clone());
        let snippet = Snippet::source(self.text.as_str()).path(self.file.as_str()).annotation(annotation);
        renderer.render(&[Level::ERROR.primary_title(headline.as_str()).element(snippet)])
    }
}

impl fmt::Display for Mistake {
    fn fmt(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(to, "{}:{}: {}", self.file, self.line, self.headline())
    }
}

/// The span, moved onto whole characters of the text.
fn within(text: &str, span: Range<usize>) -> Range<usize> {
    let start = text.floor_char_boundary(span.start);
    start..text.ceil_char_boundary(span.end.max(start))
}

/// The first line of a value, cut where it becomes too long to repeat.
fn shortened(value: &str) -> String {
    let first = value.trim().lines().next().unwrap_or_default().trim_end();
    let whole = first.chars().count() <= LONGEST_FOUND && first.len() == value.trim().len();
    let start: String = first.chars().take(LONGEST_FOUND).collect();
    if whole { start } else { format!("{start}…") }
}

/// What is wrong with a value or its place.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum Problem {
    /// The bytes are no text.
    #[error("not UTF-8 from byte {from} on; accepted is TOML text in UTF-8")]
    NotText {
        /// First byte that is not.
        from: usize,
    },
    /// The text is no TOML.
    #[error("not TOML: {reason}")]
    NotToml {
        /// What the parser expected.
        reason: String,
    },
    /// There is no such key here.
    #[error("no such key here{}", suggest(suggestion.as_deref(), accepted))]
    UnknownKey {
        /// The accepted key that looks most like it.
        suggestion: Option<String>,
        /// All keys that are accepted here.
        accepted: Vec<String>,
    },
    /// A key that is needed is not there.
    #[error("missing; accepted is {accepted}")]
    Missing {
        /// What it may be.
        accepted: Accepted,
    },
    /// The value is of another type, or outside of what makes sense.
    #[error("accepted is {accepted}")]
    NotAccepted {
        /// What it may be.
        accepted: Accepted,
    },
    /// The word is not one of those that have a meaning here.
    #[error("not known here{}", suggest(suggestion.as_deref(), accepted))]
    UnknownWord {
        /// The accepted word that looks most like it.
        suggestion: Option<String>,
        /// All words that are accepted here.
        accepted: Vec<String>,
    },
    /// The key has a meaning in this kind of table, but not beside the others of this one.
    #[error("not accepted with {beside}; accepted there {}", listed(accepted))]
    NotBeside {
        /// What it stands beside, as typed.
        beside: String,
        /// The keys that are accepted instead.
        accepted: Vec<String>,
    },
    /// It must come later than something else.
    #[error("accepted is more than {after}, which is {limit} s")]
    NotAfter {
        /// What comes before it.
        after: String,
        /// That time in seconds.
        limit: f64,
    },
    /// It must not come before something else.
    #[error("accepted is {limit} s, {before}, or more")]
    Before {
        /// What comes before it.
        before: String,
        /// That time in seconds.
        limit: f64,
    },
    /// The story cannot be changed so.
    #[error("{0}")]
    Unchanged(Unchanged),
    /// The same thing is said twice.
    #[error("said a second time; accepted is once")]
    Twice,
    /// There are more of them than can be held.
    #[error("{found} are too many; accepted are up to {most}")]
    TooMany {
        /// How many there are.
        found: usize,
        /// How many there may be.
        most: usize,
    },
    /// The firmware's own check of its configuration refuses the value.
    #[error("{reason}")]
    Configuration {
        /// What the check says.
        reason: String,
    },
}

/// What a value may be.
#[derive(Clone, Debug, PartialEq)]
pub enum Accepted {
    /// A number between two bounds, both included.
    Number {
        /// Least.
        low: f64,
        /// Most.
        high: f64,
        /// Unit of both, may be empty.
        unit: &'static str,
    },
    /// A whole number between two bounds, both included.
    Whole {
        /// Least.
        low: u64,
        /// Most.
        high: u64,
    },
    /// One of these words.
    Words(Vec<String>),
    /// What the sentence says.
    Said(&'static str),
}

impl fmt::Display for Accepted {
    fn fmt(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Number { low, high, unit: "" } => write!(to, "a number from {low} to {high}"),
            Self::Number { low, high, unit } => write!(to, "a number from {low} to {high} {unit}"),
            Self::Whole { low, high } if low == high => write!(to, "{low}"),
            Self::Whole { low, high } => write!(to, "a whole number from {low} to {high}"),
            Self::Words(words) => write!(to, "one of {}", words.join(", ")),
            Self::Said(words) => to.write_str(words),
        }
    }
}

/// How alike a word must be to an accepted one to be taken for a slip of the finger, 0 to 1; chosen by trying.
const ALIKE: f64 = 0.8;

/// The accepted word that looks most like the one found, if any comes near.
pub(crate) fn nearest<'a>(found: &str, accepted: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    let likeness = |word: &str| strsim::jaro_winkler(found, word);
    accepted
        .filter(|word| likeness(word) >= ALIKE)
        .max_by(|one, other| likeness(one).total_cmp(&likeness(other)))
}

fn suggest(suggestion: Option<&str>, accepted: &[String]) -> String {
    match suggestion {
        Some(word) => format!("; did you mean {word}?"),
        None => format!("; accepted {}", listed(accepted)),
    }
}

fn listed(words: &[String]) -> String {
    match words {
        [] => "is none".to_owned(),
        [only] => format!("is {only}"),
        several => format!("are {}", several.join(", ")),
    }
}
