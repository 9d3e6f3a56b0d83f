//! Insulation against its two steps: counted in readings, said at its pole, and what it keeps from closing.

use super::*;
use crate::decision::Warning;
use crate::frame::Pole;
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
