//! Listens to the firmware and keeps what is rare.

use super::{Event, What};
use bms_core::decision::Cooling;
use bms_core::estimate::LoadStep;
use bms_core::fault::{Fault, Reading, Stage};
use bms_core::insulation::InsulationStep;
use bms_core::limit::{LimitRule, Side};
use bms_core::units::Amps;
use bms_core::wires::WireTest;
use bms_core::witness::{Assessment, Evidence};
use bms_core::{Config, Decision, Step, Witness};

/// Load steps that a fault of resistance rests on.
const STEPS: usize = 3;

/// How near a fault came to its limit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Nearest {
    /// The assessment of that tick.
    pub assessment: Assessment,
    /// When, in seconds from the start.
    pub seconds: f64,
}

/// A load step that was judged, and between which duties.
#[derive(Clone, Copy, Debug)]
pub struct JudgedStep {
    /// The step, of the cell that stood out most in it.
    pub step: LoadStep,
    /// When it was judged, in seconds from the start.
    pub seconds: f64,
    /// The duty before the last change, by its name.
    pub from: &'static str,
    /// The duty of that moment.
    pub duty: &'static str,
}

/// The least current that a rule allowed while the contactors were closed, where it was less than what the pack is built for.
#[derive(Clone, Copy, Debug)]
pub struct Tightest {
    /// Charge or discharge.
    pub side: Side,
    /// What the rule allowed.
    pub allows: Amps,
    /// The rule that bound.
    pub rule: LimitRule,
    /// When, in seconds from the start.
    pub seconds: f64,
}

/// Listens to the firmware and keeps what is rare.
#[derive(Clone, Debug)]
pub(super) struct Recorder {
    pub(super) tick: u64,
    pub(super) seconds: f64,
    pub(super) duty: &'static str,
    pub(super) duty_before: &'static str,
    pub(super) events: Vec<Event>,
    pub(super) nearest: Vec<Option<Nearest>>,
    pub(super) steps: Vec<JudgedStep>,
    pub(super) steps_of_fault: Vec<JudgedStep>,
    pub(super) tightest: [Option<Tightest>; 2],
    pub(super) bled: Vec<u8>,
    cooling: Cooling,
    step: Step,
    has_limit: Vec<bool>,
    precharging: Option<Evidence>,
}

impl Recorder {
    pub(super) fn new(config: &Config) -> Self {
        let has_limit = |fault| config.faults.shown(fault).trip.is_some();
        Self {
            tick: 0,
            seconds: 0.0,
            duty: "",
            duty_before: "",
            events: Vec::new(),
            nearest: vec![None; Fault::COUNT],
            steps: Vec::new(),
            steps_of_fault: Vec::new(),
            tightest: [None; 2],
            bled: Vec::new(),
            cooling: Cooling::Off,
            step: Step::Open,
            // What another room finds at a moment of its own has no distance in between.
            has_limit: Fault::ALL.into_iter().map(has_limit).collect(),
            precharging: None,
        }
    }

    pub(super) fn note(&mut self, what: What) {
        self.events.push(Event { tick: self.tick, seconds: self.seconds, what });
    }

    /// Takes what came out of the tick.
    pub(super) fn decided<const CELLS: usize>(&mut self, decision: &Decision<CELLS>) {
        self.step = decision.step;
        if decision.cooling != self.cooling {
            self.cooling = decision.cooling;
            self.note(What::Cooled(decision.cooling));
        }
        if self.steps_of_fault.is_empty() && decision.faults.confirmed.holds(Fault::CellResistanceHigh) {
            self.steps_of_fault.clone_from(&self.steps);
        }
    }

    /// Keeps the assessment if no earlier one of this fault came nearer to its limit.
    fn measure(&mut self, seen: &Assessment) {
        let place = seen.fault as usize;
        let Some(nearest) = self.nearest.get_mut(place).filter(|_| self.has_limit.get(place) == Some(&true))
        else {
            return;
        };
        let nearer = match (distance(seen), nearest.as_ref().map(|kept| distance(&kept.assessment))) {
            (None, _) => false,
            (Some(_), None | Some(None)) => true,
            (Some(now), Some(Some(kept))) => now < kept,
        };
        if nearer {
            *nearest = Some(Nearest { assessment: *seen, seconds: self.seconds });
        }
    }

    /// Keeps the last few load steps.
    fn step(&mut self, step: LoadStep) {
        if self.steps.len() == STEPS {
            self.steps.remove(0);
        }
        self.steps.push(JudgedStep { step, seconds: self.seconds, from: self.duty_before, duty: self.duty });
    }

    /// Keeps the tightest limit of each side; open contactors, the rating and the slope of a change are none worth telling.
    fn limit(&mut self, side: Side, rule: LimitRule, allows: Amps) {
        let place = match side {
            Side::Charge => 0,
            Side::Discharge => 1,
        };
        let tighter = self.tightest[place].is_none_or(|kept| allows < kept.allows);
        let telling = !matches!(rule, LimitRule::NotClosed | LimitRule::Rating | LimitRule::Smoothing);
        if tighter && telling && self.step == Step::Closed {
            self.tightest[place] = Some(Tightest { side, allows, rule, seconds: self.seconds });
        }
    }

    /// A start that fails rests on the comparison of that moment: it is told first.
    fn explain_precharge(&mut self, seen: &Assessment) {
        let of_precharge = matches!(
            seen.fault,
            Fault::PrechargeFlat
                | Fault::PrechargeStalled
                | Fault::PrechargeTooSlow
                | Fault::PrechargeTooFast
                | Fault::ClosingDifferenceLarge
                | Fault::PrechargeStuckOpen
        );
        if of_precharge
            && matches!(seen.stage, Stage::Confirmed { .. })
            && let Some(rests_on) = self.precharging.take()
        {
            self.note(What::Told(rests_on));
        }
    }
}

/// Steps between value and limit; less than none beyond it. `None` where there is no value.
pub(super) fn distance(seen: &Assessment) -> Option<i64> {
    let (observed, limit) = (seen.observed?, seen.limit?);
    let apart = (observed.bits() - limit.bits()).abs();
    Some(if seen.reading == Reading::Beyond { -apart } else { apart })
}

impl Witness for Recorder {
    fn saw(&mut self, evidence: Evidence) {
        match evidence {
            Evidence::Assessed(seen) => self.measure(&seen),
            Evidence::LoadStep(step) => self.step(step),
            Evidence::Limited { side, rule, allows, .. } => self.limit(side, rule, allows),
            Evidence::Precharging(_) => self.precharging = Some(evidence),
            Evidence::StageChanged { assessment, .. } => {
                self.explain_precharge(&assessment);
                self.note(What::Told(evidence));
            }
            Evidence::BleedChosen { cell, .. } => {
                if self.bled.is_empty() {
                    self.note(What::Told(evidence));
                }
                if !self.bled.contains(&cell) {
                    self.bled.push(cell);
                }
            }
            Evidence::NearMiss(_)
            | Evidence::Reacting { .. }
            | Evidence::Moved { .. }
            | Evidence::OpenedUnderLoad { .. }
            | Evidence::Refused(_)
            | Evidence::ConfigRefused(_)
            | Evidence::CannotSeparate(_)
            | Evidence::ChargeDisagrees { .. }
            | Evidence::ChargeImpossible { .. }
            | Evidence::Wires(WireTest::Unanswered(_) | WireTest::Open(_) | WireTest::Dismissed(_))
            | Evidence::Insulation(
                InsulationStep::NotMeasured | InsulationStep::PausedForCharger | InsulationStep::Spoilt(_),
            )
            | Evidence::RecordDropped { .. }
            | Evidence::Cleared { .. }
            | Evidence::Quarantined(_)
            | Evidence::Restarted(_)
            | Evidence::CellReplaced { .. }
            | Evidence::ContactorReplaced { .. } => self.note(What::Told(evidence)),
            Evidence::FrameNotNewer { .. }
            | Evidence::FrameLate { .. }
            | Evidence::PartStale { .. }
            | Evidence::Doubted { .. }
            | Evidence::Waits { .. }
            | Evidence::OcvCompared { .. }
            | Evidence::LoadStepDiscarded { .. }
            | Evidence::Wires(WireTest::Begun | WireTest::Sound)
            | Evidence::Insulation(
                InsulationStep::Begun(_) | InsulationStep::Read { .. } | InsulationStep::Found(_),
            )
            | Evidence::BleedRefused { .. }
            | Evidence::OffsetLearnt { .. } => {}
        }
    }
}
