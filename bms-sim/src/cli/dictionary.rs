//! `dictionary`: computes which faults every defect raises, how soon, and what it can be mistaken for.

use super::keeping::Keeping;
use super::progress::Progress;
use super::{Ended, complain, interrupt, seed, show, show_json};
use crate::case::nearest;
use crate::defect::Kind;
use crate::dictionary::{Confusions, Dictionary, Entry, Observation, Question, Settings, csv, markdown};
use crate::explain::words;
use crate::recording::file::GENERATOR;
use serde::Serialize;
use std::path::PathBuf;

/// What `dictionary` takes.
#[derive(Debug, clap::Args)]
pub(super) struct DictionaryOf {
    /// Only this defect, by its key in `list defects`; may be given several times
    #[arg(long, value_name = "KEY", value_parser = kind)]
    defect: Vec<Kind>,
    /// Only this observation; may be given several times
    #[arg(long, value_name = "KEY", value_parser = observation)]
    observation: Vec<usize>,
    /// How many severities of each defect, of either sign
    #[arg(long, value_name = "NUMBER", value_parser = clap::value_parser!(u8).range(2..=50))]
    severities: Option<u8>,
    /// Three severities, and no search for the edge of what is found
    #[arg(long, conflicts_with = "severities")]
    quick: bool,
    /// Only every so manieth defect of the list
    #[arg(long, value_name = "NUMBER", conflicts_with = "defect", value_parser = clap::value_parser!(u8).range(1..))]
    every: Option<u8>,
    /// Seed of all noise and scatter
    #[arg(long, value_name = "NUMBER", value_parser = seed, default_value_t = 1)]
    seed: u64,
    /// Print the table for notebooks instead of the page
    #[arg(long, conflicts_with_all = ["json", "check"])]
    csv: bool,
    /// Print one JSON document instead of the page
    #[arg(long, conflicts_with = "check")]
    json: bool,
    /// Print nothing, but hold this page to what is computed: every section of it when nothing was left out, else those of the defects chosen
    #[arg(long, value_name = "PAGE", conflicts_with_all = ["quick", "severities", "observation"])]
    check: Option<PathBuf>,
    #[command(flatten)]
    keeping: Keeping,
}

fn kind(key: &str) -> Result<Kind, String> {
    let known = Kind::ALL.iter().copied().find(|kind| kind.key() == key);
    known.ok_or_else(|| match nearest(key, Kind::ALL.iter().map(|kind| kind.key())) {
        Some(near) => format!("not known here; did you mean {near}?"),
        None => "not known here; accepted is a key that `list defects` prints".to_owned(),
    })
}

fn observation(key: &str) -> Result<usize, String> {
    let keys = || Observation::ALL.iter().map(|observation| observation.key);
    let place = keys().position(|known| known == key);
    place.ok_or_else(|| format!("not known here; accepted are {}", keys().collect::<Vec<_>>().join(", ")))
}

#[derive(Serialize)]
struct Document<'a> {
    schema: u32,
    generator: &'static str,
    seed: u64,
    entries: &'a [Entry],
    confusions: Confusions,
    cautions: &'static str,
}

impl DictionaryOf {
    pub(super) fn go(&self) -> Ended {
        self.compute().unwrap_or_else(|ended| ended)
    }

    fn settings(&self) -> Settings {
        let whole = Settings { seed: self.seed, ..Settings::whole() };
        let kinds = match self.defect.as_slice() {
            [] => whole.kinds.into_iter().step_by(self.every.unwrap_or(1).into()).collect(),
            chosen => whole.kinds.into_iter().filter(|kind| chosen.contains(kind)).collect(),
        };
        let all = whole.observations.iter().copied();
        let observations =
            all.filter(|place| self.observation.is_empty() || self.observation.contains(place));
        let severities = if self.quick { 3 } else { self.severities.map_or(whole.severities, usize::from) };
        let observations = observations.collect();
        Settings { kinds, observations, severities, edges: !self.quick, ..whole }
    }

    fn compute(&self) -> Result<Ended, Ended> {
        let settings = self.settings();
        let page = self.check.as_ref().map(|page| (page, std::fs::read_to_string(page)));
        if let Some((page, Err(error))) = &page {
            complain(&format!("{}: {error}", page.display()));
            return Err(Ended::NotWritten);
        }
        let header = header(&settings);
        let dictionary = Dictionary::new(settings).map_err(|trouble| bad(&trouble))?;
        let questions = dictionary.questions();
        let stop = interrupt::asked("what is not kept yet");
        let progress = |done| Progress::counted(questions.len(), done, "questions", self.keeping.quiet);
        let place = |entry: &Entry| questions.iter().position(|question| entry.answers(question));
        let work = |question: &Question| dictionary.answer(question, stop);
        let found = self.keeping.survey("dictionary", header, &questions, (stop, progress), place, work)?;
        Ok(match page {
            Some((path, Ok(page))) => {
                self.hold(&path.display().to_string(), &page, dictionary.settings(), &found)
            }
            _ => self.print(dictionary.settings(), &found),
        })
    }

    fn print(&self, settings: &Settings, entries: &[Entry]) -> Ended {
        if self.json {
            let document = Document {
                schema: 1,
                generator: GENERATOR,
                seed: settings.seed,
                entries,
                confusions: Confusions::of(entries),
                cautions: words::CAUTIONS,
            };
            return show_json(&document, Ended::AsExpected);
        }
        if self.csv {
            return match csv::table(entries) {
                Ok(table) => show(&table, Ended::AsExpected),
                Err(error) => bad(&error),
            };
        }
        show(&markdown::page(settings, entries), Ended::AsExpected)
    }

    /// Holds a page to what was computed, and says which lines it lacks.
    fn hold(&self, file: &str, page: &str, settings: &Settings, entries: &[Entry]) -> Ended {
        let whole = self.defect.is_empty() && self.every.is_none();
        let expected = if whole { markdown::page(settings, entries) } else { sections(entries) };
        let lines: std::collections::HashSet<&str> = page.lines().collect();
        let mut lacking: Vec<&str> = expected.lines().filter(|line| !lines.contains(line)).collect();
        let stray = if whole && page != expected {
            page.lines().filter(|line| !expected.contains(*line)).count()
        } else {
            0
        };
        if lacking.is_empty() && stray == 0 {
            let held = format!("{file}: holds what is computed, {} tables\n", entries.len());
            return show(if self.keeping.quiet { "" } else { &held }, Ended::AsExpected);
        }
        lacking.truncate(MOST_SHOWN);
        complain(&format!("{file}: is not what is computed; it lacks lines such as\n{}", lacking.join("\n")));
        Ended::Unexpected
    }
}

/// Lines that are shown of a page that does not hold.
const MOST_SHOWN: usize = 12;

fn sections(entries: &[Entry]) -> String {
    let mut done = Vec::new();
    let mut text = String::new();
    for entry in entries {
        if !done.contains(&entry.subject) {
            done.push(entry.subject);
            text += &markdown::section(entry.subject, entries);
        }
    }
    text
}

fn header(settings: &Settings) -> Vec<(&'static str, serde_json::Value)> {
    let kinds: Vec<&str> = settings.kinds.iter().map(|kind| kind.key()).collect();
    let under = settings.observations.iter().filter_map(|place| Observation::ALL.get(*place));
    vec![
        ("seed", settings.seed.into()),
        ("severities", settings.severities.into()),
        ("edges", settings.edges.into()),
        ("observations", under.map(|observation| observation.key).collect::<Vec<_>>().into()),
        ("defects", kinds.into()),
    ]
}

fn bad(error: &impl std::fmt::Display) -> Ended {
    complain(error);
    Ended::BadInput
}
