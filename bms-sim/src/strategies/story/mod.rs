//! # Stories
//!
//! A story is what a case file says, as whole numbers and tenths that a person would type: so what breaks a law is a file that can be read. Its
//! parts are strategies of their own. [`Stories`] puts them together, and keeps what a test fixes.
//!
//! A story that is drawn begins with contactors that are asked to close after a second, rests three seconds for insulation and precharge, and
//! then works. Defects begin on whole seconds anywhere in it.

mod parts;
mod text;

pub use parts::{Limits, Phase, defects, duties, limits, packs};

use crate::case::{Case, CaseError, Pack};
use crate::defect::{Defect, Kind};
use proptest::prelude::*;
use std::ops::RangeInclusive;

/// One story, as it stands in a case file.
#[derive(Clone, Debug, PartialEq)]
pub struct Story {
    /// The pack.
    pub pack: Pack,
    /// Of noise and scatter.
    pub seed: u32,
    /// State of charge at the start, in %.
    pub charge_percent: u8,
    /// Temperature of everything at the start, in °C.
    pub celsius: i8,
    /// What is asked of the pack after a rest of four seconds. The story ends with it.
    pub duty: Vec<Phase>,
    /// What is wrong with it.
    pub defects: Vec<Defect>,
    /// Limits of the firmware that are otherwise than usual.
    pub limits: Limits,
}

/// From the start until work begins, in seconds: insulation is measured and the contactors close.
pub(crate) const REST_SECONDS: u32 = 4;

impl Story {
    /// How long it is, in seconds.
    #[must_use]
    pub fn seconds(&self) -> u32 {
        self.duty.iter().map(|phase| phase.seconds).fold(REST_SECONDS, u32::saturating_add)
    }

    /// The case.
    ///
    /// # Errors
    /// When the reader of case files refuses its text, which it never does for what is drawn.
    pub fn case(&self, name: &str) -> Result<Case, CaseError> {
        Case::parse(&self.text(), name)
    }
}

/// Which stories are drawn.
#[derive(Clone, Debug)]
pub struct Stories {
    packs: Vec<Pack>,
    kinds: Vec<Kind>,
    defects: RangeInclusive<usize>,
    onsets: RangeInclusive<u32>,
    duty: Option<Vec<Phase>>,
    limits: Option<Limits>,
}

impl Default for Stories {
    fn default() -> Self {
        Self {
            packs: Pack::ALL.to_vec(),
            kinds: Kind::ALL.to_vec(),
            defects: 0..=2,
            onsets: 0..=90,
            duty: None,
            limits: None,
        }
    }
}

impl Stories {
    /// Of either pack, with up to two defects of any kind, any duty, and limits that move too.
    #[must_use]
    pub fn any() -> Self {
        Self::default()
    }

    /// About this pack.
    #[must_use]
    pub fn of(self, pack: Pack) -> Self {
        Self { packs: vec![pack], ..self }
    }

    /// With so many defects of these kinds.
    #[must_use]
    pub fn with(self, defects: RangeInclusive<usize>, kinds: &[Kind]) -> Self {
        Self { defects, kinds: kinds.to_vec(), ..self }
    }

    /// With defects that begin in these seconds. What would begin after the end of a story begins as much after its start.
    #[must_use]
    pub fn beginning(self, onsets: RangeInclusive<u32>) -> Self {
        Self { onsets, ..self }
    }

    /// With this duty.
    #[must_use]
    pub fn doing(self, duty: &[Phase]) -> Self {
        Self { duty: Some(duty.to_vec()), ..self }
    }

    /// With these limits of the firmware; the usual ones when there are none.
    #[must_use]
    pub fn under(self, limits: Limits) -> Self {
        Self { limits: Some(limits), ..self }
    }

    /// What draws them. Shrinks to a short story of the trainer with few small defects, a pack at 50 % and 20 °C, and the usual limits.
    pub fn drawn(self) -> impl Strategy<Value = Story> {
        let mut packs = self.packs.clone();
        packs.sort_by_key(|pack| pack.cells());
        proptest::sample::select(packs).prop_flat_map(move |pack| self.of_pack(pack))
    }

    fn of_pack(&self, pack: Pack) -> impl Strategy<Value = Story> + use<> {
        let duty = match &self.duty {
            Some(duty) => Just(duty.clone()).boxed(),
            None => duties().boxed(),
        };
        let limits = match &self.limits {
            Some(limits) => Just(limits.clone()).boxed(),
            None => limits(pack).boxed(),
        };
        let defects =
            proptest::collection::vec(defects(pack, &self.kinds, self.onsets.clone()), self.defects.clone());
        (any::<u16>(), parts::charge(), parts::celsius(), duty, defects, limits).prop_map(
            move |(seed, charge_percent, celsius, duty, defects, limits)| {
                let mut story =
                    Story { pack, seed: seed.into(), charge_percent, celsius, duty, defects, limits };
                let end = f64::from(story.seconds());
                for defect in &mut story.defects {
                    defect.onset_seconds %= end;
                }
                story
            },
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::test_runner::{TestError, TestRunner};
    use std::cell::RefCell;
    use std::collections::BTreeSet;

    fn runner(cases: u32) -> TestRunner {
        TestRunner::new(ProptestConfig { cases, failure_persistence: None, ..ProptestConfig::default() })
    }

    /// Each is a case of its own text, no kind of defect is left out, and limits of many faults are moved.
    #[test]
    fn what_is_drawn_is_a_case() {
        let (kinds, moved) = (RefCell::new(BTreeSet::new()), RefCell::new(BTreeSet::new()));
        let held = runner(400).run(&Stories::any().drawn(), |story| {
            let case = story.case("drawn.toml").map_err(|error| TestCaseError::fail(error.to_string()))?;
            prop_assert_eq!(&case.defects, &story.defects);
            prop_assert!((case.duration_seconds - f64::from(story.seconds())).abs() < 1e-9);
            prop_assert_eq!(&case.limits, &story.limits.0);
            kinds.borrow_mut().extend(case.defects.iter().map(|defect| defect.kind.key()));
            moved.borrow_mut().extend(case.limits.iter().map(|change| change.fault.key()));
            Ok(())
        });
        assert!(held.is_ok(), "{held:?}");
        assert!(kinds.borrow().len() > Kind::ALL.len() * 9 / 10, "only {:?}", kinds.borrow());
        assert!(moved.borrow().len() > 15, "only {:?}", moved.borrow());
    }

    /// Held against a law that a large defect breaks: what is left is the smallest story with one that is just large enough.
    #[test]
    fn a_story_shrinks_to_the_smallest_that_breaks_the_law() {
        let large = |story: &Story| {
            story.defects.iter().any(|defect| defect.kind == Kind::AddedResistance && defect.severity > 20.0)
        };
        let found = runner(4_000).run(&Stories::any().drawn(), |story| {
            prop_assert!(!large(&story));
            Ok(())
        });
        let Err(TestError::Fail(_, story)) = found else { panic!("nothing breaks it: {found:?}") };
        let [defect] = story.defects[..] else { panic!("{story:?}") };
        assert!(defect.severity < 30.0 && defect.place == 0 && defect.onset_seconds == 0.0, "{story:?}");
        assert_eq!((story.pack, story.charge_percent, story.celsius), (Pack::Trainer, 50, 20), "{story:?}");
        assert!(story.duty.len() <= 1 && story.limits.0.is_empty() && story.seed == 0, "{story:?}");
    }
}
