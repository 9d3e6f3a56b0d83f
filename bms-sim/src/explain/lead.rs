//! # What led to one tick
//!
//! The [chain](super::chain) is about faults. This is the same for all else that the firmware tells of a tick: a refusal, a move of the
//! contactor sequence, a limit on current. What led to it is found in the same way, by the *twin*, the same run without one defect:
//!
//! | told | is the defect's doing when the twin |
//! | --- | --- |
//! | a refusal, a move | does not tell the same within a second before or after |
//! | a limit | has another rule that binds in that tick, or allows more by more than 2 % |
//!
//! Before it stand the operator's last act and, where a fault is in the way, when it was Confirmed. What every sound pack does has no
//! defect before it.

use super::chain::{ALIKE_SECONDS, Link, LinkKind, departures, first_needed, onset};
use crate::case::StartError;
use crate::recording::{Recording, What};
use bms_core::Witness;
use bms_core::fault::{Fault, Reaction, Stage};
use bms_core::limit::LimitRule;
use bms_core::sequence::Because;
use bms_core::units::Amps;
use bms_core::witness::{Evidence, Refusal};

/// A limit that differs by less than this part is the same.
const SAME_LIMIT: f64 = 0.02;

/// What led to one thing that was told, which is its last link.
#[derive(Clone, Debug, PartialEq)]
pub struct Lead {
    /// In order of time.
    pub links: Vec<Link>,
}

/// What led to each refusal, move and limit that was told in the tick of this time. Limits that hold back nothing are left out.
///
/// # Errors
/// When the type has other counts than the case's pack.
pub fn at<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    seconds: f64,
) -> Result<Vec<Lead>, StartError> {
    let stop = recording.stop(recording.played_at(seconds).saturating_sub(1));
    let told = stop.told.iter().filter(|told| explains_itself(told));
    told.map(|told| lead(recording, *told, stop.tick, stop.seconds)).collect()
}

/// Whether it is told here.
fn explains_itself(told: &Evidence) -> bool {
    match told {
        Evidence::Refused(_) | Evidence::Moved { .. } => true,
        Evidence::Limited { rule, .. } => !matches!(rule, LimitRule::Rating | LimitRule::NotClosed),
        _ => false,
    }
}

fn lead<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    told: Evidence,
    tick: u64,
    seconds: f64,
) -> Result<Lead, StartError> {
    let mut links = Vec::new();
    if let Some(place) = cause(recording, &told, seconds)? {
        links.push(onset(recording, place));
        links.extend(departures(recording, place, seconds)?);
    }
    let before = || recording.events.iter().filter(|event| event.tick <= tick).rev();
    if !matches!(told, Evidence::Limited { .. }) {
        let asked = before().find_map(|event| match event.what {
            What::Acted(ask) => Some(Link::of(event, LinkKind::Acted(ask))),
            _ => None,
        });
        links.extend(asked);
    }
    let in_the_way = |fault: Fault| match told {
        Evidence::Limited { rule: LimitRule::Derate, .. } => {
            recording.case.config().faults.reaction(fault) >= Reaction::Derate
        }
        _ => named(&told) == Some(fault),
    };
    for fault in Fault::ALL.into_iter().filter(|fault| in_the_way(*fault)) {
        let last = before().find_map(|event| match &event.what {
            What::Told(Evidence::StageChanged { assessment, .. }) if assessment.fault == fault => {
                Some((assessment, event))
            }
            _ => None,
        });
        links.extend(last.and_then(|(seen, event)| {
            let holds = matches!(seen.stage, Stage::Confirmed { .. } | Stage::Latched);
            holds.then_some(Link::of(event, LinkKind::Staged(*seen)))
        }));
    }
    links.sort_by(|one, other| one.seconds.total_cmp(&other.seconds));
    links.push(Link { what: LinkKind::Told(told), tick, seconds });
    Ok(Lead { links })
}

/// The fault that is in the way, by its own words.
fn named(told: &Evidence) -> Option<Fault> {
    match told {
        Evidence::Moved {
            because: Because::FaultDemands { fault, .. } | Because::PrechargeFailed { fault },
            ..
        } => Some(*fault),
        Evidence::Refused(refusal) => match refusal {
            Refusal::FaultHolds { fault, .. }
            | Refusal::ConditionUnmeasured { fault }
            | Refusal::NotAllowed { fault, .. } => Some(*fault),
            Refusal::ConditionPresent(seen) => Some(seen.fault),
            _ => None,
        },
        _ => None,
    }
}

/// The defect without which the twin does not tell the same; the first one in order of onset.
fn cause<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    told: &Evidence,
    seconds: f64,
) -> Result<Option<usize>, StartError> {
    first_needed(recording, seconds, |mut twin| {
        let mut listening = Alike { to: *told, from: seconds - ALIKE_SECONDS, now: 0.0, heard: false };
        // A limit is told in every tick, and that of this one counts.
        let until = match told {
            Evidence::Limited { .. } => seconds,
            _ => seconds + ALIKE_SECONDS,
        };
        while !twin.over() && twin.seconds() <= until {
            listening.now = twin.seconds();
            twin.advance(&mut listening);
        }
        listening.heard
    })
}

/// Listens for the like of what was told.
struct Alike {
    to: Evidence,
    from: f64,
    now: f64,
    heard: bool,
}

impl Witness for Alike {
    fn saw(&mut self, evidence: Evidence) {
        match (&self.to, &evidence) {
            // A limit is told in every tick: the last word counts.
            (
                Evidence::Limited { side, rule, allows, .. },
                Evidence::Limited { side: its, rule: binds, allows: more, .. },
            ) if side == its => {
                self.heard = rule == binds && !wider(*more, *allows);
            }
            (Evidence::Limited { .. }, _) => {}
            (to, _) => self.heard |= self.now > self.from && alike(to, &evidence),
        }
    }
}

/// Whether a limit of the twin allows more than rounding and noise make.
fn wider(its: Amps, mine: Amps) -> bool {
    let amount = |amps: Amps| f64::from(amps.milli()).abs();
    amount(its) > amount(mine) * (1.0 + SAME_LIMIT) + 1.0
}

/// Whether two tell the same, but for their figures.
fn alike(one: &Evidence, other: &Evidence) -> bool {
    let same = |one: &Because, other: &Because| std::mem::discriminant(one) == std::mem::discriminant(other);
    match (one, other) {
        (Evidence::Moved { from, to, because }, Evidence::Moved { from: its, to: goes, because: why }) => {
            from == its && to == goes && same(because, why) && named(one) == named(other)
        }
        (Evidence::Refused(one_refusal), Evidence::Refused(its)) => {
            std::mem::discriminant(one_refusal) == std::mem::discriminant(its) && named(one) == named(other)
        }
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::case::{Ask, Case};
    use crate::recording;
    use std::sync::Arc;

    fn played(story: &str) -> Recording<16, 8> {
        let head = "schema = 1\ntitle = \"t\"\nstory = \"s\"\npack = \"trainer\"\nseed = 1\n[start]\ncharge_percent = 60\ncelsius = 18\n";
        let (top, rest) = story.split_once('\n').unwrap();
        let text = head.replacen("[start]", &format!("{top}\n[start]"), 1) + rest;
        let case = Arc::new(Case::parse(&text, "lead.toml").unwrap());
        recording::play::<16, 8>(&case, |_| true).unwrap()
    }

    fn told_at(recording: &Recording<16, 8>, is: impl Fn(&Evidence) -> bool) -> f64 {
        let told = recording.events.iter().find(|event| matches!(&event.what, What::Told(told) if is(told)));
        told.unwrap().seconds
    }

    const CLOSE: &str = "[[act]]\nat_s = 0.5\nask = \"close\"\n";

    #[test]
    fn a_sound_start_has_no_defect_before_it() {
        let recording = played(&format!("duration_s = 6\n{CLOSE}"));
        let at_seconds = told_at(&recording, |told| matches!(told, Evidence::Moved { .. }));
        let leads = at(&recording, at_seconds).unwrap();
        let moved = leads
            .iter()
            .find(|lead| matches!(lead.links.last().unwrap().what, LinkKind::Told(Evidence::Moved { .. })));
        let links = &moved.unwrap().links;
        assert!(matches!(links[0].what, LinkKind::Acted(Ask::Close)), "{links:?}");
        assert_eq!(links.len(), 2, "{links:?}");
    }

    /// An interlock that is open bars the start: the refusal leads back to it, by way of the fault.
    #[test]
    fn a_refusal_leads_back_to_its_defect() {
        let defect = "[[defect]]\nkind = \"interlock_open\"\nat_s = 0.1\n";
        let recording = played(&format!("duration_s = 3\n{CLOSE}{defect}"));
        let at_seconds = told_at(&recording, |told| matches!(told, Evidence::Refused(_)));
        let leads = at(&recording, at_seconds).unwrap();
        let refused = leads
            .iter()
            .find(|lead| matches!(lead.links.last().unwrap().what, LinkKind::Told(Evidence::Refused(_))));
        let kinds: Vec<&LinkKind> = refused.unwrap().links.iter().map(|link| &link.what).collect();
        assert!(matches!(kinds[0], LinkKind::DefectBegins(0)), "{kinds:?}");
        assert!(kinds.iter().any(|kind| matches!(kind, LinkKind::Acted(Ask::Close))), "{kinds:?}");
        assert!(
            kinds
                .iter()
                .any(|kind| matches!(kind, LinkKind::Staged(seen) if seen.fault == Fault::InterlockOpen)),
            "{kinds:?}"
        );
    }
}
