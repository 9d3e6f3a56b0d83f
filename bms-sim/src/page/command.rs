//! What the page can be told, as JSON. The page's head describes each.

use super::meter::Point;
use crate::case::{Ask, Case, Change, LimitChange, PowerLoss, RecordFate, Work, nearest};
use crate::defect::{Defect, Kind, PlaceKind};
use crate::explain::at_length::AtLength;
use crate::recording::stepper::Sought;
use crate::repair::{self, NewCell, Repair};
use bms_core::Fault;
use bms_core::frame::{Clearance, Contactor, Replaced};
use serde::{Deserialize, Serialize};

/// One command.
#[derive(Clone, Debug, Deserialize)]
#[serde(tag = "do", rename_all = "snake_case", deny_unknown_fields)]
pub enum Command {
    /// Plays another case, and begins at its start.
    Load(Loaded),
    /// Tells of the case.
    Story {},
    /// Shows where it stands.
    Look {},
    /// Time runs, this many times as fast as on a clock.
    Play {
        /// 0.1 to 100.
        speed: f64,
    },
    /// Time stands.
    Pause {},
    /// Goes on by the time since the last frame, and shows where it stands then.
    Frame {},
    /// Goes so many ticks on, or back when there are less than none.
    Step {
        /// How many.
        ticks: i64,
    },
    /// Goes to the next tick in which this happened.
    Next {
        /// What to look for.
        what: Looked,
        /// To earlier ticks.
        #[serde(default)]
        back: bool,
    },
    /// Goes to a time, or to a number of ticks played.
    To {
        /// In seconds from the start.
        seconds: Option<f64>,
        /// Ticks that were played.
        played: Option<u64>,
    },
    /// Stands in another branch, at the same tick.
    Go {
        /// Its name.
        branch: String,
    },
    /// Goes back to where the branch was made.
    Undo {},
    /// Something is otherwise from here on: a branch.
    Change(Other),
    /// Shows something of this tick at length.
    Show {
        /// What.
        what: AtLength,
    },
    /// Puts a meter to two points, or to a known source when none is given.
    Meter {
        /// Where the red probe is.
        red: Option<Point>,
        /// Where the black one is.
        black: Option<Point>,
    },
    /// Hides the case as it stands in this branch, with whatever was changed in it.
    Hide {},
    /// Says what is wrong with a hidden case; all of it is shown then.
    Diagnose {
        /// Key of the defect.
        kind: String,
        /// Where; left out where there is only one such place.
        place: Option<Place>,
        /// Whether the pack is dangerous as it stands.
        dangerous: bool,
    },
    /// Holds the link for dead.
    Dead {},
    /// Values over time.
    Series {
        /// Of this branch; of the one it stands in when left out.
        branch: Option<String>,
        /// Of the same story without any defect instead.
        #[serde(default)]
        twin: bool,
        /// From and to this time, in seconds; of all of it when left out.
        between: Option<(f64, f64)>,
    },
    /// What differs between two branches.
    Compare {
        /// The name of one.
        one: String,
        /// The name of the other.
        other: String,
    },
    /// Says why.
    Why {
        /// The fault; every one that became Confirmed when left out.
        fault: Option<String>,
    },
}

/// Which case, and where to stand in it.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Loaded {
    /// The name of one in the folder.
    pub case: Option<String>,
    /// The text of one.
    pub text: Option<String>,
    /// The word that a hidden one was given.
    pub hidden: Option<String>,
    /// Instead of its own seed.
    pub seed: Option<u64>,
    /// What is otherwise, each from a number of ticks on.
    #[serde(default)]
    pub changes: Vec<Later>,
    /// Ticks to be played.
    pub played: Option<u64>,
}

/// A change, and the first tick that it holds in.
#[derive(Clone, Debug, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub struct Later {
    /// Ticks that were played before it.
    pub played: u64,
    /// What is otherwise.
    pub change: Other,
}

/// What to look for.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Looked {
    /// Anything that happened.
    Event,
    /// A stage changed.
    Stage,
    /// A reaction changed.
    Reaction,
    /// The contactor sequence moved.
    Contactors,
    /// Operator or workshop acted.
    Act,
}

impl From<Looked> for Sought {
    fn from(looked: Looked) -> Self {
        match looked {
            Looked::Event => Self::Event,
            Looked::Stage => Self::Stage,
            Looked::Reaction => Self::Reaction,
            Looked::Contactors => Self::Contactors,
            Looked::Act => Self::Act,
        }
    }
}

/// Something that is otherwise, with the words and numbers of a case file.
#[derive(Clone, Debug, Deserialize, Serialize)]
#[serde(tag = "change", rename_all = "snake_case", deny_unknown_fields)]
pub enum Other {
    /// A defect begins.
    Inject {
        /// Its key.
        kind: String,
        /// Where; left out where there is only one such place.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        place: Option<Place>,
        /// How badly, in the unit of the kind; the usual one when left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        severity: Option<f64>,
        /// Over how many seconds it grows.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        grows_seconds: Option<f64>,
    },
    /// A defect ends.
    Mend {
        /// Its number in the list, from 1.
        defect: usize,
    },
    /// The workshop puts a new part in.
    Repair {
        /// Key of the repair.
        kind: String,
        /// Where; left out where there is only one such place.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        place: Option<Place>,
        /// State of charge of a cell that comes in, in percent; 50 when left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        charge_percent: Option<f64>,
    },
    /// Operator or workshop acts.
    Ask {
        /// `close`, `open`, `clear`, `replace` or `lose-power`.
        ask: String,
        /// Who clears: `panel` or `service`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        by: Option<String>,
        /// Which part was replaced: a cell, from 1, or a contactor by its name.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        part: Option<Place>,
        /// For how many seconds the supply is gone; 1 when left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        for_seconds: Option<f64>,
        /// What is left of the record that was written as it fell: `kept`, `torn` or `lost`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        record: Option<String>,
    },
    /// A disconnect is pulled, or put in again.
    Disconnect {
        /// `service`, in the middle of the string, or `auxiliary`, of the supply.
        which: String,
        /// Whether it is out from now on.
        out: bool,
    },
    /// The crane does this from now on.
    Duty {
        /// The work.
        work: String,
        /// Its amount in amperes; the usual one when left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        amps: Option<f64>,
    },
    /// The firmware has another limit or dwell.
    Limit {
        /// Key of the fault.
        fault: String,
        /// Its trip limit, in the unit of the fault.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        trip: Option<f64>,
        /// Its release limit.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        release: Option<f64>,
        /// Its dwell in milliseconds.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        dwell_ms: Option<u64>,
        /// The dwell within its release limit, in milliseconds.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        release_dwell_ms: Option<u64>,
    },
}

/// A place as people count it, or by its name.
#[derive(Clone, Debug, Deserialize, PartialEq, Serialize)]
#[serde(untagged)]
pub enum Place {
    /// From 1.
    Number(usize),
    /// As case files name it.
    Name(String),
}

/// What was told makes no sense.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[error("{place} = {found}: {accepted}")]
pub struct Mistake {
    place: &'static str,
    found: String,
    accepted: String,
}

impl Mistake {
    #[expect(clippy::needless_pass_by_value, reason = "numbers and texts alike are shown once and then gone")]
    pub(super) fn new(place: &'static str, found: impl ToString, accepted: impl Into<String>) -> Self {
        Self { place, found: found.to_string(), accepted: accepted.into() }
    }

    /// A word that is none of those that have a meaning here.
    pub(super) fn unknown(place: &'static str, found: &str, accepted: &[&str]) -> Self {
        let said = match nearest(found, accepted.iter().copied()) {
            Some(near) => format!("not known here; did you mean {near}?"),
            None => format!("not known here; accepted are {}", accepted.join(", ")),
        };
        Self::new(place, found, said)
    }
}

/// The one with this key among all of them.
pub(super) fn by_key<T: Copy>(
    place: &'static str,
    found: &str,
    all: &[T],
    key: fn(T) -> &'static str,
) -> Result<T, Mistake> {
    let known = all.iter().copied().find(|one| key(*one) == found);
    known.ok_or_else(|| Mistake::unknown(place, found, &all.iter().map(|one| key(*one)).collect::<Vec<_>>()))
}

/// The fault with this key.
pub(super) fn fault(key: &str) -> Result<Fault, Mistake> {
    by_key("fault", key, &Fault::ALL, Fault::key)
}

/// A place of this kind, from 0.
pub(super) fn place(kind: PlaceKind, given: Option<&Place>, case: &Case) -> Result<usize, Mistake> {
    let key = kind.key().unwrap_or("place");
    let count = kind.count(&case.pack.spec());
    let accepted = || match kind.names() {
        [] => format!("accepted is 1 to {count}"),
        names => format!("accepted are {}", names.join(", ")),
    };
    match given {
        None if kind == PlaceKind::Pack => Ok(0),
        None => Err(Mistake::new(key, "nothing", accepted())),
        Some(Place::Number(number)) => {
            let from_0 = number.checked_sub(1).filter(|place| *place < count);
            from_0.ok_or_else(|| Mistake::new(key, number, accepted()))
        }
        Some(Place::Name(name)) => kind
            .names()
            .iter()
            .position(|known| known == name)
            .ok_or_else(|| Mistake::new(key, name, accepted())),
    }
}

impl Other {
    /// The change of a case that it means, after so many seconds of it.
    pub(super) fn meant(&self, case: &Case, seconds: f64) -> Result<Change, Mistake> {
        Ok(match self {
            Self::Inject { kind, place: at, severity, grows_seconds } => {
                let kind = by_key("kind", kind, Kind::ALL, Kind::key)?;
                let usual = Defect::usual(kind, place(kind.place(), at.as_ref(), case)?, 0.0);
                Change::Defect(Defect {
                    severity: severity.unwrap_or(usual.severity),
                    grows_seconds: grows_seconds.unwrap_or(0.0),
                    ..usual
                })
            }
            Self::Mend { defect } => {
                let from_0 = defect.checked_sub(1);
                Change::Mend(
                    from_0.ok_or_else(|| Mistake::new("defect", defect, "accepted is a number from 1"))?,
                )
            }
            Self::Repair { kind, place: at, charge_percent } => {
                let work = by_key("kind", kind, repair::Work::ALL, repair::Work::key)?;
                let percent = charge_percent.unwrap_or(100.0 * NewCell::USUAL.charge);
                if !(0.0..=100.0).contains(&percent) {
                    return Err(Mistake::new("charge_percent", percent, "accepted is 0 to 100"));
                }
                let cell = NewCell { charge: percent / 100.0, ..NewCell::USUAL };
                Change::Repair(Repair { work, place: place(work.place(), at.as_ref(), case)?, cell })
            }
            Self::Ask { ask, by, part, for_seconds, record } => Change::Act(match ask.as_str() {
                "lose-power" => Ask::LosePower(power_loss(*for_seconds, record.as_deref())?),
                other => asked(other, by.as_deref(), part.as_ref(), case)?,
            }),
            Self::Disconnect { which, out } => disconnected(which, *out, case, seconds)?,
            Self::Duty { work, amps } => {
                let work = by_key("work", work, &Work::ALL, Work::name)?;
                let hours = case.pack.ampere_hours();
                Change::Duty { work, rate_c: amps.map_or(work.usual_rate().abs(), |amps| amps / hours) }
            }
            Self::Limit { fault: key, trip, release, dwell_ms, release_dwell_ms } => {
                Change::Limits(vec![LimitChange {
                    fault: fault(key)?,
                    trip: *trip,
                    release: *release,
                    dwell_ms: *dwell_ms,
                    release_dwell_ms: *release_dwell_ms,
                }])
            }
        })
    }
}

fn asked(ask: &str, by: Option<&str>, part: Option<&Place>, case: &Case) -> Result<Ask, Mistake> {
    const CONTACTORS: [Contactor; 3] = [Contactor::Negative, Contactor::Precharge, Contactor::Positive];
    match ask {
        "close" => Ok(Ask::Close),
        "open" => Ok(Ask::Open),
        "clear" => match by.unwrap_or("panel") {
            "panel" => Ok(Ask::Clear(Clearance::Panel)),
            "service" => Ok(Ask::Clear(Clearance::Service)),
            other => Err(Mistake::unknown("by", other, &["panel", "service"])),
        },
        "replace" => match part {
            Some(Place::Name(_)) => {
                let which = place(PlaceKind::Contactor, part, case)?;
                Ok(Ask::Replace(Replaced::Contactor(CONTACTORS[which])))
            }
            Some(Place::Number(_)) | None => {
                let cell = place(PlaceKind::Cell, part, case)?;
                Ok(Ask::Replace(Replaced::Cell(u8::try_from(cell).unwrap_or(u8::MAX))))
            }
        },
        other => Err(Mistake::unknown("ask", other, &["close", "open", "clear", "replace", "lose-power"])),
    }
}

/// A disconnect is pulled or put in: the defect of the same name begins or ends.
fn disconnected(which: &str, out: bool, case: &Case, seconds: f64) -> Result<Change, Mistake> {
    let kind = match which {
        "service" => Kind::ServiceDisconnectOut,
        "auxiliary" => Kind::AuxiliaryDisconnectOut,
        other => return Err(Mistake::unknown("which", other, &["service", "auxiliary"])),
    };
    let is_out = |defect: &Defect| {
        let ended = defect.end_seconds.is_some_and(|end| end <= seconds);
        defect.kind == kind && defect.onset_seconds <= seconds && !ended
    };
    match (out, case.defects.iter().rposition(is_out)) {
        (true, None) => Ok(Change::Defect(Defect::usual(kind, 0, 0.0))),
        (false, Some(place)) => Ok(Change::Mend(place)),
        (true, Some(_)) => Err(Mistake::new("out", out, "it is out already")),
        (false, None) => Err(Mistake::new("out", out, "it is in already")),
    }
}

/// The supply is gone for so long, and what is left of the last record.
fn power_loss(seconds: Option<f64>, record: Option<&str>) -> Result<PowerLoss, Mistake> {
    /// Long enough for a reset, and short enough for a link to stay charged.
    const USUAL_SECONDS: f64 = 1.0;
    let record = by_key("record", record.unwrap_or("kept"), &RecordFate::ALL, RecordFate::name)?;
    let seconds = seconds.unwrap_or(USUAL_SECONDS);
    PowerLoss::by_hand(seconds, record).ok_or_else(|| {
        let (least, most) = PowerLoss::BY_HAND_SECONDS;
        Mistake::new("for_seconds", seconds, format!("accepted is {least} to {most}"))
    })
}
