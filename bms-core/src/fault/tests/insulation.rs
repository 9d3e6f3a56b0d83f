//! Insulation against its two steps: counted in readings, said at its pole, and what it keeps from closing.

use super::*;
use crate::decision::Warning;
use crate::frame::{Contact, Pole};
use crate::insulation::InsulationStep;
use crate::witness::Refusal;

impl<const CELLS: usize, const THERMISTORS: usize> Paper<CELLS, THERMISTORS> {
    /// So many ohms a volt of the pack between its positive pole and the chassis.
    fn leaks(&mut self, per_volt: i64) -> &mut Self {
        self.chassis.plus = per_volt * i64::from(self.frame.voltages.value.pack.milli()) / 1_000;
        self
    }

    /// Readings since the start, and of them those that one more look at a fault ends with it Confirmed.
    fn readings_until(&mut self, fault: Fault) -> Option<usize> {
        let before = self.found();
        (0..6_000).find(|_| self.after(10).confirmed(fault)).map(|_| self.found() - before)
    }

    fn found(&self) -> usize {
        let found = |evidence: &&Evidence| matches!(evidence, Evidence::Insulation(InsulationStep::Found(_)));
        self.heard.0.iter().filter(found).count()
    }

    /// The cross voltages of an empty link at the positive pole.
    fn hangs_at_positive(&mut self) -> &mut Self {
        let around = &mut self.frame.voltages.value;
        (around.behind_negative, around.behind_positive) = (Volts::ZERO, around.pack);
        self
    }

    fn warning(&self) -> Option<Warning> {
        self.decision.and_then(|decision| decision.warning)
    }

    fn refused(&self, like: impl Fn(&Refusal) -> bool) -> bool {
        self.heard.0.iter().any(|evidence| matches!(evidence, Evidence::Refused(refusal) if like(refusal)))
    }
}

/// 500 Ω/V in three readings and 100 Ω/V in two; 5 % beside them nothing is found.
#[test]
fn low_insulation_is_counted_in_readings() {
    let mut low = crane();
    low.leaks(475).for_ms(100);
    assert_eq!(low.readings_until(Fault::InsulationLow), Some(3));
    assert_eq!(low.remembers(Fault::InsulationLow), Some(Place::Pole(Pole::Positive)));
    assert_eq!((low.warning(), low.confirmed(Fault::InsulationLowFar)), (None, false));
    let mut far = crane();
    far.leaks(95).for_ms(100);
    assert_eq!(far.readings_until(Fault::InsulationLowFar), Some(2));
    assert_eq!(far.warning(), Some(Warning::Danger));
    for (per_volt, fault) in [(525, Fault::InsulationLow), (105, Fault::InsulationLowFar)] {
        let mut paper = crane();
        paper.leaks(per_volt).for_ms(60_000);
        assert!(paper.found() > 5 && paper.remembers(fault).is_none(), "{per_volt} Ω/V");
    }
}

/// One low reading among good ones is none; between trip and release the fault stays; three good ones end it, and then it may be cleared.
#[test]
fn low_insulation_ends_beyond_its_release() {
    let mut paper = crane();
    paper.leaks(400).for_ms(60_000).leaks(525).for_ms(60_000).clear(Clearance::Service);
    assert!(paper.confirmed(Fault::InsulationLow));
    paper.leaks(600).for_ms(60_000);
    assert!(!paper.confirmed(Fault::InsulationLow));
    assert!(paper.core.faults().latched.holds(Fault::InsulationLow));
    paper.clear(Clearance::Panel);
    assert_eq!(paper.remembers(Fault::InsulationLow), None);
}

/// Asked from the first tick on, a pack closes once it is measured; one with a leak waits for certainty, and then is refused.
#[test]
fn nothing_closes_before_insulation_is_known() {
    let mut sound = crane();
    sound.after(10).frame.asked = Asked { contactors: Wanted::Closed, ..Asked::NOTHING };
    let closes = (0..400).find(|_| sound.after(10).coils() != Coils::NONE);
    assert!(closes.is_some_and(|ticks| (60..=200).contains(&ticks)), "{closes:?}");
    assert!(sound.refused(|refusal| *refusal == Refusal::InsulationUnknown));
    assert_eq!(sound.found(), 1);

    let mut leaky = crane();
    leaky.leaks(60).after(10).frame.asked = Asked { contactors: Wanted::Closed, ..Asked::NOTHING };
    assert!((0..2_000).all(|_| leaky.after(10).coils() == Coils::NONE));
    let named =
        |refusal: &Refusal| matches!(refusal, Refusal::FaultHolds { fault: Fault::InsulationLowFar, .. });
    assert!(leaky.refused(named));
    // The leak dries: nobody needs to clear for closing.
    leaky.leaks(2_000);
    assert!((0..2_000).any(|_| leaky.after(10).coils().negative == Coil::On));
}

/// 100 µF settle in minutes: no pair comes to an end. The last result is of no use for closing once it is older than `oldest`, and then it is said
/// that none is known. One more result ends that.
#[test]
fn insulation_that_is_not_found_for_too_long_is_unknown() {
    let mut config = Config::crane();
    config.insulation.oldest = Millis(30_000);
    let mut paper = Paper::<96, 16>::new(&config.fit().expect("that is long enough"));
    paper.for_ms(20_000);
    let nanofarads = core::mem::replace(&mut paper.chassis.nanofarads, 100_000);
    let found = paper.found();
    paper.for_ms(20_000);
    assert!(!paper.confirmed(Fault::InsulationUnknown));
    paper.for_ms(12_000);
    assert!(paper.found() == found && paper.confirmed(Fault::InsulationUnknown), "{found}");
    assert_eq!(paper.remembers(Fault::InsulationUnknown), Some(Place::Pack));
    paper.frame.asked = Asked { contactors: Wanted::Closed, ..Asked::NOTHING };
    assert!((0..100).all(|_| paper.after(10).coils() == Coils::NONE));
    assert!(paper.refused(|refusal| *refusal == Refusal::InsulationUnknown));
    paper.clear(Clearance::Service);
    assert!(paper.confirmed(Fault::InsulationUnknown));
    paper.frame.asked = Asked::NOTHING;
    paper.chassis.nanofarads = nanofarads;
    paper.for_ms(20_000).clear(Clearance::Panel);
    assert_eq!(paper.remembers(Fault::InsulationUnknown), None);
}

/// Nobody looks for an hour while everything is proven open: the result is too old to close on, but measuring was not in vain.
#[test]
fn a_sleep_makes_a_result_old_and_accuses_nobody() {
    let mut paper = crane();
    paper.for_ms(20_000);
    paper.frame.asked = Asked { contactors: Wanted::Closed, ..Asked::NOTHING };
    paper.after(3_600_000);
    assert_eq!(paper.coils(), Coils::NONE);
    assert!(paper.refused(|refusal| *refusal == Refusal::InsulationUnknown));
    assert!((0..400).any(|_| paper.after(10).coils().negative == Coil::On));
    assert_eq!(paper.remembers(Fault::InsulationUnknown), None);
}

/// Below its limit insulation is measured again and again. The known resistor still stays away for long enough in between that a contactor
/// which sticks together shows: 520 ms of settling and 100 ms of reading. Its contact must say so: with leaks about, the voltages alone show
/// no weld.
#[test]
fn a_weld_shows_between_the_readings_of_a_low_insulation() {
    for per_volt in [60, 20, 3] {
        for contact in [Contact::Made, Contact::Broken] {
            let mut paper = crane();
            paper.leaks(per_volt).for_ms(30_000);
            assert!(paper.core.proven_open() && paper.confirmed(Fault::InsulationLowFar));
            paper.hangs_at_positive().frame.feedback.value.positive = contact;
            paper.for_ms(5_000);
            let welded = contact == Contact::Made;
            assert_eq!(paper.confirmed(Fault::PositiveWelded), welded, "{per_volt} Ω/V");
            assert_eq!(paper.confirmed(Fault::ContactorStateUnknown), !welded, "{per_volt} Ω/V");
        }
    }
}

/// The link at a pole and the contact says open. Nobody knows until insulation has been measured since: then it is good, no leak explains it,
/// and the contact lies. A pack that measures none takes the graver of the two.
#[test]
fn a_weld_that_its_contact_denies_is_one_where_no_leak_explains_it() {
    for before_ms in [0, 10_000] {
        let mut paper = crane();
        paper.for_ms(before_ms).hangs_at_positive().for_ms(1_500);
        assert!(!paper.confirmed(Fault::PositiveWelded) && paper.confirmed(Fault::ContactorStateUnknown));
        paper.frame.asked.contactors = Wanted::Closed;
        assert!((0..500).all(|_| paper.after(10).coils() == Coils::NONE));
        paper.for_ms(15_000);
        assert!(paper.confirmed(Fault::PositiveWelded));
    }

    let mut config = Config::crane();
    config.sensing.points.poles = false;
    let mut unmeasured = Paper::<96, 16>::new(&config.fit().expect("valid"));
    unmeasured.hangs_at_positive().for_ms(1_500);
    assert!(unmeasured.confirmed(Fault::PositiveWelded));
}
