//! # Was the firmware right?
//!
//! Holds what the firmware did against truth. What counts is whether a safe bound was passed, when it reacted, and whether what it
//! reacted to was there:
//!
//! | truth | the firmware | it was |
//! | --- | --- | --- |
//! | a bound would be passed; in this run none was | reacted, or held the current back | right, with the time that was left |
//! | a bound was passed | reacted before | right, but opening could not stop it |
//! | a bound was passed | reacted after | late |
//! | a bound was passed | Confirmed nothing | blind |
//! | a bound would be passed, after the end of this run | Confirmed nothing so far | not put to the test |
//! | inside its bounds, but a protection has lost its only measurement | Confirmed something; Confirmed nothing | right; blind |
//! | inside its bounds for half an hour | opened on a reading that lies | misled, to the safe side |
//! | inside its bounds for half an hour | opened on something that is there | early |
//! | inside its bounds for half an hour | opened nothing | right |
//!
//! What it reacted to is the first Confirmed fault that does more than report; where there is none, the first one that does, since a start
//! that fails is given up whatever its fault says. One that was Confirmed before the first defect began is no answer to it.

use super::chain::{Chain, LinkKind, Wrong};
use super::verdict::{Criticality, Verdict};
use crate::recording::Recording;
use bms_core::fault::{Fault, Reaction};

/// How the firmware did.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Judged {
    /// No bound was passed although one would have been.
    InTime {
        /// What it reacted to first; nothing where the limits on current were enough.
        fault: Option<Fault>,
        /// From its reaction to the hazard, in seconds; nothing where the hazard is the switching itself.
        left_seconds: Option<f64>,
    },
    /// It reacted before a bound was passed, but opening could not stop it.
    InVain {
        /// What it reacted to.
        fault: Fault,
        /// From its reaction to the bound, in seconds.
        before_seconds: f64,
    },
    /// It reacted when a bound was passed already.
    Late {
        /// What it reacted to.
        fault: Fault,
        /// From the bound to its reaction, in seconds.
        after_seconds: f64,
    },
    /// A danger that it did not see.
    Blind,
    /// The run ends before the hazard, and nothing was Confirmed so far.
    Untested {
        /// From the end of the run to the hazard, in seconds.
        after_end_seconds: f64,
    },
    /// It opened on a reading that lies.
    Misled {
        /// What it concluded.
        fault: Fault,
    },
    /// It opened on something that is there but harms nobody for half an hour.
    Early {
        /// What it concluded.
        fault: Fault,
    },
    /// It told that a protection has lost its only measurement.
    Told {
        /// What it concluded first.
        fault: Fault,
    },
    /// Nothing is dangerous, and nothing was opened.
    Calm,
}

impl Judged {
    /// What the table calls it, as one word for programs.
    #[must_use]
    pub const fn key(&self) -> &'static str {
        match self {
            Self::InTime { .. } | Self::Told { .. } | Self::Calm => "right",
            Self::InVain { .. } => "right_in_vain",
            Self::Late { .. } => "late",
            Self::Blind => "blind",
            Self::Untested { .. } => "untested",
            Self::Misled { .. } => "misled",
            Self::Early { .. } => "early",
        }
    }

    /// How the firmware did in a case that was played.
    #[must_use]
    pub fn of<const CELLS: usize, const THERMISTORS: usize>(
        recording: &Recording<CELLS, THERMISTORS>,
        verdict: &Verdict,
        chains: &[Chain],
    ) -> Self {
        let limits = &recording.case.config().faults;
        let onsets = recording.case.defects.iter().map(|defect| defect.onset_seconds);
        let first_onset = onsets.fold(f64::INFINITY, f64::min);
        let since = |chain: &&Chain| confirmed(chain).is_some_and(|at| at >= first_onset);
        let strong = |chain: &&Chain| limits.reaction(chain.fault) > Reaction::Report;
        let answers = || chains.iter().filter(since);
        let answer = answers().find(strong).or_else(|| answers().next());
        let reaction = answer.and_then(|chain| Some((chain, confirmed(chain)?)));
        match (verdict.criticality(), verdict.passed) {
            (Criticality::Critical, Some(passed)) => match reaction {
                None => Self::Blind,
                Some((chain, at)) if at <= passed.seconds => {
                    Self::InVain { fault: chain.fault, before_seconds: passed.seconds - at }
                }
                Some((chain, at)) => Self::Late { fault: chain.fault, after_seconds: at - passed.seconds },
            },
            (Criticality::Critical, None) => {
                let hazard = verdict.without_reactions.map_or(f64::INFINITY, |hazard| hazard.seconds);
                let timed = verdict.seconds_to_hazard(&recording.case).is_some();
                let after_end = hazard - recording.end.seconds();
                match reaction {
                    Some((chain, at)) => {
                        Self::InTime { fault: Some(chain.fault), left_seconds: timed.then_some(hazard - at) }
                    }
                    None if after_end > 0.0 => Self::Untested { after_end_seconds: after_end },
                    None => Self::InTime { fault: None, left_seconds: None },
                }
            }
            (Criticality::ByBlindness, _) => match answer {
                Some(chain) => Self::Told { fault: chain.fault },
                None => Self::Blind,
            },
            (Criticality::NotCritical, _) => {
                let opens = |chain: &&Chain| limits.reaction(chain.fault) >= Reaction::OpenSoon;
                match chains.iter().find(opens) {
                    None => Self::Calm,
                    Some(chain) if lies(chain) => Self::Misled { fault: chain.fault },
                    Some(chain) => Self::Early { fault: chain.fault },
                }
            }
        }
    }
}

/// When the fault of a chain was Confirmed, in seconds from the start.
fn confirmed(chain: &Chain) -> Option<f64> {
    chain.links.iter().find(|link| matches!(link.what, LinkKind::Confirmed(_))).map(|link| link.seconds)
}

/// Whether truth was that of a sound pack up to the reaction, and a reading was not.
fn lies(chain: &Chain) -> bool {
    chain.links.iter().any(|link| link.what == LinkKind::TruthUnharmed(Wrong::Reading))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::case::Case;
    use crate::explain::Account;
    use crate::recording;
    use std::sync::Arc;

    fn judged(story: &str) -> Judged {
        let head = "schema = 1\ntitle = \"t\"\nstory = \"s\"\npack = \"trainer\"\nseed = 1\n";
        let case = Arc::new(Case::parse(&format!("{head}{story}"), "judged.toml").unwrap());
        let recording = recording::play::<16, 8>(&case, |_| true).unwrap();
        Account::of(&recording).unwrap().judged
    }

    const START: &str = "[start]\ncharge_percent = 60\ncelsius = 18\n";

    #[test]
    fn a_sound_pack_leaves_the_firmware_calm() {
        assert_eq!(judged(&format!("duration_s = 3\n{START}")), Judged::Calm);
    }

    /// A channel that reads 300 mV too much shows 3.6 V more or less: beyond the second limit it opens, and truth is a sound pack's.
    #[test]
    fn a_reading_that_lies_misleads_to_the_safe_side() {
        let defect = "[[defect]]\nkind = \"cell_channel_offset\"\ncell = 4\nmillivolts = 480\nat_s = 1\n";
        assert_eq!(
            judged(&format!("duration_s = 6\n{START}{defect}")),
            Judged::Misled { fault: Fault::CellOverVoltageFar }
        );
    }

    /// Both sensors of a module open: nothing is hot, but nothing would be seen.
    #[test]
    fn telling_of_a_lost_measurement_is_right() {
        let defect =
            |sensor| format!("[[defect]]\nkind = \"thermistor_open\"\nthermistor = {sensor}\nat_s = 1\n");
        let told = judged(&format!("duration_s = 4\n{START}{}{}", defect(3), defect(4)));
        assert_eq!(told.key(), "right", "{told:?}");
        assert!(matches!(told, Judged::Told { .. }), "{told:?}");
    }
}
