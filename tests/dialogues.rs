//! Whole talks between firmware and pack, from the first sign of trouble to its end.

use bms_core::decision::Coils;
use bms_core::frame::{Asked, Clearance, Contact, Contactor, Frame, Wanted};
use bms_core::units::{Instant, Ratio};
use bms_core::witness::{Act, Place, Quantity, Refusal};
use bms_core::{Config, Controller, Evidence, Fault, Step, Witness};
use bms_sim::case::Case;
use bms_sim::defect::{Defect, Kind};
use bms_sim::run::Loop;
use bms_sim::world::load::{Demand, Giver};
use bms_sim::world::spec::PackSpec;
use bms_sim::world::{Actuators, Initial, World};
use std::sync::Arc;

type Crane = Loop<96, 16>;

/// A crane that stands half full at 18 °C, with the acts, duties and defects of the story.
fn crane(story: &str) -> Crane {
    let text = format!(
        r#"
        schema = 1
        title = "A dialogue"
        story = "Told by the test."
        pack = "crane"
        seed = 11
        duration_s = 600
        {story}
        [start]
        charge_percent = 60
        celsius = 18
        "#
    );
    let case = Case::parse(&text, "dialogue.toml").unwrap_or_else(|error| panic!("{error}"));
    Loop::new(&Arc::new(case)).expect("the pack is the one of the case")
}

/// Runs until the sequence stands in this step, at most so many seconds.
fn run_until(crane: &mut Crane, step: Step, seconds: f64) {
    let latest = crane.seconds() + seconds;
    while crane.core.step() != step {
        assert!(crane.seconds() < latest, "{step:?} is not reached from {:?}", crane.core.step());
        crane.advance(&mut ());
    }
}

/// The last frame of a closed crane comes again and again, as if its sender hung.
fn steps_while_the_frame_stands(crane: &mut Crane, ticks: u32) -> Vec<(u32, Step)> {
    let frame = crane.frame();
    let mut steps = vec![];
    for tick in 0..ticks {
        let step = crane.core.tick(&frame, &mut ()).step;
        if steps.last().is_none_or(|(_, last)| *last != step) {
            steps.push((tick, step));
        }
    }
    steps
}

/// Found when the parts have missed three ticks. The grace of 2 s must end although no reading of a smaller current comes, and each
/// proof must end by its deadline although no voltage comes: then all coils are off.
#[test]
fn a_sender_that_hangs_under_load_ends_with_open_contactors() {
    let mut crane = crane(
        r#"
        act = [{ at_s = 1, ask = "close" }]
        duty = [{ do = "travel", for_s = 60 }]
        "#,
    );
    run_until(&mut crane, Step::Closed, 10.0);
    while crane.seconds() < 8.0 {
        crane.advance(&mut ());
    }
    let facts = crane.core.config().sequence;
    let steps = steps_while_the_frame_stands(&mut crane, 1_000);
    assert!(crane.core.faults().confirmed.holds(Fault::MeasurementsStale));
    let order: Vec<_> = steps.iter().map(|(_, step)| *step).collect();
    assert_eq!(order, [Step::Closed, Step::Easing, Step::Opening, Step::ProvingDead, Step::Barred]);
    let at = |step| steps.iter().find(|(_, reached)| *reached == step).map_or(0, |(tick, _)| tick * 10);
    assert!(at(Step::Easing) <= 40, "{steps:?}");
    assert!(at(Step::Opening) <= at(Step::Easing) + facts.grace.0 + 10, "{steps:?}");
    assert!(at(Step::ProvingDead) <= at(Step::Opening) + facts.step_deadline.0 + 10, "{steps:?}");
    let frame = crane.frame();
    assert_eq!(crane.core.tick(&frame, &mut ()).coils, Coils::NONE);
}

/// The sender hangs while positive has just been told to open.
#[test]
fn a_sender_that_hangs_during_an_opening_does_not_hold_it_up() {
    let mut crane = crane(r#"act = [{ at_s = 1, ask = "close" }, { at_s = 6, ask = "open" }]"#);
    run_until(&mut crane, Step::Closed, 10.0);
    run_until(&mut crane, Step::Opening, 10.0);
    let steps = steps_while_the_frame_stands(&mut crane, 1_000);
    assert_eq!(steps.last().map(|(_, step)| *step), Some(Step::Barred), "{steps:?}");
}

/// A crane at 60 % and 18 °C whose operator, load and wiring the test holds in its hands.
struct Yard {
    world: World<96, 16>,
    core: Controller<96, 16>,
    asked: Asked,
    amps: f64,
    /// What the wiring makes of a frame on its way to the firmware.
    wiring: fn(&mut Frame<96, 16>),
    heard: Refusals,
    tick: u32,
}

/// Keeps the refusals.
#[derive(Default)]
struct Refusals(Vec<Refusal>);

impl Witness for Refusals {
    fn saw(&mut self, evidence: Evidence) {
        if let Evidence::Refused(refusal) = evidence {
            self.0.push(refusal);
        }
    }
}

impl Yard {
    fn new(config: &Config) -> Self {
        let initial = Initial { charge: 0.6, celsius: 18.0 };
        Self {
            world: World::new(&PackSpec::crane(), 5, initial).expect("the crane is valid"),
            core: Controller::new(config.fit().expect("the configuration is valid")),
            asked: Asked::NOTHING,
            amps: 0.0,
            wiring: |_| {},
            heard: Refusals::default(),
            tick: 0,
        }
    }

    fn pass(&mut self, seconds: f64) {
        let until = self.world.seconds + seconds;
        while self.world.seconds < until - 0.005 {
            let mut frame = self.world.measure(self.tick.into(), Instant(self.tick * 10), self.asked);
            (self.wiring)(&mut frame);
            let decision = self.core.tick(&frame, &mut self.heard);
            let demand = Demand { amps: self.amps, giver: Giver::Drive, outside_celsius: 18.0 };
            self.world.step(0.01, &Actuators::from(&decision), &demand);
            self.tick += 1;
        }
    }

    /// Asks for closed contactors, which counts after open ones, and waits until they are.
    fn close(&mut self) {
        self.asked.contactors = Wanted::Open;
        self.pass(0.01);
        self.asked.contactors = Wanted::Closed;
        self.pass(3.0);
        assert_eq!(self.core.step(), Step::Closed, "{:?}", self.heard.0);
    }

    /// Asks for open contactors and waits until the link is dead.
    fn open(&mut self) {
        self.asked.contactors = Wanted::Open;
        self.pass(12.0);
    }

    fn asks_to_clear(&mut self, by: Clearance) {
        self.asked.clear = Some(by);
        self.pass(0.01);
        self.asked.clear = None;
    }

    /// 40 A out of the pack for two seconds, none for two: two load steps a time.
    fn works(&mut self, times: u32) {
        for _ in 0..times {
            self.amps = -40.0;
            self.pass(2.0);
            self.amps = 0.0;
            self.pass(2.0);
        }
    }

    fn confirmed(&self, fault: Fault) -> bool {
        self.core.faults().confirmed.holds(fault)
    }

    fn is_clear(&self, fault: Fault) -> bool {
        let faults = self.core.faults();
        let remembered = self.core.memory().records().any(|record| record.fault == fault);
        ![faults.suspect, faults.confirmed, faults.latched].iter().any(|set| set.holds(fault)) && !remembered
    }
}

/// Trip, clear at service with the contactors open, close, work: the fault stays away if it was mended and comes back after three
/// load steps if it was not. `breaks` and `mends` work on the yard; the panel may not clear it.
fn a_fault_of_load_steps(fault: Fault, breaks: impl Fn(&mut Yard), mends: impl Fn(&mut Yard)) {
    for mended in [true, false] {
        let mut yard = Yard::new(&Config::crane());
        breaks(&mut yard);
        yard.close();
        yard.works(3);
        assert!(yard.confirmed(fault), "three load steps are enough");
        yard.open();
        assert_eq!(yard.core.step(), Step::Open);
        if mended {
            mends(&mut yard);
        }
        yard.asks_to_clear(Clearance::Panel);
        assert!(yard.confirmed(fault), "the panel may not clear it");
        yard.asks_to_clear(Clearance::Service);
        assert!(yard.is_clear(fault), "{:?}", yard.heard.0);
        yard.close();
        yard.works(1);
        assert!(yard.is_clear(fault), "two load steps prove nothing");
        yard.works(2);
        assert_eq!(yard.is_clear(fault), mended);
        assert_eq!(yard.confirmed(fault), !mended);
        assert_eq!(yard.core.step() == Step::Closed, mended);
    }
}

/// 4 mΩ in the joint behind cell 37; 1.5 mΩ and a quarter of what is expected are allowed.
#[test]
fn a_loose_joint_is_tightened_cleared_and_stays_away() {
    let joint = Defect { severity: 4.0, ..Defect::usual(Kind::LooseJointTapAbove, 36, 0.0) };
    a_fault_of_load_steps(
        Fault::CellResistanceHigh,
        |yard| {
            yard.world.inject(joint).expect("there is such a joint");
        },
        |yard| {
            let (id, _) = yard.world.defects().iter().next().expect("the joint is loose");
            yard.world.clear(id);
        },
    );
}

/// Both sensors sit on a cable that is led through them the wrong way round.
#[test]
fn a_reversed_current_cable_is_turned_round_cleared_and_stays_away() {
    a_fault_of_load_steps(
        Fault::CurrentSignImplausible,
        |yard| {
            yard.wiring = |frame| {
                frame.current.value = -frame.current.value;
                frame.current_check.value = -frame.current_check.value;
            };
        },
        |yard| yard.wiring = |_| {},
    );
}

/// A measuring channel hangs: the cell is no longer protected, whatever it reads.
#[test]
fn a_channel_that_hangs_is_mended_cleared_and_stays_away() {
    a_fault_of_load_steps(
        Fault::CellReadingFrozen,
        |yard| {
            let hangs = Defect::usual(Kind::CellChannelFrozen, 52, 0.0);
            yard.world.inject(hangs).expect("there is such a cell");
        },
        |yard| {
            let (id, _) = yard.world.defects().iter().next().expect("the channel hangs");
            yard.world.clear(id);
        },
    );
}

/// While the contactors are closed the load steps go on and speak for themselves: nothing is forgotten on request.
#[test]
fn what_load_steps_showed_is_not_forgotten_while_closed() {
    let mut config = Config::crane();
    config.faults.cell_resistance_high.reaction = bms_core::Reaction::Report;
    let mut yard = Yard::new(&config);
    let joint = Defect { severity: 4.0, ..Defect::usual(Kind::LooseJointTapAbove, 36, 0.0) };
    yard.world.inject(joint).expect("there is such a joint");
    yard.close();
    yard.works(3);
    yard.asks_to_clear(Clearance::Service);
    assert!(yard.confirmed(Fault::CellResistanceHigh));
    let last = yard.heard.0.last();
    assert!(
        matches!(last, Some(Refusal::ConditionPresent(seen)) if seen.fault == Fault::CellResistanceHigh),
        "{last:?}"
    );
}

/// Without the voltage behind positive its weld shows while opening and while starting, and at no other time: no reading at rest
/// can tell that it was mended. The workshop vouches for it, and the next start shows whether that was true.
#[test]
fn a_weld_that_cannot_be_seen_at_rest_is_cleared_by_the_workshop_and_found_again() {
    for mended in [true, false] {
        let mut config = Config::crane();
        config.sensing.points.behind_positive = false;
        let mut yard = Yard::new(&config);
        // Nor does its feedback contact tell: it hangs loose.
        yard.wiring = |frame| frame.feedback.value.positive = Contact::Broken;
        yard.close();
        let weld = Defect::usual(Kind::ContactorWelded, 2, yard.world.seconds);
        let id = yard.world.inject(weld).expect("there is such a contactor");
        yard.open();
        assert!(yard.confirmed(Fault::PositiveWelded));
        if mended {
            yard.world.clear(id);
            yard.pass(12.0);
        }
        yard.asks_to_clear(Clearance::Service);
        assert!(yard.is_clear(Fault::PositiveWelded), "{:?}", yard.heard.0);
        yard.asked.contactors = Wanted::Closed;
        yard.pass(3.0);
        assert_eq!(
            (yard.is_clear(Fault::PositiveWelded), yard.core.step() == Step::Closed),
            (mended, mended)
        );
    }
}

impl Yard {
    fn has(&mut self, kind: Kind, contactor: usize) {
        let defect = Defect::usual(kind, contactor, self.world.seconds);
        self.world.inject(defect).expect("there is such a contactor");
    }

    fn place_of(&self, fault: Fault) -> Option<Place> {
        self.core.memory().records().find(|record| record.fault == fault).map(|record| record.place)
    }
}

/// While positive is closed, precharge may be closed beside it and no voltage shows it. If its contact says so with the coil off,
/// nobody knows: the contactors open, and the fall of the link tells that it was the contact.
#[test]
fn a_contactor_whose_state_nothing_tells_opens_the_contactors() {
    let mut yard = Yard::new(&Config::crane());
    yard.close();
    yard.has(Kind::FeedbackStuckClosed, 1);
    yard.pass(0.2);
    assert!(yard.confirmed(Fault::ContactorStateUnknown) && yard.confirmed(Fault::FeedbackImplausible));
    assert_eq!(yard.place_of(Fault::ContactorStateUnknown), Some(Place::Contactor(Contactor::Precharge)));
    assert_ne!(yard.core.step(), Step::Closed);
    yard.open();
    assert_eq!(yard.core.step(), Step::Open);
    assert!(yard.is_clear(Fault::PrechargeWelded), "the link fell");
    // All is proven open, so that the contact is known to lie: that is reported, and no more.
    assert!(!yard.confirmed(Fault::ContactorStateUnknown) && yard.confirmed(Fault::FeedbackImplausible));
    yard.asks_to_clear(Clearance::Panel);
    assert!(yard.is_clear(Fault::ContactorStateUnknown), "{:?}", yard.heard.0);
}

/// The link is as high as the pack: positive and negative are closed, whatever their contacts say.
#[test]
fn a_contact_that_the_voltages_contradict_is_only_reported() {
    for contactor in [0, 2] {
        let mut yard = Yard::new(&Config::crane());
        yard.close();
        yard.has(Kind::FeedbackStuckOpen, contactor);
        yard.pass(2.0);
        assert!(yard.confirmed(Fault::FeedbackImplausible));
        assert!(yard.is_clear(Fault::ContactorStateUnknown));
        assert_eq!(yard.core.step(), Step::Closed);
    }
}

/// Slow by 80 ms, positive lets the link fall that much later, and on from where a welded precharge would hold it.
#[test]
fn a_slow_positive_is_not_taken_for_a_weld() {
    let mut yard = Yard::new(&Config::crane());
    yard.close();
    yard.has(Kind::ContactorSlow, 2);
    for _ in 0..2 {
        yard.open();
        assert_eq!(yard.core.step(), Step::Open);
        for fault in [Fault::PrechargeWelded, Fault::PositiveWelded, Fault::NegativeWelded] {
            assert!(yard.is_clear(fault), "{fault:?}");
        }
        yard.close();
    }
}

/// The most that was seen of the precharge resistor's heat.
struct Hottest(Ratio);

impl Witness for Hottest {
    fn saw(&mut self, evidence: Evidence) {
        if let Evidence::Assessed(seen) = evidence
            && let (Fault::PrechargeResistorHot, Some(Quantity::Ratio(heat))) = (seen.fault, seen.observed)
        {
            self.0 = self.0.max(heat);
        }
    }
}

/// ½CV² whatever the resistance (TI TIDUF73): at 317 V, (317/307.2)²/2 = 53.2 % of the two full starts that are allowed at once,
/// whenever within a tick the contactor makes contact.
#[test]
fn a_start_costs_the_precharge_resistor_the_same_whenever_contact_is_made() {
    for seed in 0..10 {
        let initial = Initial { charge: 0.6, celsius: 18.0 };
        let mut world = World::<96, 16>::new(&PackSpec::crane(), seed, initial).expect("the crane is valid");
        let mut core = Controller::<96, 16>::new(Config::crane().fit().expect("the default is valid"));
        let mut hottest = Hottest(Ratio::ZERO);
        for tick in 0..350_u32 {
            let contactors = if tick < 200 { Wanted::Open } else { Wanted::Closed };
            let asked = Asked { contactors, ..Asked::NOTHING };
            let decision = core.tick(&world.measure(tick.into(), Instant(tick * 10), asked), &mut hottest);
            world.step(0.01, &Actuators::from(&decision), &Demand::default());
        }
        assert_eq!(core.step(), Step::Closed);
        assert!((500..=560).contains(&hottest.0.milli()), "seed {seed}: {:?}", hottest.0);
    }
}

/// Without the voltage behind positive nothing but the contact tells a welded positive from an open one: negative must not close.
#[test]
fn a_made_contact_without_a_measuring_point_keeps_the_pack_open() {
    let mut config = Config::crane();
    config.sensing.points.behind_positive = false;
    let mut yard = Yard::new(&config);
    yard.has(Kind::FeedbackStuckClosed, 2);
    yard.pass(2.0);
    yard.asked.contactors = Wanted::Closed;
    yard.pass(2.0);
    assert_eq!(yard.core.step(), Step::Open);
    let refused = Refusal::FaultHolds { act: Act::Close, fault: Fault::ContactorStateUnknown };
    assert_eq!(yard.heard.0, [refused]);
}

/// A third of an ohm across a cell takes 10 A: a tenth of C, which on the plateau are some millivolts an hour. The pack rests, the world in
/// steps of a second, the controller asleep for ten between frames. A leak of 100 Ω takes 33 mA, 0.8 Ah a day: no voltage shows that.
#[test]
fn a_short_inside_a_rested_cell_is_found_and_a_soft_leak_is_not() {
    for (ohms, found) in [(0.33, true), (100.0, false)] {
        let initial = Initial { charge: 0.6, celsius: 18.0 };
        let mut world = World::<96, 16>::new(&PackSpec::crane(), 5, initial).expect("the crane is valid");
        let mut core = Controller::<96, 16>::new(Config::crane().fit().expect("the default is valid"));
        let leak = Defect { severity: ohms, ..Defect::usual(Kind::CellLeak, 61, 0.0) };
        world.inject(leak).expect("there is such a cell");
        let demand = Demand { amps: 0.0, giver: Giver::Drive, outside_celsius: 18.0 };
        let mut actuators = Actuators::OFF;
        for second in 0..9_000_u32 {
            let fast = second < 60;
            for tick in 0..if fast { 100 } else { 1 } {
                if fast || second % 10 == 0 {
                    let number = u64::from(second) * 100 + tick;
                    let at = Instant(second * 1_000 + u32::try_from(tick * 10).expect("small"));
                    let decision = core.tick(&world.measure(number, at, Asked::NOTHING), &mut ());
                    actuators = Actuators::from(&decision);
                }
                world.step(if fast { 0.01 } else { 1.0 }, &actuators, &demand);
            }
        }
        let record = core.memory().records().find(|record| record.fault == Fault::InternalShort);
        assert_eq!(record.map(|record| record.place), found.then_some(Place::Cell(61)), "{ohms} Ω");
        assert_eq!(core.step() == Step::Barred, found, "{ohms} Ω");
    }
}

/// One cell of the bench is 2 Ah fuller and bleeds, since the others are known to be emptier; its switch stays off, or another one's on.
/// What the cells read does not move for it: their comparators tell.
#[test]
fn a_bleed_switch_that_does_not_obey_is_reported() {
    let told = |kind: Kind, place: usize| {
        let initial = Initial { charge: 1.0, celsius: 20.0 };
        let mut world = World::<16, 8>::new(&PackSpec::trainer(), 7, initial).expect("the bench is valid");
        let mut core = Controller::<16, 8>::new(Config::trainer().fit().expect("the default is valid"));
        let low = Defect { severity: -2.0, ..Defect::usual(Kind::ChargeOutOfLine, 4, 0.0) };
        world.inject(low).expect("there is such a cell");
        let id = world.inject(Defect::usual(kind, place, 0.0)).expect("there is such a cell");
        let demand = Demand { amps: 0.0, giver: Giver::Drive, outside_celsius: 20.0 };
        let mut at = Instant(0);
        let mut run = |core: &mut Controller<16, 8>, world: &mut World<16, 8>, ticks: u32, millis: u32| {
            for _ in 0..ticks {
                at = Instant(at.0 + millis);
                let decision = core.tick(&world.measure(at.0.into(), at, Asked::NOTHING), &mut ());
                world.step(f64::from(millis) / 1_000.0, &Actuators::from(&decision), &demand);
            }
        };
        // Proven open, the controller sleeps for a second at a time.
        run(&mut core, &mut world, 1_000, 10);
        run(&mut core, &mut world, 6_000, 1_000);
        let confirmed: Vec<_> = core.faults().confirmed.iter().collect();
        let at = core.memory().records().next().map(|record| record.place);
        world.clear(id);
        run(&mut core, &mut world, 100, 1_000);
        (confirmed, at, core.faults().confirmed.is_empty())
    };
    let place = Some(Place::Cell(9));
    assert_eq!(told(Kind::BleedStuckOff, 9), (vec![Fault::BleedPathStuckOff], place, true));
    assert_eq!(told(Kind::BleedStuckOn, 9), (vec![Fault::BleedPathStuckOn], place, true));
}

/// A pack of 54 °C stands in 38 °C, cooling on. A fan that stands is told by its tacho; one that turns in a duct with a fifth of its air only
/// by the temperature: 16 K · 0.5 W/K / 2 kJ/K are 1.2 °C in 5 min with all of the air, and a quarter of a degree with a fifth.
#[test]
fn cooling_that_does_not_cool_is_found_with_and_without_the_tachos_help() {
    for kind in [None, Some(Kind::CoolingStopped), Some(Kind::AirflowBlocked)] {
        let initial = Initial { charge: 0.6, celsius: 54.0 };
        let mut world = World::<96, 16>::new(&PackSpec::crane(), 5, initial).expect("the crane is valid");
        let mut core = Controller::<96, 16>::new(Config::crane().fit().expect("the default is valid"));
        if let Some(kind) = kind {
            world.inject(Defect::usual(kind, 0, 0.0)).expect("there is cooling");
        }
        let demand = Demand { amps: 0.0, giver: Giver::Drive, outside_celsius: 38.0 };
        let mut at = Instant(0);
        for tick in 0..1_800_u32 {
            // Proven open, the controller sleeps for a second at a time.
            let millis = if tick < 1_000 { 10 } else { 1_000 };
            at = Instant(at.0 + millis);
            let decision = core.tick(&world.measure(at.0.into(), at, Asked::NOTHING), &mut ());
            world.step(f64::from(millis) / 1_000.0, &Actuators::from(&decision), &demand);
        }
        assert_eq!(core.faults().confirmed.holds(Fault::CoolingFailed), kind.is_some(), "{kind:?}");
    }
}
