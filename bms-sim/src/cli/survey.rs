//! `survey`: draws many packs, lets each have its defect and stay sound under every setting tried, and counts.

use super::aside::Aside;
use super::keeping::Keeping;
use super::progress::Progress;
use super::{Ended, complain, interrupt, refuse, seed, show, show_json};
use crate::case::CaseError;
use crate::explain::words;
use crate::recording::export::{About, ExportError, Format};
use crate::recording::file::{GENERATOR, hexadecimal};
use crate::survey::{Prefix, Summary, Survey, markdown, pictures, tables};
use serde::Serialize;
use std::fs::File;
use std::io::Write as _;
use std::path::{Path, PathBuf};

/// What `survey` takes.
#[derive(Debug, clap::Args)]
pub(super) struct SurveyOf {
    /// A survey file; the module `survey` says what stands in it
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Write everything into this folder besides: summary as JSON, Markdown and CSV, each run as Parquet, pictures as SVG
    #[arg(long, value_name = "FOLDER")]
    to: Option<PathBuf>,
    /// Play only this part of the runs, as 2/5, and print nothing: `merge` puts the parts together
    #[arg(long, value_name = "PART/OF", value_parser = shard, conflicts_with_all = ["to", "json"])]
    shard: Option<Shard>,
    /// Draw everything by this seed instead of the survey's: fresh packs
    #[arg(long, value_name = "NUMBER", value_parser = seed)]
    seed: Option<u64>,
    /// Print one JSON document instead of the page
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    keeping: Keeping,
}

/// A part of the runs.
#[derive(Clone, Copy, Debug)]
struct Shard {
    /// Which, from 1.
    part: usize,
    of: usize,
}

fn shard(typed: &str) -> Result<Shard, String> {
    let parts = typed.split_once('/').and_then(|(part, of)| Some((part.parse().ok()?, of.parse().ok()?)));
    let whole = parts.filter(|(part, of)| (1..=*of).contains(part));
    let accepted = || "accepted is a part and the number of parts, as 2/5".to_owned();
    whole.map(|(part, of)| Shard { part, of }).ok_or_else(accepted)
}

#[derive(Serialize)]
struct Document<'a> {
    schema: u32,
    generator: &'static str,
    title: &'a str,
    digest: String,
    seed: u64,
    #[serde(flatten)]
    summary: &'a Summary,
    cautions: &'static str,
}

impl<'a> Document<'a> {
    fn of(survey: &'a Survey, summary: &'a Summary) -> Self {
        let digest = hexadecimal(survey.digest);
        let (title, seed) = (survey.title.as_str(), survey.seed);
        Self { schema: 1, generator: GENERATOR, title, digest, seed, summary, cautions: words::CAUTIONS }
    }
}

impl SurveyOf {
    pub(super) fn go(&self) -> Ended {
        self.play().unwrap_or_else(|ended| ended)
    }

    fn play(&self) -> Result<Ended, Ended> {
        let mut survey = Survey::read(&self.file).map_err(|error| mistaken(&error))?;
        survey.seed = self.seed.unwrap_or(survey.seed);
        if let Some(shard) = self.shard {
            let all = 0..survey.prefixes();
            let pieces: Vec<usize> = all.skip(shard.part - 1).step_by(shard.of).collect();
            self.played(&survey, &pieces)?;
            return Ok(Ended::AsExpected);
        }
        let prefixes = self.until_narrow(&survey)?;
        let summary = Summary::of(&survey, &prefixes);
        if let Some(folder) = &self.to {
            self.write(folder, &survey, &prefixes, &summary)?;
        }
        Ok(if self.json {
            show_json(&Document::of(&survey, &summary), Ended::AsExpected)
        } else {
            show(
                &format!("{}\n\n{}\n", markdown::page(&survey, &summary).trim_end(), words::CAUTIONS),
                Ended::AsExpected,
            )
        })
    }

    /// All prefixes, or as many as the rule for ending wants. Where the rule looks depends on nothing but their number.
    fn until_narrow(&self, survey: &Survey) -> Result<Vec<Prefix>, Ended> {
        let all = survey.prefixes();
        let every = survey.stop.map_or(all, |stop| stop.every).max(1);
        let mut upto = 0;
        loop {
            upto = (upto + every).min(all);
            let pieces: Vec<usize> = (0..upto).collect();
            let mut prefixes = self.played(survey, &pieces)?;
            if let Some(enough) = survey.ends_after(&prefixes) {
                prefixes.truncate(enough);
                return Ok(prefixes);
            }
            if upto == all {
                return Ok(prefixes);
            }
        }
    }

    fn played(&self, survey: &Survey, pieces: &[usize]) -> Result<Vec<Prefix>, Ended> {
        let header = vec![("digest", hexadecimal(survey.digest).into()), ("seed", survey.seed.into())];
        let stop = interrupt::asked("what is not kept yet");
        let progress = |done| Progress::counted(pieces.len(), done, "prefixes", self.keeping.quiet);
        let place = |prefix: &Prefix| pieces.binary_search(&prefix.prefix.checked_sub(1)?).ok();
        let work = |piece: &usize| survey.play(*piece, stop);
        self.keeping.survey(&survey.name, header, pieces, (stop, progress), place, work)
    }

    /// Writes each file aside and gives it its name once it is whole. What was there of the same survey is written over.
    fn write(
        &self,
        folder: &Path,
        survey: &Survey,
        prefixes: &[Prefix],
        summary: &Summary,
    ) -> Result<(), Ended> {
        std::fs::create_dir_all(folder).map_err(|error| {
            complain(&format!("{}: {error}", folder.display()));
            Ended::NotWritten
        })?;
        let facts = vec![
            ("generator", GENERATOR.to_owned()),
            ("survey_digest", hexadecimal(survey.digest)),
            ("seed", survey.seed.to_string()),
        ];
        let about = About { title: survey.title.clone(), facts };
        let file = |name: &str, write: &dyn Fn(&File) -> Result<(), ExportError>| {
            let path = folder.join(name);
            let aside = Aside::begin(&path, true).map_err(|error| refuse(&error))?;
            write(aside.file()).map_err(|error| {
                complain(&format!("{}: {error}", path.display()));
                Ended::NotWritten
            })?;
            aside.keep().map_err(|error| refuse(&error))
        };
        file("runs.parquet", &|to| {
            let mut table = Format::Parquet.begin(to, &tables::run_columns(survey), &about)?;
            tables::write_runs(survey, prefixes, &mut *table)?;
            table.finish()
        })?;
        file("settings.csv", &|to| {
            let mut table = Format::Csv.begin(to, &tables::setting_columns(survey), &about)?;
            tables::write_settings(summary, &mut *table)?;
            table.finish()
        })?;
        file("summary.md", &|mut to| Ok(to.write_all(markdown::page(survey, summary).as_bytes())?))?;
        file("summary.json", &|mut to| {
            let document = serde_json::to_string_pretty(&Document::of(survey, summary));
            Ok(to.write_all((document.map_err(std::io::Error::other)? + "\n").as_bytes())?)
        })?;
        let drawn = pictures::all(survey, prefixes, summary).map_err(|error| {
            complain(&error);
            Ended::NotWritten
        })?;
        for (name, picture) in drawn {
            file(&name, &|mut to| Ok(to.write_all(picture.as_bytes())?))?;
        }
        if !self.keeping.quiet {
            eprintln!("written to {}", folder.display());
        }
        Ok(())
    }
}

/// Says on stderr what is wrong with a survey or a case of it.
fn mistaken(error: &CaseError) -> Ended {
    match error {
        CaseError::Unreadable { .. } => {
            complain(error);
            Ended::NotWritten
        }
        CaseError::Mistaken(_) => {
            anstream::eprintln!("{}", error.excerpt(true));
            Ended::BadInput
        }
    }
}
