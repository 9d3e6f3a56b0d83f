//! A small bench for the tests: pack, contactors and link by Kirchhoff's laws in whole microvolts, with defects to switch on, and a
//! dialogue that runs the sequence against it and remembers every word.

#![expect(clippy::cast_possible_truncation, reason = "millivolts and milliamperes of a pack fit 32 bits")]
#![expect(clippy::large_types_passed_by_value, reason = "a dialogue reads as one chain of moves")]

use crate::config::{Checked, Config, MeasuringPoints};
use crate::decision::{Coil, Coils, FaultSummary};
use crate::fault::{Fault, Reaction};
use crate::frame::{Asked, Clearance, Contact, Feedback, PackVoltages, ToChassis, Wanted};
use crate::sense::CurrentReading;
use crate::sequence::findings::Findings;
use crate::sequence::measured::Measured;
use crate::sequence::state::Sequence;
use crate::sequence::{Because, Step};
use crate::units::{Amps, Millis, Ratio, Volts};
use crate::witness::Evidence;

/// A contactor that takes 20 ms to close and 10 ms to open, or so much longer.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Relay {
    energised_ms: i64,
    made: bool,
    pub(super) welded: bool,
    pub(super) stuck_open: bool,
    pub(super) late_ms: i64,
}

impl Relay {
    fn pass(&mut self, coil: Coil, ms: i64) {
        self.energised_ms = match coil {
            Coil::On => self.energised_ms.max(0) + ms,
            Coil::Off => self.energised_ms.min(0) - ms,
        };
        if self.energised_ms >= 20 + self.late_ms {
            self.made = true;
        } else if self.energised_ms <= -10 - self.late_ms {
            self.made = false;
        }
    }

    fn made(&self) -> bool {
        self.welded || (self.made && !self.stuck_open)
    }
}

/// Pack, contactors, link. Voltages in microvolts, resistances in ohms, capacitance in microfarads.
#[derive(Clone, Debug)]
pub(super) struct Plant {
    pub(super) pack: i64,
    pub(super) link: i64,
    lifted: i64,
    pub(super) negative: Relay,
    pub(super) precharge: Relay,
    pub(super) positive: Relay,
    pub(super) precharge_ohms: i64,
    pub(super) bleed_down_ohms: i64,
    pub(super) microfarads: i64,
    /// A load resistor across the link.
    pub(super) load_ohms: Option<i64>,
    /// Current that the closed pack delivers to its load, in milliamperes, negative when it discharges.
    pub(super) load_milliamps: i32,
    /// A turning motor holds the link up to this.
    pub(super) motor: Option<i64>,
    /// No feedback contact is read.
    pub(super) without_feedback: bool,
    /// What feedback says of positive, when it lies.
    pub(super) positive_feedback: Option<Contact>,
    /// What the link's meter shows, when it lies.
    pub(super) link_reads: Option<i64>,
}

impl Plant {
    fn new(config: &Checked) -> Self {
        let pack = i64::from(config.pack.nominal.milli()) * 1_000;
        Self {
            pack,
            link: 0,
            lifted: pack / 2,
            negative: Relay::default(),
            precharge: Relay::default(),
            positive: Relay::default(),
            precharge_ohms: config.sequence.precharge_ohms.0.into(),
            bleed_down_ohms: config.sequence.bleed_down_ohms.0.into(),
            microfarads: config.sequence.link_microfarads.into(),
            load_ohms: None,
            load_milliamps: 0,
            motor: None,
            without_feedback: false,
            positive_feedback: None,
            link_reads: None,
        }
    }

    fn is_direct(&self) -> bool {
        self.negative.made() && self.positive.made()
    }

    /// Current out of the pack through the precharge resistor, in microamperes.
    fn through_resistor(&self) -> i64 {
        let joined = self.negative.made() && self.precharge.made() && !self.positive.made();
        if joined { (self.pack - self.link) / self.precharge_ohms } else { 0 }
    }

    fn pass(&mut self, coils: Coils, tick_ms: i64) {
        for _ in 0..tick_ms {
            for _ in 0..10 {
                // µA · 0.1 ms / µF = 100 µV
                let drained =
                    self.link / self.bleed_down_ohms + self.load_ohms.map_or(0, |ohms| self.link / ohms);
                self.link += (self.through_resistor() - drained) * 100 / self.microfarads;
                self.link = self.link.max(self.motor.unwrap_or(self.link));
                if self.is_direct() {
                    self.link = self.pack;
                }
            }
            let span = self.pack - self.link;
            self.lifted = match (self.negative.made(), self.positive.made() || self.precharge.made()) {
                (true, _) => 0,
                (false, true) => span,
                // Time constant of the floating link: 100 ms.
                (false, false) => self.lifted + (span / 2 - self.lifted) / 100,
            };
            // Last, so that a contact made at the end of a tick draws current into a link that has not risen yet.
            self.negative.pass(coils.negative, 1);
            self.precharge.pass(coils.precharge, 1);
            self.positive.pass(coils.positive, 1);
        }
    }

    pub(super) fn voltages(&self) -> PackVoltages {
        let volts = |micro: i64| Volts::from_milli((micro / 1_000) as i32);
        PackVoltages {
            pack: volts(self.pack),
            behind_negative: volts(self.pack - self.lifted),
            behind_positive: volts(self.lifted + self.link),
            link: volts(self.link_reads.unwrap_or(self.link)),
        }
    }

    fn milliamps(&self) -> i32 {
        let drawn = -(self.through_resistor() / 1_000) as i32;
        if self.is_direct() { self.load_milliamps } else { drawn }
    }

    fn feedback(&self) -> Feedback {
        let contact = |relay: &Relay| if relay.made() { Contact::Made } else { Contact::Broken };
        Feedback {
            negative: contact(&self.negative),
            precharge: contact(&self.precharge),
            positive: self.positive_feedback.unwrap_or(contact(&self.positive)),
        }
    }
}

/// The sequence against the bench, tick by tick, with the faults of the contactors judged as they are by default: at once and
/// for good until cleared.
pub(super) struct Dialogue {
    pub(super) config: Checked,
    pub(super) plant: Plant,
    pub(super) sequence: Sequence,
    pub(super) findings: Findings,
    pub(super) coils: Coils,
    pub(super) heard: Vec<Evidence>,
    pub(super) reaction: Option<(Reaction, Fault)>,
    pub(super) current_is_stale: bool,
    pub(super) check_is_stale: bool,
    /// What the second channel shows in milliamperes where that is not the truth.
    pub(super) check_milliamps: Option<i32>,
    pub(super) voltages_are_stale: bool,
    /// What else is confirmed.
    pub(super) confirmed: Option<Fault>,
    /// Every finding that was ever broken.
    pub(super) found: Vec<Fault>,
    pub(super) supply: Volts,
    /// Time from frame to frame, over and over: longer where frames are lost.
    pub(super) ticks_ms: Vec<u32>,
    /// What the pack's voltmeter shows, in thousandths of the truth.
    pub(super) pack_scale: i64,
    /// How long ago insulation left no leak that draws the link to a pole.
    pub(super) leaks_denied: Option<Millis>,
    asked: Asked,
    ticks: usize,
    now_ms: u32,
}

impl Dialogue {
    pub(super) fn with(config: Config) -> Self {
        let config = config.check(96, 16).or_else(|_| config.check(16, 8)).expect("the default is valid");
        Self {
            plant: Plant::new(&config),
            sequence: Sequence::new(),
            findings: Findings::default(),
            coils: Coils::NONE,
            heard: Vec::new(),
            reaction: None,
            current_is_stale: false,
            check_is_stale: false,
            check_milliamps: None,
            voltages_are_stale: false,
            confirmed: None,
            found: Vec::new(),
            supply: Volts::from_milli(12_000),
            ticks_ms: vec![10],
            pack_scale: 1_000,
            leaks_denied: Some(Millis::ZERO),
            asked: Asked::NOTHING,
            ticks: 0,
            now_ms: 0,
            config,
        }
    }

    pub(super) fn without_points(behind_negative: bool, behind_positive: bool) -> Self {
        let mut config = Config::crane();
        config.sensing.points = MeasuringPoints { behind_negative, behind_positive, ..config.sensing.points };
        Self::with(config)
    }

    /// A crane that has been closed without trouble.
    pub(super) fn closed() -> Self {
        Self::with(Config::crane()).at_ms(1_000).asks(Wanted::Closed).until(Step::Closed)
    }

    pub(super) fn asks(mut self, contactors: Wanted) -> Self {
        self.asked.contactors = contactors;
        self
    }

    pub(super) fn with_plant(mut self, change: impl FnOnce(&mut Plant)) -> Self {
        change(&mut self.plant);
        self
    }

    pub(super) fn demands(mut self, reaction: Reaction, fault: Fault) -> Self {
        self.reaction = Some((reaction, fault));
        self
    }

    /// Clears for one tick; nothing that is still found holds on.
    pub(super) fn clears(mut self) -> Self {
        self.reaction = None;
        self.asked.clear = Some(Clearance::Service);
        self.tick();
        self.asked.clear = None;
        self
    }

    /// Runs to this time.
    pub(super) fn at_ms(mut self, ms: u32) -> Self {
        while self.now_ms < ms {
            self.tick();
        }
        self
    }

    pub(super) fn for_ms(self, ms: u32) -> Self {
        let until = self.now_ms + ms;
        self.at_ms(until)
    }

    /// No reading of the voltages for so long, frame after frame.
    pub(super) fn blind_for_ms(mut self, ms: u32) -> Self {
        self.voltages_are_stale = true;
        let mut seeing = self.for_ms(ms);
        seeing.voltages_are_stale = false;
        seeing
    }

    /// No frame at all for so long: the coils stay as they were.
    pub(super) fn lost_for_ms(mut self, ms: u32) -> Self {
        self.ticks_ms = vec![ms];
        self.tick();
        self.ticks_ms = vec![10];
        self
    }

    /// Runs until the step is reached, at most twenty seconds.
    pub(super) fn until(mut self, step: Step) -> Self {
        for _ in 0..2_000 {
            if self.sequence.step() == step {
                return self;
            }
            self.tick();
        }
        panic!("{step:?} is not reached from {:?}; heard {:?}", self.sequence.step(), self.moves());
    }

    pub(super) fn answers(self, step: Step) -> Self {
        assert_eq!(self.sequence.step(), step, "at {} ms; heard {:?}", self.now_ms, self.moves());
        self
    }

    /// The last move was made for such a reason.
    pub(super) fn because(self, such: impl FnOnce(&Because) -> bool) -> Self {
        let last = self.moves().pop();
        assert!(last.as_ref().is_some_and(|(_, _, because)| such(because)), "{last:?}");
        self
    }

    /// Whether something like it was said so far.
    pub(super) fn has_heard(&self, such: impl Fn(&Evidence) -> bool) -> usize {
        self.heard.iter().filter(|evidence| such(evidence)).count()
    }

    pub(super) fn moves(&self) -> Vec<(Step, Step, Because)> {
        let moved = |evidence: &Evidence| match evidence {
            Evidence::Moved { from, to, because } => Some((*from, *to, *because)),
            _ => None,
        };
        self.heard.iter().filter_map(moved).collect()
    }

    pub(super) fn steps(&self) -> Vec<Step> {
        self.moves().into_iter().map(|(_, to, _)| to).collect()
    }

    pub(super) fn now_ms(&self) -> u32 {
        self.now_ms
    }

    fn measured(&self, elapsed: Millis) -> Measured {
        let held = |milliamps: i32, range: Amps| Amps::from_milli(milliamps).max(-range).min(range);
        let pack = &self.config.pack;
        let amps = held(self.plant.milliamps(), pack.current_range);
        let check = held(self.check_milliamps.unwrap_or(self.plant.milliamps()), pack.current_check_range);
        let mut voltages = self.plant.voltages();
        voltages.pack = Volts::from_milli((self.plant.pack * self.pack_scale / 1_000_000) as i32);
        let current = CurrentReading {
            amps,
            raw: amps,
            unlearnt: Amps::ZERO,
            error: Amps::ZERO,
            at_end: amps.abs() == pack.current_range,
            calm: Millis::ZERO,
        };
        Measured {
            elapsed,
            credit: elapsed.min(self.config.pack.oldest_age),
            voltages: (!self.voltages_are_stale).then_some(voltages),
            current: (!self.current_is_stale).then_some(current),
            current_check: (!self.check_is_stale).then_some(check),
            supply: Some(self.supply),
            feedback: (!self.plant.without_feedback).then_some(self.plant.feedback()),
            cells: Some(Volts::from_milli((self.plant.pack / 1_000) as i32)),
            insulated: true,
            leaks_denied: self.leaks_denied,
            resistor: ToChassis::Open,
        }
    }

    pub(super) fn tick(&mut self) {
        let elapsed = self.ticks_ms[self.ticks % self.ticks_ms.len()];
        self.ticks += 1;
        self.now_ms += elapsed;
        self.plant.pass(self.coils, elapsed.into());
        let now = self.measured(Millis(elapsed));
        self.findings = self.sequence.look(&now, &self.config, &mut Ear(&mut self.heard));
        for (found, fault) in findings(&self.findings) {
            if found.is_some_and(|found| found.broken) {
                if !self.found.contains(&fault) {
                    self.found.push(fault);
                }
                let reaction = self.config.faults.reaction(fault);
                if self.reaction.is_none_or(|(holds, _)| reaction > holds) && reaction >= Reaction::OpenSoon {
                    self.reaction = Some((reaction, fault));
                }
            }
        }
        let mut faults = FaultSummary { reaction: self.reaction, ..FaultSummary::default() };
        if let Some((_, fault)) = self.reaction {
            faults.confirmed.insert(fault);
        }
        if let Some(fault) = self.confirmed {
            faults.confirmed.insert(fault);
        }
        if self.findings.resistor_heat >= Ratio::ONE && !self.found.contains(&Fault::PrechargeResistorHot) {
            self.found.push(Fault::PrechargeResistorHot);
        }
        let coils = self.sequence.decide(&now, self.asked, &faults, &self.config, &mut Ear(&mut self.heard));
        if coils.positive == Coil::On && self.coils.positive == Coil::Off {
            let seen = now.voltages.expect("never without a reading");
            // 5 %, and a millivolt for the rounding of the bench, also of what the pack's voltmeter does not show.
            let truth = Volts::from_milli((self.plant.pack / 1_000) as i32);
            for pack in [seen.pack, truth] {
                let limit = Volts::from_bits(pack.bits() / 20) + Volts::from_milli(1);
                assert!((pack - seen.link).abs() <= limit, "positive commanded onto {seen:?}, {truth:?}");
            }
        }
        self.coils = coils;
    }
}

/// The findings with the faults that they become.
pub(super) fn findings(all: &Findings) -> [(Option<crate::sequence::Finding>, Fault); 12] {
    [
        (all.precharge_flat, Fault::PrechargeFlat),
        (all.precharge_stalled, Fault::PrechargeStalled),
        (all.precharge_too_slow, Fault::PrechargeTooSlow),
        (all.precharge_too_fast, Fault::PrechargeTooFast),
        (all.closing_difference, Fault::ClosingDifferenceLarge),
        (all.precharge_stuck_open, Fault::PrechargeStuckOpen),
        (all.negative_stuck_open, Fault::NegativeStuckOpen),
        (all.positive_stuck_open, Fault::PositiveStuckOpen),
        (all.negative_welded, Fault::NegativeWelded),
        (all.precharge_welded, Fault::PrechargeWelded),
        (all.positive_welded, Fault::PositiveWelded),
        (all.link_reading, Fault::LinkReadingImplausible),
    ]
}

/// Remembers all but the waiting.
struct Ear<'a>(&'a mut Vec<Evidence>);

impl crate::witness::Witness for Ear<'_> {
    fn saw(&mut self, evidence: Evidence) {
        if !matches!(evidence, Evidence::Waits { .. }) {
            self.0.push(evidence);
        }
    }
}
