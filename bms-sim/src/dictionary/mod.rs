//! # The dictionary of defects, computed
//!
//! Which faults does a defect raise, how soon, and can it be mistaken for another one? Nobody writes that down by hand: every defect of
//! the [one list](crate::defect::Kind) is played at several severities under several [observations](Observation), each beside
//! its twin without the defect, and what comes out is the dictionary.
//!
//! | of each defect, severity, observation | is |
//! | --- | --- |
//! | faults | what became Confirmed, in order of time, after how long, where, with which reaction |
//! | belief | the strongest of these reactions |
//! | danger | the [verdict](crate::explain::verdict) from truth: whether a bound is passed, reactions ignored, and when; and whether it is in the observation itself |
//! | measured | which channels show it at all, by more than their own errors |
//!
//! An observation ends with its story, or a minute after the contactors stand open by a fault that demands it: what follows is the
//! workshop's.
//!
//! For a defect that can grow, the edges of what is found lie between two of the severities tried. Each is searched by halving on a log
//! scale until its two sides are less than a tenth apart; what lies between two severities with the same outcome is taken to have it too.
//!
//! **Confusion.** Two defects are confused under an observation when their *pictures* are the same at some severity of each: the same
//! faults in the same order at the same places, and the same channels that show anything. Those that share a picture under every
//! observation cannot be told apart by anything in this list of observations.
//!
//! # What looks alike, and what separates it
//!
//! What the trade asks at a sign that has several causes, held against the table that ships in `examples/dictionary.md` (seed 1):
//!
//! | looks like | could be | in the table |
//! | --- | --- | --- |
//! | a sensor at the cold rail | open thermistor; real cold | `thermistor_open` names the rail after 220 ms. A reading displaced by −60 °C in the cold stands at the rail too, and is not told from it |
//! | a sensor too high | hot cell; moisture | a cell of 330 W and more: `temperature_rising_fast`; one of 22 W where it stands for ten minutes: `thermistor_stray`. Moisture of 28 kΩ and less: `thermistor_jump` at work. Weaker ones raise nothing: moisture moves its thermistor alone, heat the cell's voltage too |
//! | a sensor high in the cold only | moisture; really warmer | 160 kΩ: a jump at −20 °C, nothing at 18 °C. At single strengths a displaced reading gives the same picture |
//! | a cell low under load | resistance in the cell; loose joint | not told apart: `cell_resistance_high` has one place for both. A picture holds no growth with time, no cold, no second tap, and those would separate them |
//! | the same | corroded sense wire | told apart: no load moves it; `sense_wire_open` by the test current, from some 400 Ω on |
//! | a cell low always | charge; leak; channel | where they are found they differ. A charge of 3 Ah less and a lost capacity raise nothing, and can give one picture |
//! | two neighbours shifted | wire open; corroded; swapped | open: both voltages follow the wire's fault. Corroded: the wire alone. Swapped: the voltages come first, and the wire named is the one above |
//! | the link never rises | contactor; resistor; short; dead reading; open string | contactor: its feedback, `precharge_stuck_open`. Short: `precharge_resistor_hot` besides. Open string: at once. Resistor: `precharge_flat`. A dead reading: the cross voltages deny it, `link_reading_implausible` |
//! | the link rises too fast | lost capacitance | found from some 55 % on; less is only measured |
//! | the link stays up | weld; bleed-down open; motor; reading frozen | a weld: `positive_welded`, as its contact says. Without bleed-down the contact says open, and `link_stays_live` comes alone. A frozen reading: `link_reading_implausible` before it |
//! | a weld, feedback says open | weld; leak on the load's side | the leak alone raises no weld: the open link hangs at no pole. `insulation_low` where the leak is that low; weaker ones are only measured |
//! | one cell loses charge at rest | leak; bleed switch | the switch after three observations, `bleed_path_stuck_on`, or `bleed_path_stuck_off` once it is told to bleed; a leak as heat or `internal_short`, at 60 % of charge below some 10 Ω, in a full pack, where the curve is steep, below 135 Ω; weaker ones need more than two and a half days |
//! | a hot pack does not get colder | fan; airflow; heated cell; hanging sensor | the fan by its tacho after 300 s, an airflow that has lost 65 % and more by the temperature: `cooling_failed` both. A cell of 22 W gives that too, between two of over-temperature; a sensor that hangs gives it first and `thermistor_frozen` 7 min later: wrong, and on the safe side |
//! | a sensor lags behind its cell | detached thermistor | `thermistor_stray` from some 75 % on, where a warm pack goes into the freezer; in any other story nothing |
//!
//! Three rows surprise and are right. A resistance of 200 mΩ in the cold and any in a top-up charge are critical and raise nothing: the limit of
//! current follows the lowest and the highest cell, so the pack is held back before a fault is due; the verdict ignores limits as it ignores
//! reactions. A cell that holds too much in a top-up charge is kept from overfilling the same way. A cell that has lost capacity
//! is not found by name, since no fault watches capacity, and its rest voltage is that of the others; it is critical later than the stories end,
//! or held by the same limits. Only where it has lost 85 % and more does balancing empty it so far that `charge_count_disagrees`.
//!
//! Some are never found, and no fault promises to. A clock that runs fast: no core with one clock can find it, and the charge interval
//! allows for it. Two swapped thermistors of one module: each shows a temperature that is true a few centimetres away. A current sampled a few
//! milliseconds early: loads of the crane move too slowly. Contacts that bounce: what they do is over before a reading. An auxiliary supply
//! that reads too high: nothing else measures it.
//!
//! In a rest with a frame each ten seconds or more a weld is told by its contact alone, `feedback_implausible`: a frame is credited with no
//! more than 30 ms towards any verdict, and the measurement of insulation sways the link more often than that adds up. The check before the
//! next start names it.
//!
//! Everything is a pure function of the settings, whatever the number of threads.

pub mod csv;
pub mod markdown;

mod confusion;
mod digits;
mod edge;
mod measured;
mod observation;
mod row;
mod subject;
mod twin;

pub use confusion::{Confusions, Group, Member};
pub use edge::Span;
pub use observation::Observation;
pub use row::{Danger, Raised, Row};
pub(crate) use row::{as_key, by_key};
pub use subject::Subject;

use crate::case::{CaseError, StartError};
use crate::defect::Kind;
use crate::world::spec::PackSpec;
use serde::{Deserialize, Serialize};
use std::sync::atomic::AtomicBool;
use twin::Twin;

/// What a dictionary is made of.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// Seed of all noise and scatter.
    pub seed: u64,
    /// How many severities of each defect, either sign.
    pub severities: usize,
    /// Which defects.
    pub kinds: Vec<Kind>,
    /// Under which observations, by their place in [`Observation::ALL`].
    pub observations: Vec<usize>,
    /// Whether the edges of what is found are searched.
    pub edges: bool,
}

impl Settings {
    /// Everything, as the shipped table has it.
    #[must_use]
    pub fn whole() -> Self {
        Self {
            seed: 1,
            severities: 5,
            kinds: Kind::ALL.to_vec(),
            observations: (0..Observation::ALL.len()).collect(),
            edges: true,
        }
    }
}

/// One piece of work: a defect at a place under an observation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Question {
    /// What is wrong and where.
    pub subject: Subject,
    /// The observation's place in [`Observation::ALL`].
    pub observation: usize,
}

/// The answer to a question.
#[derive(Clone, Debug, Deserialize, PartialEq, Serialize)]
pub struct Entry {
    /// What is wrong and where.
    #[serde(flatten)]
    pub subject: Subject,
    /// The observation's name.
    pub observation: String,
    /// One row a severity, in rising order.
    pub rows: Vec<Row>,
    /// The severities that nothing finds, as far as they were tried; empty for what is only present or absent.
    pub undetected: Vec<Span>,
}

impl Entry {
    /// Whether it answers this question.
    #[must_use]
    pub fn answers(&self, question: &Question) -> bool {
        self.subject == question.subject
            && Observation::ALL.get(question.observation).is_some_and(|known| known.key == self.observation)
    }
}

/// What keeps a question from being answered.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Trouble {
    /// An observation is no accepted case.
    #[error("{0}")]
    Case(#[from] CaseError),
    /// A world cannot be built.
    #[error("{0}")]
    Start(#[from] StartError),
    /// The firmware finds a fault in the sound pack: nothing could be learnt from comparing with it.
    #[error("{observation}: {fault} is Confirmed on the sound pack at {seconds} s; accepted is none")]
    Unsound {
        /// The observation.
        observation: &'static str,
        /// The fault.
        fault: &'static str,
        /// When, in seconds from the start.
        seconds: f64,
    },
}

/// A dictionary to be made: its questions, and what they share.
#[derive(Debug)]
pub struct Dictionary {
    settings: Settings,
    /// One of each observation that is asked for.
    twins: Vec<(usize, Twin)>,
}

impl Dictionary {
    /// With these settings: plays the sound pack under each observation.
    ///
    /// # Errors
    /// When an observation makes no sense: the firmware finds a fault on the sound pack.
    pub fn new(settings: Settings) -> Result<Self, Trouble> {
        let twin = |place: &usize| Ok((*place, Twin::of(&Observation::ALL[*place], settings.seed)?));
        let twins = settings.observations.iter().map(twin).collect::<Result<_, Trouble>>()?;
        Ok(Self { settings, twins })
    }

    /// Its settings.
    #[must_use]
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// Every question, in the order of the table.
    #[must_use]
    pub fn questions(&self) -> Vec<Question> {
        let spec = PackSpec::trainer();
        let subjects = self.settings.kinds.iter().flat_map(|kind| Subject::of(*kind, &spec));
        let under = |subject| {
            self.settings.observations.iter().map(move |place| Question { subject, observation: *place })
        };
        subjects.flat_map(under).collect()
    }

    /// Answers a question; nothing when it was stopped, or is none of this dictionary.
    ///
    /// # Errors
    /// When a world cannot be built.
    pub fn answer(&self, question: &Question, stop: &AtomicBool) -> Result<Option<Entry>, Trouble> {
        match self.twins.iter().find(|(place, _)| *place == question.observation) {
            Some((_, twin)) => edge::entry(twin, question, &self.settings, stop),
            None => Ok(None),
        }
    }
}
