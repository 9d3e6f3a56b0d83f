//! The state of the sequence, its two halves of a tick, and the one place where the step changes.

use super::findings::{Findings, LinkLeft};
use super::measured::Measured;
use super::precharge::Start;
use super::resistor::Resistor;
use super::wear::Wear;
use super::weld::Floating;
use super::{Because, Step};
use crate::config::Checked;
use crate::decision::{Coil, Coils, FaultSummary};
use crate::fault::{Fault, Reaction};
use crate::frame::{Asked, Contact, Contactor, Feedback, Wanted};
use crate::sense::Believed;
use crate::units::{Millis, Volts};
use crate::witness::{Act, Evidence, Refusal, Unseparable, Witness};

/// Time since each coil was last switched.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
pub(super) struct Steady {
    pub(super) negative: Millis,
    pub(super) precharge: Millis,
    pub(super) positive: Millis,
}

/// What a request to close is worth.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub(super) enum Request {
    /// Something has happened after which nothing may start by itself, and open contactors were not asked for since.
    Spent,
    /// It counts.
    Counts,
}

/// What the link did when positive was commanded open.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub(super) enum AtOpening {
    /// It fell, or was not seen to stay.
    Fell,
    /// It stayed where it was.
    Stayed,
}

/// Whether a meter says what the others leave for it.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, PartialEq)]
pub(super) enum Meter {
    /// It does, or none can contradict it.
    #[default]
    Believed,
    /// It does not: nothing that it shows accuses anything, and nothing closes by it.
    Lies,
}

/// The state of the contactor sequence.
#[derive(Clone, Debug, Hash, PartialEq)]
pub(crate) struct Sequence {
    pub(super) step: Step,
    /// Time spent in the step.
    pub(super) since: Millis,
    pub(super) coils: Coils,
    pub(super) steady: Steady,
    /// Time since all coils are off; it starts at zero with the controller.
    pub(super) apart: Millis,
    /// Where the link hangs with all coils off.
    pub(super) floating: Floating,
    pub(super) resistor: Resistor,
    /// The last start of precharge, as it was watched.
    pub(super) start: Start,
    /// The link when the step began; in ClosingPositive the highest since then.
    pub(super) link_from: Option<Volts>,
    /// In Opening: the lowest link since it was last lifted.
    pub(super) lowest: Option<Volts>,
    /// In Opening: the level from which the link has not fallen by more than measuring error, and for how long positive had been commanded
    /// open when it came there.
    pub(super) level: Option<(Volts, Millis)>,
    /// In Opening: for how long positive had been commanded open when the link was last lifted, or may have been unseen.
    pub(super) lifted: Millis,
    /// In ClosingPositive: for how long precharge had been commanded open when the link was first read without it.
    pub(super) unaided: Option<Millis>,
    /// Time from the last reading of the voltages to this tick.
    pub(super) unread: Millis,
    /// What this tick's look yielded for the move that follows.
    pub(super) outlook: Outlook,
    /// Time for which negative has been seen closed, in ClosingNegative.
    pub(super) negative_made: Option<Millis>,
    /// Time for which pack and link have differed although both are closed.
    pub(super) differed: Millis,
    /// Whether the fall of the link has told that a weld on the positive side is precharge's.
    pub(super) precharge_named: bool,
    /// What the link did when positive was last opened.
    pub(super) at_opening: AtOpening,
    /// Whether ProvingDead ends in Barred.
    pub(super) barring: bool,
    /// Time waited for the fuse.
    pub(super) fuse_waited: Millis,
    pub(super) openings_under_load: u16,
    pub(super) wear: Wear,
    /// Starts that failed in a row.
    pub(super) failures: u8,
    /// What is left of the pause after a failed start.
    pub(super) pause: Millis,
    pub(super) request: Request,
    /// The kind of refusal that was told last: told once a request.
    told: Option<core::mem::Discriminant<Refusal>>,
    told_points: bool,
}

/// What one tick's look yielded.
#[derive(Clone, Copy, Debug, Default, Hash, PartialEq)]
pub(super) struct Outlook {
    /// The start has failed.
    pub(super) failed: Option<Because>,
    /// Precharge is over: the end limit, and the time since the rise.
    pub(super) charged: Option<(Volts, Millis)>,
    /// Positive is proven closed.
    pub(super) closed: bool,
    /// The link has shown that positive and precharge are open.
    pub(super) parted: bool,
    /// Negative has opened although it is commanded closed.
    pub(super) dropped: bool,
    /// The link's meter.
    pub(super) link_meter: Meter,
}

impl Sequence {
    pub(crate) const fn new() -> Self {
        let steady = Steady { negative: Millis::ZERO, precharge: Millis::ZERO, positive: Millis::ZERO };
        Self {
            step: Step::Open,
            since: Millis::ZERO,
            coils: Coils::NONE,
            steady,
            apart: Millis::ZERO,
            floating: Floating::UNKNOWN,
            resistor: Resistor::COLD,
            start: Start::new(Volts::ZERO),
            link_from: None,
            lowest: None,
            level: None,
            lifted: Millis::ZERO,
            unaided: None,
            unread: Millis::ZERO,
            outlook: Outlook {
                failed: None,
                charged: None,
                closed: false,
                parted: false,
                dropped: false,
                link_meter: Meter::Believed,
            },
            negative_made: None,
            differed: Millis::ZERO,
            precharge_named: false,
            at_opening: AtOpening::Fell,
            barring: false,
            fuse_waited: Millis::ZERO,
            openings_under_load: 0,
            wear: Wear::NONE,
            failures: 0,
            pause: Millis::ZERO,
            request: Request::Spent,
            told: None,
            told_points: false,
        }
    }

    /// Where it stands.
    pub(crate) const fn step(&self) -> Step {
        self.step
    }

    /// What has been used of the contactors' lives.
    pub(crate) const fn wear(&self) -> Wear {
        self.wear
    }

    /// Goes on from what was counted before the controller's start.
    pub(crate) const fn set_wear(&mut self, wear: Wear) {
        self.wear = wear;
    }

    /// A new contactor was fitted: nothing of its life is used. Refused with the contactors closed.
    pub(crate) fn replace<W: Witness>(&mut self, contactor: Contactor, witness: &mut W) {
        if self.step.commands_open() {
            self.wear.forget(contactor);
            witness.tell(|| Evidence::ContactorReplaced { contactor });
        } else {
            witness.tell(|| Evidence::Refused(Refusal::NotOpen(Act::Replace)));
        }
    }

    /// Whether both cross voltages have just shown that all contactors are open.
    pub(crate) const fn proven_open(&self) -> bool {
        self.floating.proven_open()
    }

    /// Time since the coil that was switched on last was; `None` while none is on.
    pub(crate) fn youngest_coil(&self) -> Option<Millis> {
        let coils = [
            (self.coils.negative, self.steady.negative),
            (self.coils.precharge, self.steady.precharge),
            (self.coils.positive, self.steady.positive),
        ];
        coils.iter().filter(|(coil, _)| *coil == Coil::On).map(|(_, on)| *on).min()
    }

    /// Judges the voltages against what the coils command, without moving.
    /// `leaks_denied` is how long ago insulation left no leak that draws a link to a pole.
    pub(crate) fn observe<const CELLS: usize, const THERMISTORS: usize, W: Witness>(
        &mut self,
        believed: &Believed<'_, CELLS, THERMISTORS>,
        leaks_denied: Option<Millis>,
        config: &Checked,
        witness: &mut W,
    ) -> Findings {
        self.look(&Measured { leaks_denied, ..Measured::of(believed) }, config, witness)
    }

    /// Moves at most one step and says which coils are energised. Nothing closes unless insulation was measured.
    pub(crate) fn advance<const CELLS: usize, const THERMISTORS: usize, W: Witness>(
        &mut self,
        believed: &Believed<'_, CELLS, THERMISTORS>,
        asked: Asked,
        (faults, insulated, leaks_denied): (&FaultSummary, bool, Option<Millis>),
        config: &Checked,
        witness: &mut W,
    ) -> Coils {
        let now = Measured { insulated, leaks_denied, ..Measured::of(believed) };
        self.decide(&now, asked, faults, config, witness)
    }

    /// Lets time pass, then looks at what the step is about.
    pub(super) fn look<W: Witness>(&mut self, now: &Measured, config: &Checked, witness: &mut W) -> Findings {
        self.pass(now.elapsed);
        self.tell_points(config, witness);
        self.outlook = Outlook::default();
        let mut findings = Findings::default();
        if self.step != Step::Precharging {
            self.resistor.rest(now.elapsed, config);
        }
        findings.link_reading = now.link_reading(matches!(self.step, Step::Closed | Step::Easing), config);
        if findings.link_reading.is_some_and(|reading| reading.broken) {
            self.outlook.link_meter = Meter::Lies;
        }
        match self.step {
            Step::Open | Step::ProvingDead | Step::Barred => self.look_at_rest(now, &mut findings, config),
            Step::ClosingNegative => self.look_at_negative(now, &mut findings, config),
            Step::Precharging => self.look_at_precharge(now, &mut findings, config, witness),
            Step::ClosingPositive => self.look_at_positive(now, &mut findings, config),
            Step::Closed | Step::Easing => self.look_at_closed(now, &mut findings, config),
            Step::Opening => self.look_at_opening(now, &mut findings, config, witness),
        }
        if now.voltages.is_some() {
            self.unread = Millis::ZERO;
        }
        findings.resistor_heat = self.resistor.heat(config);
        findings.wear = self.wear;
        findings.feedback_contradicts =
            now.feedback.and_then(|feedback| self.contradiction(feedback, &findings, config));
        findings.link_after_opening = now
            .link()
            .filter(|_| self.coils == Coils::NONE && self.apart >= config.sequence.dead_after)
            .map(|volts| LinkLeft {
                volts,
                part_of_pack: config.pack.nominal.scaled(config.sequence.live_fraction),
            });
        findings
    }

    /// Moves at most once, and says the coils of the step that it stands in then.
    pub(super) fn decide<W: Witness>(
        &mut self,
        now: &Measured,
        asked: Asked,
        faults: &FaultSummary,
        config: &Checked,
        witness: &mut W,
    ) -> Coils {
        if asked.clear.is_some() {
            (self.failures, self.request) = (0, Request::Spent);
        }
        if asked.contactors == Wanted::Open {
            self.request = Request::Counts;
        }
        let demanded = faults.reaction.filter(|(reaction, _)| *reaction >= Reaction::OpenSoon);
        let moved = match (self.step, demanded) {
            // Nothing is left to open, and whoever asks is told what is in the way.
            (Step::Barred, _) => self.barred(now, asked, demanded, config, witness),
            (_, Some((Reaction::OpenNow, fault))) => self.open_now(now, fault, config, witness),
            (Step::Open, _) => self.at_open(now, asked, demanded, faults, config, witness),
            (Step::ClosingNegative, _) => self.closing_negative(now, asked, demanded, config),
            (Step::Precharging, _) => self.precharging(now, asked, demanded, config),
            (Step::ClosingPositive, _) => self.closing_positive(now, asked, demanded, config),
            (Step::Closed, _) => self.closed(asked, demanded, config),
            (Step::Easing, _) => {
                // A falling supply would drop the coils by itself: open before that.
                let low = [Fault::SupplyLow, Fault::AuxiliaryDisconnectPulled]
                    .iter()
                    .any(|fault| faults.confirmed.holds(*fault));
                let grace = config.sequence.grace;
                let grace = if low { grace.min(config.sequence.supply_grace) } else { grace };
                self.easing(now, grace, config, witness)
            }
            (Step::Opening, _) => self.opening(now, config),
            (Step::ProvingDead, _) => self.proving_dead(now, config),
        };
        match moved {
            Some((to, because)) => self.go(to, because, now, config, witness),
            None => self.tell_waiting(config, witness),
        }
        self.drive(now, config);
        self.coils
    }

    /// The only place where the step changes.
    fn go<W: Witness>(
        &mut self,
        to: Step,
        because: Because,
        now: &Measured,
        config: &Checked,
        witness: &mut W,
    ) {
        let from = self.step;
        witness.tell(|| Evidence::Moved { from, to, because });
        (self.step, self.since) = (to, Millis::ZERO);
        (self.link_from, self.lowest) = (now.link(), now.link());
        (self.level, self.lifted, self.unaided) = (None, Millis::ZERO, None);
        (self.negative_made, self.differed, self.fuse_waited) = (None, Millis::ZERO, Millis::ZERO);
        match to {
            Step::Precharging => {
                self.start = Start::new(now.link().unwrap_or(Volts::ZERO));
                self.resistor.begin(config);
            }
            Step::Closed => self.failures = 0,
            Step::Opening => self.at_opening = AtOpening::Fell,
            Step::Open | Step::Barred => (self.barring, self.told) = (false, None),
            Step::ClosingNegative | Step::ClosingPositive | Step::Easing | Step::ProvingDead => {}
        }
        if from == Step::Precharging {
            self.resistor.begin(config);
        }
        if to == Step::Barred || matches!(because, Because::FaultDemands { .. }) {
            self.request = Request::Spent;
        }
        let starting = matches!(from, Step::ClosingNegative | Step::Precharging | Step::ClosingPositive);
        if starting && self.outlook.failed.is_some() {
            self.failures = self.failures.saturating_add(1);
            self.pause = config.sequence.retry_pause;
        }
    }

    /// The coils that belong to the step.
    fn drive(&mut self, now: &Measured, config: &Checked) {
        let (on, off) = (Coil::On, Coil::Off);
        let (negative, precharge, positive) = match self.step {
            Step::Open | Step::ProvingDead | Step::Barred => (off, off, off),
            Step::ClosingNegative | Step::Opening => (on, off, off),
            Step::Precharging => (on, on, off),
            // Precharge holds the link until positive has pulled in, then lets go: what still holds it is positive.
            Step::ClosingPositive if self.since < config.sequence.pull_in => (on, on, on),
            Step::ClosingPositive | Step::Closed | Step::Easing => (on, off, on),
        };
        let coils = Coils { negative, precharge, positive };
        self.wear.count(self.coils, coils, now, config);
        let restart = |timer: &mut Millis, before, after| {
            if before != after {
                *timer = Millis::ZERO;
            }
        };
        restart(&mut self.steady.negative, self.coils.negative, negative);
        restart(&mut self.steady.precharge, self.coils.precharge, precharge);
        restart(&mut self.steady.positive, self.coils.positive, positive);
        if coils != Coils::NONE || self.coils != Coils::NONE {
            self.apart = Millis::ZERO;
            self.floating = Floating::UNKNOWN;
        }
        self.coils = coils;
    }

    fn pass(&mut self, elapsed: Millis) {
        for timer in [
            &mut self.since,
            &mut self.apart,
            &mut self.unread,
            &mut self.steady.negative,
            &mut self.steady.precharge,
            &mut self.steady.positive,
        ] {
            *timer = *timer + elapsed;
        }
        self.pause = self.pause - elapsed;
        self.negative_made = self.negative_made.map(|since| since + elapsed);
    }

    /// Whose feedback contact has contradicted its coil for longer than the contactor takes to move. A contact that a weld
    /// explains tells the truth: with all coils off, a made contact waits until the cross voltages can tell, and while positive opens until the
    /// link can.
    #[expect(clippy::option_option, reason = "not judged and no contradiction are two answers")]
    fn contradiction(
        &self,
        feedback: Feedback,
        findings: &Findings,
        config: &Checked,
    ) -> Option<Option<Contactor>> {
        let points = &config.sensing.points;
        let at_rest = matches!(self.step, Step::Open | Step::ProvingDead | Step::Barred);
        let explained = |found: Option<super::Finding>, measured: bool| match found {
            Some(found) => found.broken,
            None => (at_rest && measured) || self.step == Step::Opening,
        };
        let mut all_settled = true;
        for (contactor, contact, coil, steady, explained) in [
            (
                Contactor::Negative,
                feedback.negative,
                self.coils.negative,
                self.steady.negative,
                explained(findings.negative_welded, points.behind_negative),
            ),
            (
                Contactor::Precharge,
                feedback.precharge,
                self.coils.precharge,
                self.steady.precharge,
                explained(findings.precharge_welded, points.behind_positive),
            ),
            (
                Contactor::Positive,
                feedback.positive,
                self.coils.positive,
                self.steady.positive,
                explained(findings.positive_welded, points.behind_positive),
            ),
        ] {
            let (due, time) = match coil {
                Coil::On => (Contact::Made, config.sequence.pull_in),
                Coil::Off => (Contact::Broken, config.sequence.release),
            };
            let settled = steady >= time;
            if settled && contact != due && !(explained && contact == Contact::Made) {
                return Some(Some(contactor));
            }
            all_settled &= settled;
        }
        all_settled.then_some(None)
    }

    /// Says a refusal, once a request for each kind.
    pub(super) fn refuse<W: Witness>(&mut self, refusal: Refusal, witness: &mut W) {
        let kind = Some(core::mem::discriminant(&refusal));
        if self.told != kind {
            self.told = kind;
            witness.tell(|| Evidence::Refused(refusal));
        }
    }

    /// The request has ended.
    pub(super) fn forget_refusal(&mut self) {
        self.told = None;
    }

    /// Says once which welds the missing measuring points hide.
    fn tell_points<W: Witness>(&mut self, config: &Checked, witness: &mut W) {
        if self.told_points {
            return;
        }
        self.told_points = true;
        if !config.sensing.points.behind_positive {
            witness.tell(|| Evidence::CannotSeparate(Unseparable::WeldedPositiveFromOpen));
        }
        if !config.sensing.points.behind_negative {
            witness.tell(|| Evidence::CannotSeparate(Unseparable::WeldedNegativeFromOpen));
        }
    }

    fn tell_waiting<W: Witness>(&self, config: &Checked, witness: &mut W) {
        if let Some(deadline) = self.deadline(config) {
            witness.tell(|| Evidence::Waits { step: self.step, since: self.since, deadline });
        }
    }

    /// When waiting in this step ends, if it does.
    pub(super) fn deadline(&self, config: &Checked) -> Option<Millis> {
        let facts = &config.sequence;
        match self.step {
            Step::Open | Step::Closed | Step::Barred => None,
            Step::ClosingNegative | Step::ClosingPositive | Step::Opening => Some(facts.step_deadline),
            Step::Precharging => {
                let rise = facts.time_constant().0.saturating_mul(u32::from(facts.time_constants));
                Some(facts.flat_after + Millis(rise))
            }
            Step::Easing => Some(facts.grace),
            Step::ProvingDead => Some(facts.dead_after + facts.step_deadline),
        }
    }
}
