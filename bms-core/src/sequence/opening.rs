//! # Opening: has it really opened, and is the link dead?
//!
//! Positive opens first while negative still holds the link's place. The link must then fall with `R_d · C`:
//!
//! ```text
//! expected fall:  from · (1 − e^(−t/(R_d·C)))    t from the longest release on      (12 V of 307 V in the first 100 ms)
//! precharge welded: the link settles at k · pack, a fall of (1 − k) · pack at most   (6 V)
//! positive welded:  the link stays at the pack
//! ```
//! It is judged when the expected fall exceeds twice the fall that a welded precharge allows and five times the measuring error;
//! three quarters of it are asked for, since a capacitor may have a tenth more than it says. A load or a turning motor may move
//! the link as well: any level that is clearly not the pack's shows as much. A weld holds the link still, at either level; a contactor
//! that is slow lets it fall late, but on and on. So a link that has fallen by more than measuring error a moment ago accuses nobody.
//!
//! A link that stays may also have lost its bleed-down, be it at the pack or, where the load took its last charge from it, a little below. By
//! voltages nothing tells that from a weld while negative holds: the pack hardly moves without current, so that a link which follows it
//! and one which does not read the same. That is said, and then the feedback contact speaks. One that says closed, or is not read, makes a
//! weld of it, the graver of the two. One that says open leaves it untold, and negative opens at the deadline. Afterwards they part, whatever a
//! contact says: behind a welded positive the capacitor still empties through its bleed-down and the cross voltages then show the weld;
//! without a bleed-down the link stays live and is never proven dead. Without `behind positive` nothing would tell, and it is a weld at once.
//!
//! A reading of the link that the cross voltages contradict accuses nobody (see `measured`).
//!
//! Negative opens next, and is judged when the link has fallen: see `weld`. A link above the touch limit is not dead. The touch limit
//! is a quarter of the nominal voltage for a pack that never exceeds it.
//!
//! Opening under load wears contacts. OpenSoon avoids it as long as its grace lasts; OpenNow accepts it, up to the breaking limit:
//! above that the fuse clears first, and contactors that open then would burst. Both current channels are asked, so that a broken
//! one neither hides such a current nor delays a reaction for long. The wait for the fuse is bounded, since in the cold
//! the same short circuit draws less and the contactors must break it after all.

use super::closing::{Demanded, reason_to_open, stopped_by, time_to_fall};
use super::findings::{Finding, Findings};
use super::measured::{Both, Measured};
use super::precharge::{curve, end_limit, significant};
use super::state::{AtOpening, Meter, Sequence};
use super::weld::{Joined, place_of_link, settling};
use super::{Because, Step};
use crate::config::{Checked, Config};
use crate::fault::{Fault, Reaction};
use crate::frame::{Asked, Contact, Contactor, Feedback, PackVoltages, Wanted};
use crate::units::{Millis, Ratio, Volts};
use crate::witness::{Act, Evidence, Refusal, Unseparable, Witness};

/// What the settled link says of the contactors.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub(super) enum Hangs {
    /// All are open, as far as the points measured can tell.
    Free,
    /// One is closed: the fault of it.
    Welded(Fault),
    /// It hangs at the pole of this one, whose contact says open, and leaks may have drawn it there.
    Untold(Contactor),
}

/// Below this the link is dead.
pub(super) fn dead_below(config: &Checked) -> Volts {
    config.sequence.live_above(config.pack.nominal)
}

/// The fall of the link that tells an open positive from a welded precharge.
fn telling_fall(pack: Volts, config: &Config) -> Volts {
    let by_precharge = pack.scaled(Ratio::ONE - config.sequence.end_ratio());
    (by_precharge + by_precharge).max(significant(config))
}

/// Time in Opening until a link that holds still tells a weld: release, the telling fall, and the time in which it holds still.
pub(crate) fn proof_of_opening(pack: Volts, config: &Config) -> Millis {
    let telling = time_to_fall(telling_fall(pack, config), pack, config);
    config.sequence.release + telling + time_of_stillness(pack, config) + config.pack.tick
}

/// Time in which the bleed-down alone lowers the link by two measuring errors.
fn time_of_stillness(pack: Volts, config: &Config) -> Millis {
    time_to_fall(config.sensing.voltage_error + config.sensing.voltage_error, pack, config)
}

impl Sequence {
    /// OpenNow, in every step but Barred, where they are off: all coils off in this tick, unless the fuse must clear first.
    pub(super) fn open_now<W: Witness>(
        &mut self,
        now: &Measured,
        fault: Fault,
        config: &Checked,
        witness: &mut W,
    ) -> Option<(Step, Because)> {
        let demands = Because::FaultDemands { fault, reaction: Reaction::OpenNow };
        match self.step {
            Step::Open => Some((Step::Barred, demands)),
            Step::Barred => None,
            Step::ProvingDead => {
                self.barring = true;
                self.proving_dead(now, config)
            }
            Step::ClosingNegative
            | Step::Precharging
            | Step::ClosingPositive
            | Step::Closed
            | Step::Easing
            | Step::Opening => {
                if self.fuse_waited < now.wait_for_fuse(config) {
                    // Never zero again, so that the wait shows in the reason even when frames bring no time.
                    self.fuse_waited = self.fuse_waited + now.elapsed.max(Millis(1));
                    return None;
                }
                let because = if self.fuse_waited > Millis::ZERO {
                    Because::FuseCleared { amps: now.larger(config), after: self.fuse_waited }
                } else {
                    demands
                };
                self.barring = true;
                self.count_load(now, config, witness);
                Some((Step::ProvingDead, because))
            }
        }
    }

    /// Counts an opening under load, if the current is known to be one.
    fn count_load<W: Witness>(&mut self, now: &Measured, config: &Checked, witness: &mut W) {
        if let Some(amps) = now.larger(config).filter(|amps| amps.abs() >= config.sequence.switching_limit) {
            self.openings_under_load = self.openings_under_load.saturating_add(1);
            let count = self.openings_under_load;
            witness.tell(|| Evidence::OpenedUnderLoad { amps, count });
        }
    }

    /// Closed and Easing: pack and link are one; where they differ, a contactor has opened by itself.
    pub(super) fn look_at_closed(&mut self, now: &Measured, findings: &mut Findings, config: &Checked) {
        let (Some(seen), Some(both)) = (now.voltages, now.both()) else { return };
        findings.precharge_is_well();
        if self.outlook.link_meter == Meter::Lies {
            self.differed = Millis::ZERO;
            return;
        }
        // A link without its contactor passes the end limit in a tenth of a second. Where the cells add up to it, a meter of the pack that
        // differs lies.
        let most = end_limit(both.low.pack, config).max(significant(config));
        let apart = both.apart();
        let differs = apart > most;
        self.differed = if differs { self.differed + now.credit } else { Millis::ZERO };
        let kept = Some(Finding::kept(apart, most));
        let broken = Some(Finding::broken(apart, most));
        if !differs {
            (findings.negative_stuck_open, findings.positive_stuck_open) = (kept, kept);
        } else if self.differed >= config.sequence.differs_for {
            let lifted = place_of_link(&seen, config).is_some_and(|place| place >= Ratio::percent(50));
            if lifted {
                findings.negative_stuck_open = broken;
                self.outlook.dropped = true;
            } else {
                findings.positive_stuck_open = broken;
            }
        }
    }

    /// Closed: stays until something asks for opening.
    pub(super) fn closed(
        &self,
        asked: Asked,
        demanded: Demanded,
        config: &Checked,
    ) -> Option<(Step, Because)> {
        let dropped = self.outlook.dropped.then(|| stopped_by(Fault::NegativeStuckOpen, config));
        reason_to_open(asked, demanded).or(dropped).map(|because| (Step::Easing, because))
    }

    /// Easing: opens once the current has fallen or the grace is over, whatever is asked for meanwhile. A stale current counts
    /// as a high one, and where the two channels differ the larger counts: a dead sensor reads like a current that has fallen.
    pub(super) fn easing<W: Witness>(
        &mut self,
        now: &Measured,
        grace: Millis,
        config: &Checked,
        witness: &mut W,
    ) -> Option<(Step, Because)> {
        let below = config.sequence.switching_limit;
        let known = now.current.is_some_and(|current| !current.at_end);
        if let Some(amps) = now.larger(config).filter(|amps| known && amps.abs() < below) {
            return Some((Step::Opening, Because::CurrentFallen { amps, below }));
        }
        if self.since < grace + now.wait_for_fuse(config) {
            return None;
        }
        self.count_load(now, config, witness);
        Some((Step::Opening, Because::GraceOver { amps: now.amps().and(now.larger(config)), grace }))
    }

    /// Opening: the link must fall.
    pub(super) fn look_at_opening<W: Witness>(
        &mut self,
        now: &Measured,
        findings: &mut Findings,
        config: &Checked,
        witness: &mut W,
    ) {
        let Some(Both { low, high: seen }) = now.both() else { return };
        // A current that still charges lifts the link until the load has stopped, and above the pack once positive has opened. Expected
        // is the fall from that height, but counted is only what lies below the pack.
        // Across a gap in the readings nobody knows how high it was: its fall is counted from the first one after it.
        let gap = self.unread > config.pack.oldest_age;
        let lowest = self.lowest.filter(|lowest| !gap && seen.link <= *lowest + config.sensing.voltage_error);
        if lowest.is_none() {
            self.lifted = self.steady.positive;
        }
        self.level = Some(match self.level.filter(|_| lowest.is_some()) {
            Some((level, since)) if seen.link > level - config.sensing.voltage_error => (level, since),
            Some(_) | None => (seen.link, self.steady.positive),
        });
        self.lowest = Some(lowest.map_or(seen.link, |lowest| lowest.min(seen.link)));
        let highest = self.link_from.map_or(seen.link, |before| before.max(seen.link));
        self.link_from = Some(highest);
        let from = highest.min(seen.pack);
        let time = self.steady.positive - config.sequence.release.max(self.lifted);
        let telling = telling_fall(seen.pack, config);
        let asked = telling.scaled(Ratio::percent(75));
        let error = significant(config);
        let elsewhere = low.pack - seen.link > telling + error || seen.link - seen.pack > error;
        let expected = from - curve(highest, Volts::ZERO, time, config.sequence.discharge_time_constant());
        if time > Millis::ZERO && (from - seen.link >= asked || elsewhere) {
            self.outlook.parted = true;
            let open = Some(Finding::kept(seen.link, from - asked));
            (findings.positive_welded, findings.precharge_welded) = (open, open);
        } else if expected >= telling
            && self.is_still(seen.pack, config)
            && self.outlook.link_meter == Meter::Believed
        {
            let halfway = seen.pack.scaled(Ratio::ONE - config.sequence.end_ratio());
            self.precharge_named = seen.link < seen.pack - Volts::from_bits(halfway.bits() / 2);
            if self.at_opening == AtOpening::Fell && !self.precharge_named {
                witness.tell(|| Evidence::CannotSeparate(Unseparable::WeldedPositiveFromOpenBleedDown));
            }
            self.at_opening = AtOpening::Stayed;
            self.name_stayed(Finding::broken(seen.link, from - asked), now.feedback, findings, config);
        }
    }

    /// The link holds still: a weld, unless the contact of the contactor that the level accuses says open and the cross voltages will tell.
    fn name_stayed(
        &mut self,
        found: Finding,
        feedback: Option<Feedback>,
        findings: &mut Findings,
        config: &Checked,
    ) {
        let contact =
            |feedback: Feedback| if self.precharge_named { feedback.precharge } else { feedback.positive };
        if feedback.map(contact) == Some(Contact::Broken) && config.sensing.points.behind_positive {
            return;
        }
        let fault = if self.precharge_named {
            findings.precharge_welded = Some(found);
            Fault::PrechargeWelded
        } else {
            findings.positive_welded = Some(found);
            Fault::PositiveWelded
        };
        self.outlook.failed = Some(stopped_by(fault, config));
    }

    /// Whether the link has not fallen by more than measuring error in the time in which the bleed-down alone lowers it by twice that.
    fn is_still(&self, pack: Volts, config: &Checked) -> bool {
        self.level.is_some_and(|(_, since)| self.steady.positive - since >= time_of_stillness(pack, config))
    }

    /// Opening: negative follows.
    pub(super) fn opening(&self, now: &Measured, config: &Checked) -> Option<(Step, Because)> {
        if let (true, Some(from), Some(to)) = (self.outlook.parted, self.link_from, now.link()) {
            return Some((Step::ProvingDead, Because::LinkFell { from, to, after: self.since }));
        }
        let because = self.outlook.failed.or_else(|| self.overdue(now, config))?;
        Some((Step::ProvingDead, because))
    }

    /// All coils off: what the settled cross voltages say of welds, continuously.
    pub(super) fn look_at_rest(&mut self, now: &Measured, findings: &mut Findings, config: &Checked) {
        if self.step != Step::ProvingDead && now.voltages.is_some() {
            findings.precharge_is_well();
            (findings.negative_stuck_open, findings.positive_stuck_open) =
                (Some(Finding::WELL), Some(Finding::WELL));
        }
        self.floating.follow(now.voltages.as_ref(), now.credit, config);
        if self.apart < settling(config) {
            return;
        }
        self.floating.look(now.voltages.as_ref(), now.resistor, now.credit, config);
        if let (Some(hangs), Some(seen)) = (self.hangs(now, config), now.voltages) {
            self.name_welds(hangs, &seen, findings, config);
        }
    }

    /// What the settled link says, with what the contacts and insulation say of it: see `weld`.
    pub(super) fn hangs(&self, now: &Measured, config: &Checked) -> Option<Hangs> {
        let made = |of: fn(Feedback) -> Contact| now.feedback.map(of) == Some(Contact::Made);
        let (negative, precharge, positive) = (
            made(|contacts| contacts.negative),
            made(|contacts| contacts.precharge),
            made(|contacts| contacts.positive),
        );
        // What was found before the link came there says nothing of why it did: dew comes within seconds.
        let denied = now.leaks_denied.is_some_and(|ago| ago < self.floating.hung());
        let untold = !denied && now.feedback.is_some();
        Some(match self.floating.verdict(config)? {
            Joined::Nothing => Hangs::Free,
            Joined::Negative if untold && !negative => Hangs::Untold(Contactor::Negative),
            Joined::Negative => Hangs::Welded(Fault::NegativeWelded),
            Joined::Positive if untold && !positive && !precharge && self.at_opening == AtOpening::Fell => {
                Hangs::Untold(Contactor::Positive)
            }
            Joined::Positive if self.precharge_named || (precharge && !positive) => {
                Hangs::Welded(Fault::PrechargeWelded)
            }
            Joined::Positive => Hangs::Welded(Fault::PositiveWelded),
        })
    }

    fn name_welds(&mut self, hangs: Hangs, seen: &PackVoltages, findings: &mut Findings, config: &Checked) {
        let points = &config.sensing.points;
        // A joined side reads the whole pack behind it, within measuring error.
        let bound = seen.pack - significant(config);
        let negative = |broken| Some(Finding { broken, figures: Some((seen.behind_negative, bound)) });
        let positive = |broken| Some(Finding { broken, figures: Some((seen.behind_positive, bound)) });
        let untold = if let Hangs::Untold(contactor) = hangs { Some(contactor) } else { None };
        findings.untold = untold;
        if points.behind_negative && untold != Some(Contactor::Negative) {
            findings.negative_welded = negative(hangs == Hangs::Welded(Fault::NegativeWelded));
        }
        if points.behind_positive && untold != Some(Contactor::Positive) {
            let precharge = hangs == Hangs::Welded(Fault::PrechargeWelded);
            let welded = precharge || hangs == Hangs::Welded(Fault::PositiveWelded);
            self.precharge_named = precharge;
            if precharge || !welded {
                findings.precharge_welded = positive(precharge);
            }
            if !precharge {
                findings.positive_welded = positive(welded);
            }
        }
    }

    /// Whether all is open and the link dead, as far as the points measured can prove it.
    fn proof_of_death(&self, now: &Measured, config: &Checked) -> Option<PackVoltages> {
        let points = &config.sensing.points;
        let blind = !points.behind_negative && !points.behind_positive && self.apart >= settling(config);
        let open = blind || self.hangs(now, config) == Some(Hangs::Free);
        now.voltages.filter(|seen| open && seen.link < dead_below(config))
    }

    /// ProvingDead: to Open, or to Barred when it cannot be proven or OpenNow demands it.
    pub(super) fn proving_dead(&self, now: &Measured, config: &Checked) -> Option<(Step, Because)> {
        if let Some(seen) = self.proof_of_death(now, config) {
            let PackVoltages { link, behind_negative, .. } = seen;
            let to = if self.barring { Step::Barred } else { Step::Open };
            return Some((to, Because::ProvenDead { link, behind_negative, after: self.apart }));
        }
        if let (Some(Hangs::Welded(fault)), Some(link)) = (self.hangs(now, config), now.link())
            && link < dead_below(config)
        {
            return Some((Step::Barred, stopped_by(fault, config)));
        }
        self.overdue(now, config).map(|because| (Step::Barred, because))
    }

    /// Barred: left only by a clear that finds nothing holding, with everything proven open and the link dead.
    pub(super) fn barred<W: Witness>(
        &mut self,
        now: &Measured,
        asked: Asked,
        demanded: Demanded,
        config: &Checked,
        witness: &mut W,
    ) -> Option<(Step, Because)> {
        if asked.contactors == Wanted::Open {
            self.forget_refusal();
        } else {
            let refusal = match demanded {
                Some((_, fault)) => Refusal::FaultHolds { act: Act::Close, fault },
                None => Refusal::AwaitsClearing,
            };
            self.refuse(refusal, witness);
        }
        // Where a fault still holds, its own judge has said what must change.
        if asked.clear.is_none() || demanded.is_some() {
            return None;
        }
        if self.proof_of_death(now, config).is_some() {
            return Some((Step::Open, Because::Cleared));
        }
        let refusal = match now.voltages {
            Some(seen) => Refusal::NotProvenOpen {
                behind_negative: seen.behind_negative,
                behind_positive: seen.behind_positive,
                link: seen.link,
                pack: seen.pack,
            },
            None => Refusal::Unmeasured(crate::sense::PartName::Voltages),
        };
        witness.tell(|| Evidence::Refused(refusal));
        None
    }
}
