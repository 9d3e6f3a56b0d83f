//! # Why
//!
//! From recorded evidence and from truth: what happened, what led to what, and the sentences for all of it. Nothing here is
//! guessed: every figure is read from evidence or from the world.

pub mod at_length;
pub mod blind;
pub mod chain;
pub mod channels;
pub mod compare;
pub mod contrast;
pub mod departs;
pub mod distance;
pub mod document;
pub mod judged;
pub mod lead;
pub mod picture;
pub mod silence;
pub mod sound;
pub mod stop;
pub mod story;
pub mod verdict;
pub mod words;

use crate::case::{Case, StartError};
use crate::recording::Recording;
use bms_core::Fault;
use chain::{Chain, Link, LinkKind, Since};
use judged::Judged;
use silence::Quiet;
use verdict::Verdict;

/// What was found out about a played case by playing it again: without each defect, and without reactions.
#[derive(Clone, Debug, PartialEq)]
pub struct Account {
    /// Dangerous or not.
    pub verdict: Verdict,
    /// How the firmware did, held against that.
    pub judged: Judged,
    /// What led to each fault that became Confirmed, in order of time.
    pub chains: Vec<Chain>,
    /// What each defect did that no chain begins with.
    pub quiet: Vec<Quiet>,
}

impl Account {
    /// The account of a played case.
    ///
    /// # Errors
    /// When the type has other counts than the case's pack.
    pub fn of<const CELLS: usize, const THERMISTORS: usize>(
        recording: &Recording<CELLS, THERMISTORS>,
    ) -> Result<Self, StartError> {
        let confirmed = recording.confirmed().into_iter().map(|(_, seen)| seen.fault);
        let chains = confirmed.map(|fault| Chain::of(recording, fault)).collect::<Result<Vec<_>, _>>()?;
        let chains: Vec<Chain> = chains.into_iter().flatten().collect();
        let verdict = Verdict::of(recording)?;
        let quiet = silence::of(recording, &chains)?;
        Ok(Self { judged: Judged::of(recording, &verdict, &chains), verdict, chains, quiet })
    }

    /// Why nothing was said, defect by defect of which nothing was; or that nothing is wrong, where nothing is.
    #[must_use]
    pub fn silence_in_words(&self, case: &Case) -> Vec<String> {
        if case.defects.is_empty() && self.chains.is_empty() {
            return vec![words::nothing_wrong()];
        }
        self.quiet.iter().flat_map(|quiet| words::quiet(quiet, case)).collect()
    }

    /// Whether the pack is dangerous and how the firmware did, in sentences.
    #[must_use]
    pub fn verdict_in_words(&self, case: &Case) -> Vec<String> {
        let mut sentences = words::verdict(&self.verdict, case);
        sentences.push(words::judged(&self.judged));
        sentences
    }

    /// How long it took from cause to open contactors by a chain, and how much longer to the hazard had nothing reacted.
    #[must_use]
    pub fn times_in_words(&self, chain: &Chain, case: &Case) -> Vec<String> {
        let until_open = chain.until_open().map(|(since, took)| words::until_open(since, took));
        let margin = chain.cause().and(chain.reacted()).map(|at| words::margin(&self.verdict, case, at));
        until_open.into_iter().chain(margin).collect()
    }

    /// How long it took to open the contactors, and since when that counts, of the first fault that opened them.
    #[must_use]
    pub fn until_open(&self) -> Option<(Since, f64)> {
        self.chains.iter().find_map(Chain::until_open)
    }

    /// The chain of a fault, if it became Confirmed.
    #[must_use]
    pub fn chain(&self, fault: Fault) -> Option<&Chain> {
        self.chains.iter().find(|chain| chain.fault == fault)
    }
}

/// What would have changed an outcome, line by line.
#[must_use]
pub fn distances(answer: &distance::Answer, case: &Case) -> String {
    let heading = words::distances_heading(answer) + "\n";
    answer
        .distances
        .iter()
        .fold(heading, |text, distance| text + &format!("  {}\n", words::distance(answer, distance, case)))
}

/// The faults that came nearest without being Confirmed, line by line, the nearest first; empty when none came near.
#[must_use]
pub fn nearest<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
) -> String {
    let near = story::near(recording);
    let heading = if near.is_empty() { String::new() } else { words::nearest_heading() + "\n" };
    near.iter().fold(heading, |text, near| text + &format!("  {}\n", words::nearest(near)))
}

/// What led to each refusal, move and limit of the tick of this time, line by line.
///
/// # Errors
/// When the type has other counts than the case's pack.
pub fn why_then<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    seconds: f64,
) -> Result<String, StartError> {
    let leads = lead::at(recording, seconds)?;
    if leads.is_empty() {
        return Ok(words::nothing_then(seconds) + "\n");
    }
    let by_defect = |lead: &lead::Lead| matches!(lead.links[0].what, LinkKind::DefectBegins(_));
    let verdict = if leads.iter().any(by_defect) { Some(Verdict::of(recording)?) } else { None };
    let told = leads.iter().map(|lead| {
        let margin = verdict.as_ref().filter(|_| by_defect(lead));
        let margin = margin.map(|verdict| words::margin(verdict, &recording.case, seconds) + "\n");
        links(&lead.links, &recording.case) + &margin.unwrap_or_default()
    });
    Ok(told.collect::<Vec<_>>().join("\n"))
}

/// Links with their times, line by line.
fn links(links: &[Link], case: &Case) -> String {
    // A long story has longer times.
    let clocks = links.iter().map(|link| words::clock(link.seconds).chars().count());
    let width = clocks.max().unwrap_or(0).max(10);
    let mut text = format!("{:>7} {:>width$}  {:>9}\n", "tick", "time", "after");
    let mut before = None;
    for link in links {
        let after = before
            .map_or_else(String::new, |before: f64| format!("+{}", words::seconds(link.seconds - before)));
        let sentence = words::link(link, case);
        text += &format!("{:>7} {:>width$}  {after:>9}  {sentence}\n", link.tick, words::clock(link.seconds));
        before = Some(link.seconds);
    }
    text
}

/// Why a fault was Confirmed, line by line: its chain, and the values it rests on; or how near it came.
///
/// # Errors
/// When the type has other counts than the case's pack.
pub fn why<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    account: &Account,
    fault: Fault,
) -> Result<String, StartError> {
    let mut text = words::why(fault);
    // One that was only suspected has no place in the account.
    let chain = match account.chain(fault) {
        Some(chain) => Some(chain.clone()),
        None => Chain::of(recording, fault)?,
    };
    let Some(chain) = chain else {
        text += &words::never_suspected(recording.nearest.get(fault as usize).and_then(Option::as_ref));
        text.push('\n');
        return Ok(text);
    };
    text += &links(&chain.links, &recording.case);
    for sentence in account.times_in_words(&chain, &recording.case) {
        text += &format!("{sentence}\n");
    }
    let confirmed = chain.links.iter().any(|link| matches!(link.what, LinkKind::Confirmed(_)));
    if fault == Fault::CellResistanceHigh && confirmed {
        text += &words::load_steps(&recording.load_steps, &recording.case);
    }
    Ok(text)
}
