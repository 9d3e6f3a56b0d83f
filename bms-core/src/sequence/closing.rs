//! # Closing: is it allowed, and does each contactor do as told?
//!
//! Nothing closes before the cross voltages have proven that all are open, since a welded positive would let negative close onto
//! an empty capacitor. Then each contactor is proven before the next one moves:
//!
//! - negative: `behind_negative` becomes the pack at once, and the link does not rise for half a precharge time constant. A rise by
//!   that time constant means that precharge is welded, a rise at once that positive is;
//! - precharge: the curve, see `precharge`;
//! - positive: precharge lets go after the longest pull-in, and the link must hold. Without positive it would fall with
//!   `R_d · C`; the proof waits until that fall would exceed five times the measuring error. Feedback alone would not do: a plain
//!   auxiliary contact need not move with the main one.
//!
//! A reading of the link that the cross voltages contradict accuses none of them and lets none close: the start ends, and the reading is
//! named.
//!
//! A request to close is a switch that may stand on for hours. It must not start anything when a controller is reset, a fault is
//! cleared or a bar is lifted: whoever does that need not stand at the load (EN ISO 13849-1, manual reset function, from memory: a
//! reset only enables a separate start). After each of these, and after an opening that a fault demanded, the request counts once
//! open contactors were asked for. A start whose precharge failed repeats by itself, a few times, with a pause.

use super::findings::{Finding, Findings};
use super::measured::{Both, Measured};
use super::opening::Hangs;
use super::precharge::{Failure, Verdict, is_charged, load_at, may_close, significant, too_far_above};
use super::resistor::{Conducts, Resistor};
use super::state::{Meter, Request, Sequence};
use super::weld::{place_of_link, settling, shows_where_it_hangs};
use super::{Because, PrechargeCheck, Step};
use crate::config::{Checked, Config};
use crate::decision::{Coil, FaultSummary};
use crate::fault::{Fault, Reaction};
use crate::frame::{Asked, Contact, Feedback, PackVoltages, Wanted};
use crate::sense::PartName;
use crate::units::{Millis, Ratio, Volts};
use crate::witness::{Act, Evidence, Refusal, Unseparable, Witness};

/// The strongest reaction that holds, where it is OpenSoon or OpenNow.
pub(super) type Demanded = Option<(Reaction, Fault)>;

/// Why the contactors must open, if they must.
pub(super) fn reason_to_open(asked: Asked, demanded: Demanded) -> Option<Because> {
    match (demanded, asked.contactors) {
        (Some((reaction, fault)), _) => Some(Because::FaultDemands { fault, reaction }),
        (None, Wanted::Open) => Some(Because::OpeningAsked),
        (None, Wanted::Closed) => None,
    }
}

/// A start that ends for a fault of a contactor, whatever the reaction configured for it.
pub(super) fn stopped_by(fault: Fault, config: &Checked) -> Because {
    Because::FaultDemands { fault, reaction: config.faults.reaction(fault) }
}

impl Sequence {
    /// Open: closes negative if that is asked for and nothing forbids it.
    pub(super) fn at_open<W: Witness>(
        &mut self,
        now: &Measured,
        asked: Asked,
        demanded: Demanded,
        faults: &FaultSummary,
        config: &Checked,
        witness: &mut W,
    ) -> Option<(Step, Because)> {
        if asked.contactors == Wanted::Open {
            self.forget_refusal();
            return None;
        }
        if let Some(refusal) = self.obstacle(now, demanded, faults, config) {
            self.refuse(refusal, witness);
            return None;
        }
        if self.request == Request::Spent {
            self.refuse(Refusal::AskAgain, witness);
            return None;
        }
        let voltages = now.voltages?;
        let points = &config.sensing.points;
        let blind = !points.behind_negative && !points.behind_positive;
        let settled = self.apart >= settling(config);
        let refusal = match self.hangs(now, config) {
            Some(Hangs::Free) => return Some((Step::ClosingNegative, closing(&voltages))),
            None if blind && settled => return Some((Step::ClosingNegative, closing(&voltages))),
            None if self.apart < shows_where_it_hangs(config) => return None,
            None | Some(Hangs::Untold(_)) => Refusal::NotProvenOpen {
                behind_negative: voltages.behind_negative,
                behind_positive: voltages.behind_positive,
                link: voltages.link,
                pack: voltages.pack,
            },
            Some(Hangs::Welded(fault)) => Refusal::FaultHolds { act: Act::Close, fault },
        };
        self.refuse(refusal, witness);
        None
    }

    /// What forbids closing, apart from the proof that all are open.
    fn obstacle(
        &self,
        now: &Measured,
        demanded: Demanded,
        faults: &FaultSummary,
        config: &Checked,
    ) -> Option<Refusal> {
        let facts = &config.sequence;
        let act = Act::Close;
        if config.refused().is_some() {
            return Some(Refusal::FaultHolds { act, fault: Fault::ConfigurationInvalid });
        }
        if let Some((_, fault)) = demanded {
            return Some(Refusal::FaultHolds { act, fault });
        }
        let (Some(_), Some(_), Some(supply)) = (now.voltages, now.current, now.supply) else {
            let part = if now.voltages.is_none() {
                PartName::Voltages
            } else if now.current.is_none() {
                PartName::Current
            } else {
                PartName::Supply
            };
            return Some(Refusal::Unmeasured(part));
        };
        if faults.confirmed.holds(Fault::ContactorWornOut) {
            return Some(Refusal::FaultHolds { act, fault: Fault::ContactorWornOut });
        }
        if now.cells.is_none() {
            return Some(Refusal::Unmeasured(PartName::Cells));
        }
        if faults.confirmed.holds(Fault::InsulationLowFar) {
            return Some(Refusal::FaultHolds { act, fault: Fault::InsulationLowFar });
        }
        if !now.insulated {
            return Some(Refusal::InsulationUnknown);
        }
        if supply < facts.supply_for_closing {
            return Some(Refusal::SupplyTooLow { volts: supply, least: facts.supply_for_closing });
        }
        if self.failures >= facts.retries {
            return Some(Refusal::Retries { wait: Millis::MAX });
        }
        if self.pause > Millis::ZERO {
            return Some(Refusal::Retries { wait: self.pause });
        }
        if self.resistor.rise() > Resistor::most_for_a_start(config)
            || faults.confirmed.holds(Fault::PrechargeResistorHot)
        {
            let most = Resistor::most_for_a_start(config);
            return Some(Refusal::ResistorHot { rise: self.resistor.rise(), most });
        }
        None
    }

    /// ClosingNegative: negative must show, and the link must stay.
    pub(super) fn look_at_negative(&mut self, now: &Measured, findings: &mut Findings, config: &Checked) {
        let Some(seen) = now.voltages.filter(|_| self.outlook.link_meter == Meter::Believed) else { return };
        let from = *self.link_from.get_or_insert(seen.link);
        let most = from + significant(config);
        // Shown by a quarter of the span at most between `behind_negative` and the pack, or without that point by no value.
        let least = seen.pack - Volts::from_bits((seen.pack - seen.link).bits() / 4);
        let figures = config.sensing.points.behind_negative.then_some((seen.behind_negative, least));
        let negative = |broken| Finding { broken, figures };
        if let Some(above) = too_far_above(&seen, config).filter(|_| seen.link > most) {
            // No weld lifts the link that far.
            findings.precharge_failed(Failure::Above, above);
            self.outlook.failed = Some(Because::PrechargeFailed { fault: Failure::Above.fault() });
        } else if seen.link > most {
            let found = Some(Finding::broken(seen.link, most));
            // Between two readings precharge lifts the link by a third at most; positive brings all of it.
            let fault = if is_charged(&seen, config) {
                findings.positive_welded = found;
                Fault::PositiveWelded
            } else {
                self.precharge_named = true;
                findings.precharge_welded = found;
                Fault::PrechargeWelded
            };
            self.outlook.failed = Some(stopped_by(fault, config));
        } else if self.negative_shows(&seen, now, config) {
            self.negative_made.get_or_insert(Millis::ZERO);
            findings.negative_stuck_open = Some(negative(false));
        } else {
            self.negative_made = None;
            let overdue = self.since >= config.sequence.step_deadline;
            if let Some(hidden) = hides_negative(&seen, config).filter(|_| overdue) {
                findings.precharge_failed(Failure::Above, hidden);
                self.outlook.failed = Some(Because::PrechargeFailed { fault: Failure::Above.fault() });
            } else if overdue {
                findings.negative_stuck_open = Some(negative(true));
                self.outlook.failed = Some(stopped_by(Fault::NegativeStuckOpen, config));
            }
        }
    }

    /// Whether negative shows closed: by `behind_negative`, or without that point by time and feedback.
    fn negative_shows(&self, seen: &PackVoltages, now: &Measured, config: &Checked) -> bool {
        if config.sensing.points.behind_negative {
            place_of_link(seen, config).is_some_and(|place| place < Ratio::percent(25))
        } else {
            self.steady.negative >= config.sequence.pull_in
                && now.feedback.is_none_or(|feedback| feedback.negative == Contact::Made)
        }
    }

    /// ClosingNegative: on to precharge once negative has shown for half a time constant.
    pub(super) fn closing_negative(
        &self,
        now: &Measured,
        asked: Asked,
        demanded: Demanded,
        config: &Checked,
    ) -> Option<(Step, Because)> {
        if let Some(because) = reason_to_open(asked, demanded).or(self.outlook.failed) {
            return Some((Step::ProvingDead, because));
        }
        let watched = Millis(config.sequence.time_constant().0 / 2);
        if let (Some(made), Some(seen)) = (self.negative_made, now.voltages)
            && made >= watched
        {
            let PackVoltages { pack, behind_negative, link, .. } = seen;
            return Some((Step::Precharging, Because::NegativeClosed { behind_negative, pack, link }));
        }
        self.overdue(now, config).map(|because| (Step::ProvingDead, because))
    }

    /// Precharging: the link against its curve, and the energy in the resistor.
    pub(super) fn look_at_precharge<W: Witness>(
        &mut self,
        now: &Measured,
        findings: &mut Findings,
        config: &Checked,
        witness: &mut W,
    ) {
        self.start.pass(now.elapsed);
        let (Some(seen), Some(both)) = (now.voltages, now.both()) else {
            self.resistor.rest(now.elapsed, config);
            return;
        };
        let rose_before = self.start.has_risen();
        let (verdict, check) = self.start.look(&both, config);
        let conducts = match (rose_before, self.start.has_risen()) {
            (true, _) => Conducts::Throughout,
            (false, true) => Conducts::FromNow,
            (false, false) if self.is_shorted(now, &seen, config) => Conducts::Perhaps,
            (false, false) => Conducts::Not,
        };
        self.resistor.pass(seen.pack - seen.link, conducts, now.elapsed, config);
        let bound = check.pack - check.within;
        let verdict = if verdict == Verdict::Rising && self.resistor.overloaded() {
            // The energy of two full starts is spent: whatever the cause, this start must end; the heat is told beside it.
            let failure = match (self.start.has_risen(), self.start.climbs(&both.high, check.rise)) {
                (false, _) => Failure::Flat,
                (true, true) => Failure::TooSlow,
                (true, false) => Failure::Stalled,
            };
            Verdict::Failed(failure, Finding::broken(seen.link, bound))
        } else {
            verdict
        };
        witness.tell(|| {
            let stalled = matches!(verdict, Verdict::Failed(Failure::Stalled, _));
            let explained_by = if stalled { load_at(check.link, check.pack, config) } else { None };
            Evidence::Precharging(PrechargeCheck { explained_by, ..check })
        });
        match verdict {
            Verdict::Rising => {}
            // What a reading that lies shows of the start says nothing of the start.
            Verdict::Charged { .. } if self.outlook.link_meter == Meter::Lies => {}
            Verdict::Failed(..) if self.outlook.link_meter == Meter::Lies => {
                self.outlook.failed = Some(stopped_by(Fault::LinkReadingImplausible, config));
            }
            Verdict::Charged { within, after } => {
                self.outlook.charged = Some((within, after));
                findings.precharge_is_well();
            }
            Verdict::Failed(Failure::Flat, found) if conducts == Conducts::Not => {
                self.name_flat(found, now.feedback, findings, config, witness);
            }
            Verdict::Failed(failure, found) => {
                findings.precharge_failed(failure, found);
                self.outlook.failed = Some(Because::PrechargeFailed { fault: failure.fault() });
            }
        }
    }

    /// Nothing flows and nothing rises: the contactor or the resistor is open, and only the contactor's feedback contact can say which. One
    /// that sticks looks like a contactor that does; without it the two are one.
    fn name_flat<W: Witness>(
        &mut self,
        found: Finding,
        feedback: Option<Feedback>,
        findings: &mut Findings,
        config: &Checked,
        witness: &mut W,
    ) {
        if feedback.is_some_and(|contacts| contacts.precharge == Contact::Broken) {
            findings.precharge_stuck_open = Some(found);
            self.outlook.failed = Some(stopped_by(Fault::PrechargeStuckOpen, config));
            return;
        }
        if feedback.is_some() {
            findings.precharge_stuck_open = Some(Finding { broken: false, ..found });
        } else {
            witness.tell(|| Evidence::CannotSeparate(Unseparable::OpenPrechargeFromOpenResistor));
        }
        findings.precharge_failed(Failure::Flat, found);
        self.outlook.failed = Some(Because::PrechargeFailed { fault: Failure::Flat.fault() });
    }

    /// Whether current flows into a link that does not rise: half of what the resistor would draw from the whole pack, or an
    /// unknown current, from half the longest pull-in on.
    fn is_shorted(&self, now: &Measured, seen: &PackVoltages, config: &Checked) -> bool {
        let full = seen.pack.through_ohms(config.sequence.precharge_ohms);
        let flows = match (now.amps(), full) {
            (Some(amps), Some(full)) => amps + amps <= -full,
            (None, _) | (_, None) => true,
        };
        flows && self.start.since_coil().0 >= config.sequence.pull_in.0 / 2
    }

    /// Precharging: positive closes only if the link is within the end limit in this very tick.
    pub(super) fn precharging(
        &self,
        now: &Measured,
        asked: Asked,
        demanded: Demanded,
        config: &Checked,
    ) -> Option<(Step, Because)> {
        if let Some(because) = reason_to_open(asked, demanded).or(self.outlook.failed) {
            return Some((Step::ProvingDead, because));
        }
        if let (Some((within, after)), Some(both)) = (self.outlook.charged, now.both())
            && may_close(&both, config)
        {
            let PackVoltages { pack, link, .. } = both.high;
            return Some((Step::ClosingPositive, Because::LinkCharged { link, pack, within, after }));
        }
        self.overdue(now, config).map(|because| (Step::ProvingDead, because))
    }

    /// ClosingPositive: once precharge has let go, the link must hold. It is held against the highest level it has had in this step
    /// and not against the pack, so that an error of scale between the two does not accuse the contactor; from above the pack it falls to it
    /// when positive closes, and that is no fall. The time that an open
    /// positive would take to show runs from the first reading without precharge: what precharge did before nobody may have seen.
    pub(super) fn look_at_positive(&mut self, now: &Measured, findings: &mut Findings, config: &Checked) {
        let Some(Both { high: seen, .. }) = now.both().filter(|_| self.outlook.link_meter == Meter::Believed)
        else {
            return;
        };
        let from = self.link_from.unwrap_or(seen.link).max(seen.link);
        self.link_from = Some(from);
        if self.coils.precharge == Coil::On || self.steady.precharge < config.sequence.release {
            return;
        }
        let unaided = *self.unaided.get_or_insert(self.steady.precharge);
        if self.steady.precharge - unaided < proof_of_positive(seen.pack, config) {
            return;
        }
        let least = from.min(seen.pack) - Volts::from_bits(significant(config).bits() / 2);
        if seen.link < least {
            findings.positive_stuck_open = Some(Finding::broken(seen.link, least));
            self.outlook.failed = Some(stopped_by(Fault::PositiveStuckOpen, config));
        } else {
            findings.positive_stuck_open = Some(Finding::kept(seen.link, least));
            self.outlook.closed = true;
        }
    }

    /// ClosingPositive: on to Closed, or back through Easing, since current may flow by now.
    pub(super) fn closing_positive(
        &self,
        now: &Measured,
        asked: Asked,
        demanded: Demanded,
        config: &Checked,
    ) -> Option<(Step, Because)> {
        if let Some(because) = reason_to_open(asked, demanded).or(self.outlook.failed) {
            return Some((Step::Easing, because));
        }
        if let Some(seen) = now.voltages.filter(|_| self.outlook.closed) {
            return Some((Step::Closed, Because::PositiveClosed { link: seen.link, pack: seen.pack }));
        }
        self.overdue(now, config).map(|because| (Step::Easing, because))
    }

    /// The proof did not come before the deadline of the step.
    pub(super) fn overdue(&self, now: &Measured, config: &Checked) -> Option<Because> {
        let deadline = self.deadline(config)?;
        (self.since >= deadline).then_some(Because::NotProven { link: now.link(), deadline })
    }
}

/// The link and its bound, where it lies so near the pack that no cross voltage tells a closed negative from an open one. Only one that was above
/// the pack a moment ago comes there.
fn hides_negative(seen: &PackVoltages, config: &Checked) -> Option<Finding> {
    let tells = significant(config) + significant(config);
    let hidden = config.sensing.points.behind_negative && (seen.pack - seen.link).abs() < tells;
    hidden.then(|| Finding::broken(seen.link, seen.pack - tells))
}

/// Time without precharge until an open positive would have shown: the fall of the link by more than measuring error.
pub(crate) fn proof_of_positive(pack: Volts, config: &Config) -> Millis {
    time_to_fall(significant(config), pack, config) + config.pack.tick
}

/// Time in which the bleed-down lowers a link as high as the pack by so much: `t = R_d · C · x/(1 − x)`, with `x` the fall over the pack,
/// never shorter than the exact `−ln(1 − x)`.
pub(super) fn time_to_fall(fall: Volts, pack: Volts, config: &Config) -> Millis {
    let share = fall.fraction_of(pack - fall).unwrap_or(Ratio::ONE).held_between(Ratio::ZERO, Ratio::ONE);
    let constant = i64::from(config.sequence.discharge_time_constant().0);
    Millis(u32::try_from(constant.saturating_mul(i64::from(share.bits())) >> 16).unwrap_or(u32::MAX))
}

fn closing(seen: &PackVoltages) -> Because {
    Because::ClosingAsked {
        behind_negative: seen.behind_negative,
        behind_positive: seen.behind_positive,
        pack: seen.pack,
    }
}
