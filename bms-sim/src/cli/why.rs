//! `why`: the chain that led to a fault, the values against their limits, how far it was, and the verdict.

use super::rationale::{self, Asked, Question};
use super::source::{Explains, Source, unplayed};
use super::{Ended, complain, show, show_json, titled};
use crate::case::nearest;
use crate::defect::{Defect, Kind};
use crate::explain::chain::Chain;
use crate::explain::contrast::Contrast;
use crate::explain::contrast::faults::BetweenFaults;
use crate::explain::{self, document, words};
use crate::recording::Recording;
use bms_core::Fault;

/// What `why` takes.
#[derive(Debug, clap::Args)]
pub(super) struct Why {
    #[command(flatten)]
    source: Source,
    /// The fault, by its key in `list faults`; every one that was Confirmed when left out
    #[arg(value_parser = fault)]
    fault: Option<Fault>,
    /// Print one JSON document instead of the text: with every fault, or with what --not and --against say
    #[arg(long)]
    json: bool,
    /// Say instead why it is FAULT and not this one: what the firmware saw of both, when the two first parted, whether one follows from the
    /// other, or what has to be done before they part. Example: `cell_resistance_high --not cell_reading_frozen`
    #[arg(long = "not", value_name = "FAULT", value_parser = fault, requires = "fault", conflicts_with = "outcome")]
    other: Option<Fault>,
    /// What the distances are about: what would have kept it from happening, or made it happen
    #[arg(long, value_name = "WHAT", value_enum)]
    outcome: Option<Asked>,
    /// Say instead what separates the case from the same one with this defect in place of its own; place and severity as in a case file,
    /// the first place and the usual severity when left out. Example: `--against loose_joint_tap_below@37=2`
    #[arg(long, value_name = "DEFECT[@PLACE][=SEVERITY]", value_parser = defect, conflicts_with_all = ["fault", "outcome"])]
    against: Option<Defect>,
    /// Say instead what led to what the firmware did at this time: each refusal, each move of the contactors, each limit on current
    #[arg(long, value_name = "SECONDS", value_parser = seconds, allow_hyphen_values = true, conflicts_with_all = ["fault", "json", "outcome", "against"])]
    at: Option<f64>,
}

/// A time in the story.
fn seconds(typed: &str) -> Result<f64, String> {
    let known = typed.parse().ok().filter(|seconds: &f64| seconds.is_finite() && *seconds >= 0.0);
    known.ok_or_else(|| "accepted are seconds from the start, 0 or more".to_owned())
}

/// A fault by its key, or the one that was probably meant.
fn fault(key: &str) -> Result<Fault, String> {
    let known = Fault::ALL.into_iter().find(|fault| fault.key() == key);
    known.ok_or_else(|| match nearest(key, Fault::ALL.into_iter().map(Fault::key)) {
        Some(near) => format!("not known here; did you mean {near}?"),
        None => "not known here; accepted is a key that `list faults` prints".to_owned(),
    })
}

/// A defect as the command line names it.
fn defect(typed: &str) -> Result<Defect, String> {
    let (what, severity) =
        typed.split_once('=').map_or((typed, None), |(what, severity)| (what, Some(severity)));
    let (key, place) = what.split_once('@').map_or((what, None), |(key, place)| (key, Some(place)));
    let known = Kind::ALL.iter().find(|kind| kind.key() == key);
    let kind = *known.ok_or_else(|| match nearest(key, Kind::ALL.iter().map(|kind| kind.key())) {
        Some(near) => format!("not known here; did you mean {near}?"),
        None => "not known here; accepted is a key that `list defects` prints".to_owned(),
    })?;
    let place = match place {
        None => 0,
        Some(place) => {
            let named = kind.place().names().iter().position(|name| *name == place);
            let counted = place.parse::<usize>().ok().and_then(|place| place.checked_sub(1));
            named
                .or(counted)
                .ok_or("accepted as a place is its number, from 1, or its name in a case file")?
        }
    };
    let (low, high) = kind.range();
    let severity = match severity {
        None => kind.usual(),
        Some(severity) => {
            let number = severity.parse().ok().filter(|number| (low..=high).contains(number));
            number.ok_or_else(|| format!("accepted as a severity is {low} to {high} {}", kind.unit()))?
        }
    };
    Ok(Defect { severity, ..Defect::usual(kind, place, 0.0) })
}

impl Why {
    pub(super) fn go(&self) -> Ended {
        if let Some(other) = self.other.filter(|other| Some(*other) == self.fault) {
            complain(&format!(
                "--not = {}: accepted is another fault than the one that is asked about",
                other.key()
            ));
            return Ended::BadInput;
        }
        self.source.go(self)
    }
}

impl Explains for Why {
    fn explain<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        recording: Recording<CELLS, THERMISTORS>,
        complete: bool,
    ) -> Result<Ended, Ended> {
        let recording = &recording;
        if let Some(seconds) = self.at {
            let said = explain::why_then(recording, seconds).map_err(|error| unplayed(&error))?;
            return Ok(alone(recording, &said));
        }
        let question = Question { fault: self.fault, outcome: self.outcome };
        let distances = if self.against.is_some() || self.other.is_some() {
            Vec::new()
        } else {
            question.distances(recording)
        };
        let found = rationale::found(recording, distances, self.source.is_quiet());
        let (account, answers) = found.map_err(|error| unplayed(&error))?;
        if let Some(other) = self.against {
            let of = account
                .chains
                .iter()
                .find_map(Chain::cause)
                .or((!recording.case.defects.is_empty()).then_some(0));
            let contrast = Contrast::between::<CELLS, THERMISTORS>(&recording.case, of, other);
            let contrast = contrast.map_err(|error| unplayed(&error))?;
            if self.json {
                let document = document::between_defects(&contrast, &recording.case);
                return Ok(show_json(&document, Ended::AsExpected));
            }
            return Ok(alone(recording, &words::contrast(&contrast, &recording.case)));
        }
        if let (Some(fault), Some(other)) = (self.fault, self.other) {
            let found = BetweenFaults::of(recording, &account, [fault, other]);
            let found = found.map_err(|error| unplayed(&error))?;
            if self.json {
                let document = document::between_faults(&found, &recording.case);
                return Ok(show_json(&document, Ended::AsExpected));
            }
            let said = words::between_faults(&found, &recording.case).join("\n") + "\n";
            return Ok(alone(recording, &said));
        }
        if self.json {
            let document = document::document(recording, &account, !recording.end.over());
            return Ok(show_json(&document.with_distances(&answers, &recording.case), Ended::AsExpected));
        }
        let said = question.answered(recording, &account, &answers, complete);
        Ok(alone(recording, &said.map_err(|error| unplayed(&error))?))
    }
}

/// One answer alone, of which run it is, and the cautions.
fn alone<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    said: &str,
) -> Ended {
    let (title, played) = (&recording.case.title, words::played(recording));
    show(&titled(&format!("{title}\n\n{said}\n{played}\n{}\n", words::CAUTIONS)), Ended::AsExpected)
}
