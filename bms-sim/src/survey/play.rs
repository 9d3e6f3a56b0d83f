//! # Playing a survey
//!
//! A piece of the work is a *prefix*: one drawn pack under one drawn duty, up to the onset of its first defect. From there it is played on
//! without the defect, which shows false alarms, and with it once for each of its runs, which differ in how bad the defect is and where.
//! What comes before is played once for all of them.
//!
//! Every draw is a pure function of the survey's seed, the number of the run or prefix, and the name of what is drawn. So a run is the same
//! whichever machine plays it and whatever is played besides.

use super::abreast::Abreast;
use super::row::{Prefix, Run};
use super::vary::{Build, What};
use super::{Survey, hazard};
use crate::case::{Case, Pack, StartError};
use crate::world::noise::Noise;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

/// A run as it was drawn.
pub(super) struct Drawn {
    values: Vec<f64>,
    seed: u64,
    /// The stories, one for each setting.
    pub(super) cases: Vec<Arc<Case>>,
}

impl Survey {
    /// Plays a prefix, by its number from 0; nothing when it was stopped.
    ///
    /// # Errors
    /// When a world cannot be built.
    pub fn play(&self, prefix: usize, stop: &AtomicBool) -> Result<Option<Prefix>, StartError> {
        let of = self.case_of(prefix);
        match self.cases.get(of).map(|case| case.pack) {
            Some(Pack::Crane) => self.play_pack::<96, 16>(prefix, of, stop),
            Some(Pack::Trainer) => self.play_pack::<16, 8>(prefix, of, stop),
            None => Ok(None),
        }
    }

    fn play_pack<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        prefix: usize,
        of: usize,
        stop: &AtomicBool,
    ) -> Result<Option<Prefix>, StartError> {
        let runs: Vec<usize> = self.runs_of(prefix).collect();
        let drawn: Vec<Drawn> = runs.iter().map(|run| self.drawn(*run, of)).collect();
        let Some(first) = drawn.first() else { return Ok(None) };
        let counts = (0..self.settings.len()).map(|setting| self.counts_of(setting)).collect();
        let build = Build::of(self.named().zip(first.values.iter().copied()));
        let mut shared = Abreast::<CELLS, THERMISTORS>::new(&first.cases, build, counts)?;
        let onset_seconds = onset(&first.cases);
        if !shared.play_to(milliseconds(onset_seconds), stop) {
            return Ok(None);
        }
        let mut sound = shared.clone();
        let without: Vec<Arc<Case>> =
            first.cases.iter().map(|case| Arc::new(case.without_defects())).collect();
        sound.turn_to(&without);
        let Some(sound) = sound.play_out(stop) else { return Ok(None) };
        let mut played = Prefix { prefix: prefix + 1, sound, runs: Vec::new() };
        for (run, drawn) in runs.iter().zip(drawn) {
            if onset_seconds.is_infinite() {
                break;
            }
            let mut broken = shared.clone();
            broken.turn_to(&drawn.cases);
            let Some(fates) = broken.play_out(stop) else { return Ok(None) };
            let stands = shared.of_first();
            let look = |within| hazard::of::<CELLS, THERMISTORS>(&drawn.cases, (build, stands), within, stop);
            let hazard_seconds = match self.hazard_within_seconds.map(look).transpose()? {
                Some(None) => return Ok(None),
                Some(Some(looked)) => looked.hazard_seconds,
                None => None,
            };
            let Drawn { values, seed, .. } = drawn;
            let (run, case) = (run + 1, of + 1);
            played.runs.push(Run { run, case, seed, drawn: values, onset_seconds, fates, hazard_seconds });
        }
        Ok(Some(played))
    }

    /// Which case a prefix is of.
    fn case_of(&self, prefix: usize) -> usize {
        let share = self.share(prefix, "case");
        #[expect(
            clippy::cast_precision_loss,
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a place in a short list"
        )]
        let place = (share * self.cases.len() as f64) as usize;
        place.min(self.cases.len().saturating_sub(1))
    }

    /// What varies.
    fn named(&self) -> impl Iterator<Item = What> {
        self.vary.iter().map(|vary| vary.what)
    }

    pub(super) fn drawn(&self, run: usize, of: usize) -> Drawn {
        let prefix = run / self.runs_a_prefix;
        let draw = |vary: &super::Vary| {
            let number = if vary.what.begins_at_onset() { run } else { prefix };
            vary.distribution.value(self.share(number, &vary.name))
        };
        let values: Vec<f64> = self.vary.iter().map(draw).collect();
        let seed = self.bits(prefix, "seed") >> 1;
        let story = |case: &Arc<Case>| {
            let mut case = Case::clone(case);
            case.seed = seed;
            for (what, value) in self.named().zip(&values) {
                what.write(&mut case, *value);
            }
            Arc::new(case)
        };
        let cases = self.settings.iter().filter_map(|setting| setting.cases.get(of)).map(story).collect();
        Drawn { values, seed, cases }
    }

    /// Where a draw lies in its distribution, inside of 0 … 1.
    fn share(&self, number: usize, what: &str) -> f64 {
        // 53 bits, in the middle of each step: never 0 and never 1.
        #[expect(clippy::cast_precision_loss, reason = "52 bits fit")]
        let share = ((self.bits(number, what) >> 12) as f64 + 0.5) / 4_503_599_627_370_496.0;
        share
    }

    fn bits(&self, number: usize, what: &str) -> u64 {
        let name = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(what.as_bytes());
        Noise::new(self.seed).of_run(number as u64, name)
    }
}

/// When the first defect begins, in seconds; infinite without one.
fn onset(cases: &[Arc<Case>]) -> f64 {
    let defects = cases.first().into_iter().flat_map(|case| &case.defects);
    defects.map(|defect| defect.onset_seconds).fold(f64::INFINITY, f64::min)
}

/// A time in whole milliseconds, rounded down.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a story is 60 days at most; infinite is the largest"
)]
fn milliseconds(seconds: f64) -> u64 {
    (seconds * 1_000.0) as u64
}
