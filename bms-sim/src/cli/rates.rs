//! `rates`: how often noise alone accuses a sound pack that stands near a limit, down to rates that no plain run meets.

use super::keeping::Keeping;
use super::progress::Progress;
use super::{Ended, complain, interrupt, seed, show, show_json};
use crate::explain::words;
use crate::recording::file::GENERATOR;
use crate::survey::rare::page;
use crate::survey::rare::rates::{Outcome, Piece, Place, Row, pieces, places, rows};
use bms_core::Fault;
use serde::Serialize;
use std::path::PathBuf;

/// What `rates` takes.
#[derive(Debug, clap::Args)]
pub(super) struct Rates {
    /// Only this fault, by its key; may be given several times
    #[arg(long, value_name = "KEY", value_parser = fault)]
    fault: Vec<Fault>,
    /// Only every so manieth place of the list
    #[arg(long, value_name = "NUMBER", default_value_t = 1, value_parser = clap::value_parser!(u8).range(1..))]
    every: u8,
    /// Only what leaning and splitting find, without plain sampling beside it: a minute instead of ten
    #[arg(long)]
    quick: bool,
    /// Seed of all noise
    #[arg(long, value_name = "NUMBER", value_parser = seed, default_value_t = 1)]
    seed: u64,
    /// Print one JSON document instead of the page
    #[arg(long, conflicts_with = "check")]
    json: bool,
    /// Print nothing, but hold this page to what is computed of the places chosen; with --quick, without what plain sampling counts
    #[arg(long, value_name = "PAGE")]
    check: Option<PathBuf>,
    #[command(flatten)]
    keeping: Keeping,
}

fn fault(key: &str) -> Result<Fault, String> {
    let known: Vec<Fault> = places().iter().map(|place| place.situation.fault()).collect();
    let found = known.iter().copied().find(|fault| fault.key() == key);
    let mut keys: Vec<&str> = known.iter().map(|fault| fault.key()).collect();
    keys.dedup();
    found.ok_or_else(|| format!("accepted are {}", keys.join(", ")))
}

#[derive(Serialize)]
struct Document<'a> {
    schema: u32,
    generator: &'static str,
    seed: u64,
    rates: &'a [Row],
    cautions: &'static str,
}

impl Rates {
    pub(super) fn go(&self) -> Ended {
        self.find().unwrap_or_else(|ended| ended)
    }

    fn find(&self) -> Result<Ended, Ended> {
        let text = self.check.as_ref().map(|path| {
            std::fs::read_to_string(path).map_err(|error| {
                complain(&format!("{}: {error}", path.display()));
                Ended::NotWritten
            })
        });
        let text = text.transpose()?;
        let wanted = |place: &Place| self.fault.is_empty() || self.fault.contains(&place.situation.fault());
        let chosen: Vec<Place> = places().into_iter().filter(wanted).step_by(self.every.into()).collect();
        let work = pieces(&chosen, !self.quick);
        let stop = interrupt::asked("what is not kept yet");
        let progress = |done| Progress::counted(work.len(), done, "pieces", self.keeping.quiet);
        let place = |outcome: &Outcome| work.iter().position(|piece| outcome.is_of(piece));
        let play = |piece: &Piece| piece.work(self.seed, stop);
        let header = vec![("seed", self.seed.into())];
        let outcomes = self.keeping.survey("rates", header, &work, (stop, progress), place, play)?;
        let rows = rows(&chosen, &outcomes).map_err(|error| {
            complain(&error);
            Ended::BadInput
        })?;
        let ended = Self::judged(&rows);
        Ok(match text {
            Some(text) => self.held(&text, &chosen, &rows, ended),
            None if self.json => {
                let cautions = words::CAUTIONS;
                show_json(
                    &Document { schema: 1, generator: GENERATOR, seed: self.seed, rates: &rows, cautions },
                    ended,
                )
            }
            None => show(&page::page(self.seed, &chosen, &rows), ended),
        })
    }

    /// Says on stderr what cannot be relied on.
    fn judged(rows: &[Row]) -> Ended {
        let mut ended = Ended::AsExpected;
        for row in rows {
            let what = |says: &str| complain(&format!("{}, place {}: {says}", row.fault, row.place));
            if !row.a_tick.trusted() {
                what("the estimate hangs on a few weights or scatters by more than itself");
                ended = Ended::Unexpected;
            }
            if !row.agrees() {
                what("plain sampling counts another rate");
                ended = Ended::Unexpected;
            }
        }
        ended
    }

    /// Holds a page to what was found, and says which lines it lacks.
    fn held(&self, text: &str, places: &[Place], rows: &[Row], ended: Ended) -> Ended {
        let expected = page::lines(places, rows, !self.quick);
        let lacks: Vec<&String> =
            expected.iter().filter(|line| !text.lines().any(|found| found.starts_with(*line))).collect();
        let page = self.check.as_ref().map_or_else(String::new, |path| path.display().to_string());
        if lacks.is_empty() {
            let held = format!("{page}: holds what is computed in {} of its lines\n", rows.len());
            return show(if self.keeping.quiet { "" } else { &held }, ended);
        }
        let lacks: Vec<&str> = lacks.into_iter().map(String::as_str).collect();
        complain(&format!("{page}: is not what is computed; it lacks lines such as\n{}", lacks.join("\n")));
        Ended::Unexpected
    }
}
