//! `false-alarms`: lets sound packs work and rest in every corner of what a sound pack may be, and counts what is found wrong with them.

use super::keeping::Keeping;
use super::progress::Progress;
use super::{Ended, complain, interrupt, seed, show, show_json};
use crate::healthy::{self, Corner, Story, Sum};
use crate::recording::file::GENERATOR;
use serde::Serialize;

/// What `false-alarms` takes.
#[derive(Debug, clap::Args)]
pub(super) struct FalseAlarms {
    /// Only every so manieth corner
    #[arg(long, value_name = "NUMBER", default_value_t = 1, value_parser = clap::value_parser!(u16).range(1..))]
    every: u16,
    /// Only this corner, by its number, counted from 1
    #[arg(long, value_name = "NUMBER", conflicts_with = "every")]
    corner: Option<usize>,
    /// How many seeds of noise and scatter for each corner
    #[arg(long, value_name = "NUMBER", default_value_t = 1, value_parser = clap::value_parser!(u16).range(1..))]
    seeds: u16,
    /// The first of these seeds
    #[arg(long, value_name = "NUMBER", value_parser = seed, default_value_t = 1)]
    seed: u64,
    /// Print one JSON document instead of the text
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    keeping: Keeping,
}

#[derive(Serialize)]
struct Document {
    schema: u32,
    generator: &'static str,
    seed: u64,
    #[serde(flatten)]
    sum: Sum,
}

impl FalseAlarms {
    pub(super) fn go(&self) -> Ended {
        self.count().unwrap_or_else(|ended| ended)
    }

    fn count(&self) -> Result<Ended, Ended> {
        let corners = healthy::corners(self.seed, self.seeds.into());
        let chosen: Vec<usize> = match self.corner {
            None => (0..corners.len()).step_by(self.every.into()).collect(),
            Some(number) if (1..=corners.len()).contains(&number) => vec![number - 1],
            Some(number) => {
                complain(&format!("--corner = {number}: accepted is 1 to {}", corners.len()));
                return Err(Ended::BadInput);
            }
        };
        let header = vec![("seed", self.seed.into()), ("seeds", self.seeds.into())];
        let stop = interrupt::asked("what is not kept yet");
        let place = |story: &Story| chosen.iter().position(|piece| story.corner == piece + 1);
        let work = |piece: &usize| healthy::play(*piece, &corners[*piece], stop);
        let progress = |done| Progress::counted(chosen.len(), done, "packs", self.keeping.quiet);
        let stories = self.keeping.survey("false-alarms", header, &chosen, (stop, progress), place, work)?;
        Ok(self.tell(&corners, &stories))
    }

    fn tell(&self, corners: &[Corner], stories: &[Story]) -> Ended {
        let sum = Sum::of(corners, stories);
        let ended = if sum.sound() { Ended::AsExpected } else { Ended::Unexpected };
        if self.json {
            return show_json(&Document { schema: 1, generator: GENERATOR, seed: self.seed, sum }, ended);
        }
        show(&sum.text(), ended)
    }
}
