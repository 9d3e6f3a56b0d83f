//! # A run as tables
//!
//! Two tables that general tools read: one row a tick with everything that was measured, true, decided and believed in it, and one row for
//! everything that happened. They are made by playing the recording again, so any tick and any value can be had of a file that holds
//! neither.
//!
//! | table | columns |
//! | --- | --- |
//! | ticks | the [signals](super::signals) that a recording holds and pictures show; then all else: see [`Ticks::columns`] |
//! | events | `tick`, `time_s`, `what`, `place`, `value` and `limit` in the `unit` beside them, `sentence`, and all [values](super::values) as JSON |
//!
//! The unit ends the name of every column that holds a quantity, as `cell_01_V` and `time_s`. All of a row belongs together: measured and
//! true at the instant of its frame, decided from that frame. What begins with `true_` no firmware knows. A reading is the shortest
//! decimal that names its step of 2⁻¹⁶, a truth goes to a millionth of its unit. A stage is a number: 0 clear, 1 suspect, 2 confirmed,
//! 3 latched. Cells, thermistors and defects are counted from 1, ticks from 0.
//!
//! As [CSV](csv) with a metadata file by the W3C's rules beside it, or as [Parquet](parquet). Both say of which case, seed and program
//! they are.

mod channels;
pub mod csv;
mod events;
pub mod parquet;

use self::channels::{Channel, Seen};
use super::Recording;
use super::column::{Column, Value};
use super::file::{GENERATOR, Sentence, hexadecimal};
use super::signals::Moment;
use crate::case::StartError;
use crate::run::Loop;
use std::io::Write;

/// What went wrong with a table.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ExportError {
    /// A pattern names no column.
    #[error(
        "--channels = {pattern}: names no column; accepted are names of columns, with * for any letters{near}"
    )]
    NoColumn {
        /// The pattern.
        pattern: String,
        /// The name that was probably meant.
        near: String,
    },
    /// The case does not fit the type.
    #[error(transparent)]
    Start(#[from] StartError),
    /// A row cannot be written.
    #[error("a table cannot be written: {0}")]
    Written(#[from] std::io::Error),
}

/// Of which run the tables are.
#[derive(Clone, Debug)]
pub struct About {
    /// What the case is about, in a line.
    pub title: String,
    /// Name and value of everything else, as both formats write it.
    pub facts: Vec<(&'static str, String)>,
}

impl About {
    /// Of a recording; `complete` unless it comes from a file that was cut short.
    #[must_use]
    pub fn of<const CELLS: usize, const THERMISTORS: usize>(
        recording: &Recording<CELLS, THERMISTORS>,
        complete: bool,
    ) -> Self {
        let case = &recording.case;
        let whole = complete && recording.end.over();
        let facts = vec![
            ("generator", GENERATOR.to_owned()),
            ("case_name", case.name.clone()),
            ("case_digest", hexadecimal(case.digest)),
            ("seed", case.seed.to_string()),
            ("ticks", recording.ticks.to_string()),
            ("played_s", recording.end.seconds().to_string()),
            ("case_s", case.duration_seconds.to_string()),
            ("whole", whole.to_string()),
        ];
        Self { title: case.title.clone(), facts }
    }
}

/// A table that is being written.
pub trait Table {
    /// One row: a value for each column, in their order.
    ///
    /// # Errors
    /// When it cannot be written.
    fn row(&mut self, values: &[Value]) -> Result<(), ExportError>;

    /// Nothing comes any more.
    ///
    /// # Errors
    /// When the end cannot be written.
    fn finish(self: Box<Self>) -> Result<(), ExportError>;
}

/// The format of a table.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Format {
    /// Text, a line a row.
    Csv,
    /// Columns, packed.
    Parquet,
}

impl Format {
    /// Begins a table with these columns.
    ///
    /// # Errors
    /// When its beginning cannot be written.
    pub fn begin<'a>(
        self,
        to: impl Write + Send + 'a,
        columns: &[Column],
        about: &About,
    ) -> Result<Box<dyn Table + 'a>, ExportError> {
        Ok(match self {
            Self::Csv => Box::new(csv::Csv::begin(to, columns)?),
            Self::Parquet => Box::new(parquet::Parquet::begin(to, columns, about)?),
        })
    }
}

/// The ticks of a run, or some of them, with all columns or some.
#[derive(Debug)]
pub struct Ticks<'a, const CELLS: usize, const THERMISTORS: usize> {
    recording: &'a Recording<CELLS, THERMISTORS>,
    every_ms: u64,
    channels: Vec<Channel<CELLS, THERMISTORS>>,
}

impl<'a, const CELLS: usize, const THERMISTORS: usize> Ticks<'a, CELLS, THERMISTORS> {
    /// Of the ticks only the first at or after each multiple of `every_ms`, all if it is 0; the columns whose name fits one of the patterns,
    /// all if there is none. `*` stands for any letters. Tick and time are always there.
    ///
    /// # Errors
    /// When a pattern fits no column.
    pub fn of(
        recording: &'a Recording<CELLS, THERMISTORS>,
        every_ms: u64,
        patterns: &[String],
    ) -> Result<Self, ExportError> {
        let all = channels::all();
        for pattern in patterns {
            if !all.iter().any(|channel| fits(pattern, &channel.column.name)) {
                // Of several that are as near the first one.
                let names = all.iter().rev().map(|channel| channel.column.name.as_str());
                let near = crate::case::nearest(pattern, names);
                let near = near.map_or_else(String::new, |near| format!("; did you mean {near}?"));
                return Err(ExportError::NoColumn { pattern: pattern.clone(), near });
            }
        }
        let wanted = |name: &str| {
            matches!(name, "tick" | "time_s")
                || patterns.is_empty()
                || patterns.iter().any(|pattern| fits(pattern, name))
        };
        let channels = all.into_iter().filter(|channel| wanted(&channel.column.name)).collect();
        Ok(Self { recording, every_ms, channels })
    }

    /// The columns, in their order.
    #[must_use]
    pub fn columns(&self) -> Vec<Column> {
        self.channels.iter().map(|channel| channel.column.clone()).collect()
    }

    /// Plays the recording again and writes its rows. `progress` is called with the time of each row in seconds and says whether to go on;
    /// the answer is whether it always did.
    ///
    /// # Errors
    /// When a row cannot be written, or the type has other counts than the case's pack.
    pub fn write(
        &self,
        table: &mut dyn Table,
        mut progress: impl FnMut(f64) -> bool,
    ) -> Result<bool, ExportError> {
        let mut now = Loop::<CELLS, THERMISTORS>::new(&self.recording.case)?;
        let (mut due_ms, mut row) = (0, Vec::with_capacity(self.channels.len()));
        while now.tick < self.recording.ticks {
            if now.at_ms < due_ms {
                now.advance(&mut ());
                continue;
            }
            due_ms = self.every_ms.saturating_mul(now.at_ms.checked_div(self.every_ms).unwrap_or(0) + 1);
            let before = now.clone();
            let decision = now.advance(&mut ());
            let frame = before.frame();
            let seen = Seen::of(Moment::of(&before, &frame, &decision, &now));
            row.clear();
            row.extend(self.channels.iter().map(|channel| channel.value(&seen)));
            table.row(&row)?;
            if !progress(before.seconds()) {
                return Ok(false);
            }
        }
        Ok(true)
    }
}

/// What happened in a run.
#[derive(Debug)]
pub struct Events<'a, const CELLS: usize, const THERMISTORS: usize> {
    recording: &'a Recording<CELLS, THERMISTORS>,
    sentence: Sentence,
}

impl<'a, const CELLS: usize, const THERMISTORS: usize> Events<'a, CELLS, THERMISTORS> {
    /// Everything that happened; `sentence` says what an event was.
    #[must_use]
    pub const fn of(recording: &'a Recording<CELLS, THERMISTORS>, sentence: Sentence) -> Self {
        Self { recording, sentence }
    }

    /// The columns, in their order.
    #[must_use]
    pub fn columns(&self) -> Vec<Column> {
        events::columns()
    }

    /// Writes a row for each event.
    ///
    /// # Errors
    /// When a row cannot be written.
    pub fn write(&self, table: &mut dyn Table) -> Result<(), ExportError> {
        self.recording.events.iter().try_for_each(|event| {
            let sentence = (self.sentence)(&self.recording.case, event);
            table.row(&events::row(event, sentence))
        })
    }
}

/// Whether a name fits a pattern, in which `*` stands for any letters or none.
fn fits(pattern: &str, name: &str) -> bool {
    let Some((first, rest)) = pattern.split_once('*') else { return pattern == name };
    let Some(mut left) = name.strip_prefix(first) else { return false };
    let mut parts: Vec<&str> = rest.split('*').collect();
    let last = parts.pop().unwrap_or_default();
    for part in parts {
        // The earliest place leaves most for what comes behind.
        let Some((_, behind)) = left.split_once(part) else { return false };
        left = behind;
    }
    left.ends_with(last)
}

#[cfg(test)]
mod tests;
