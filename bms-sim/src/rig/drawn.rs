//! # Stories drawn by chance
//!
//! Host and target must decide alike in what nobody thought of too. A story is drawn as a pure function of (seed, number): charge and
//! temperature at the start, a duty of several phases, when the contactors are asked to close, to open and to close again, and one to
//! three [defects](crate::defect::Kind) of any kind, each with a place, a severity anywhere in its range, an onset, and sometimes growth or
//! spells. Every kind is as likely as any other; so is every step of severity, on a log scale. It has no expectation: nobody knows what must come out.
//!
//! What is drawn is an ordinary case with a text, which any other verb plays again.

use crate::case::{Case, CaseError, Change, Pack, Unchanged, Work};
use crate::defect::{Defect, Kind, Spells};
use crate::dictionary::Subject;
use crate::world::noise::Noise;
use std::fmt::Write as _;

/// A story is this long, in seconds: the start, insulation measured and contactors closed take three, most dwells end within ten.
const SECONDS: (u64, u64) = (20, 60);

/// Steps of severity to choose from: a factor of two or less between two of them.
const SEVERITIES: usize = 25;

/// What keeps a story from being drawn.
#[derive(Debug, thiserror::Error)]
pub enum NotDrawn {
    /// Its text is no case.
    #[error(transparent)]
    Case(#[from] CaseError),
    /// Its defect is none that this pack can have.
    #[error(transparent)]
    Change(#[from] Unchanged),
}

/// The story with this number of those that a seed gives.
///
/// # Errors
/// Never: a test draws hundreds.
pub fn drawn(pack: Pack, seed: u64, number: u64) -> Result<Case, NotDrawn> {
    let mut dice = Dice { noise: Noise::new(seed), number, drawn: 0 };
    let seconds = dice.whole(SECONDS);
    let mut text = format!(
        "schema = 1\ntitle = \"Drawn {number} of seed {seed}\"\nstory = \"Drawn by chance, to hold host and target against each other.\"\n\
         pack = \"{}\"\nseed = {}\nduration_s = {seconds}\n\n[start]\ncharge_percent = {}\ncelsius = {}\n",
        pack.name(),
        dice.whole((0, 999_999)),
        dice.whole((3, 97)),
        i64::try_from(dice.whole((0, 80))).unwrap_or_default() - 30,
    );
    let open = dice.whole((seconds / 2, seconds - 5));
    for (at, ask) in [(1, "close"), (open, "open"), (open + 2, "clear"), (open + 3, "close")] {
        // Writing to a string cannot fail.
        let _ = write!(text, "\n[[act]]\nat_s = {at}\nask = \"{ask}\"\n");
    }
    for _ in 0..dice.whole((3, 8)) {
        let work = dice.one_of(&Work::ALL);
        let _ = write!(text, "\n[[duty]]\ndo = \"{}\"\nfor_s = {}\n", work.name(), dice.whole((1, 9)));
        if work.usual_rate() != 0.0 {
            let _ = writeln!(text, "rate_c = {}", dice.tenths((1, 20)));
        }
    }
    let mut case = Case::parse(&text, &format!("drawn-{seed}-{number}.toml"))?;
    let mut onsets: Vec<u64> = (0..dice.whole((1, 3))).map(|_| dice.whole((0, 800 * seconds))).collect();
    onsets.sort_unstable();
    for onset_ms in onsets {
        // Whole ticks, as whoever writes a case has them.
        case = case.changed(onset_ms / 10 * 10, &Change::Defect(dice.defect(pack)))?;
    }
    Ok(case)
}

/// Draws one thing after another.
struct Dice {
    noise: Noise,
    number: u64,
    drawn: u32,
}

impl Dice {
    /// A whole number, both ends included.
    fn whole(&mut self, (low, high): (u64, u64)) -> u64 {
        let word = self.noise.of_run(self.number, self.drawn);
        self.drawn += 1;
        low + word % (high - low + 1)
    }

    /// The same in tenths.
    fn tenths(&mut self, ends: (u32, u32)) -> f64 {
        let tenths = self.whole((ends.0.into(), ends.1.into()));
        f64::from(u32::try_from(tenths).unwrap_or(ends.0)) / 10.0
    }

    /// One of a list that is not empty.
    fn one_of<T: Copy>(&mut self, list: &[T]) -> T {
        let place = self.whole((0, list.len() as u64 - 1));
        list[usize::try_from(place).unwrap_or_default()]
    }

    fn one_in(&mut self, many: u64) -> bool {
        self.whole((1, many)) == 1
    }

    fn defect(&mut self, pack: Pack) -> Defect {
        let spec = pack.spec();
        let kind = self.one_of(Kind::ALL);
        let places: Vec<usize> = (0..kind.place().count(&spec)).collect();
        let subject = Subject { kind, place: self.one_of(&places) };
        let severity = self.one_of(&subject.severities(SEVERITIES, &spec));
        let grows_seconds = if kind.grows() && self.one_in(4) { self.tenths((1, 200)) } else { 0.0 };
        let spells = (kind.comes_and_goes() && self.one_in(4))
            .then(|| Spells { period_seconds: self.tenths((1, 100)), duty: self.tenths((1, 9)) });
        Defect { grows_seconds, spells, ..subject.defect(severity, 0.0) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    /// Four hundred of each pack: what is drawn is a case, is read again from its text, and no kind of defect is left out.
    #[test]
    fn what_is_drawn_is_a_case_of_its_own_text() {
        for pack in Pack::ALL {
            let mut kinds = BTreeSet::new();
            for number in 1..=400 {
                let case = drawn(pack, 7, number).expect("a story");
                let again = Case::parse(&case.file(), &case.name).map_err(|error| error.to_string());
                assert_eq!(again, Ok(case.clone()), "{number}");
                kinds.extend(case.defects.iter().map(|defect| defect.kind.key()));
            }
            assert_eq!(kinds.len(), Kind::ALL.len());
        }
    }

    #[test]
    fn a_story_depends_on_seed_and_number_alone() {
        let text = |seed, number| drawn(Pack::Trainer, seed, number).expect("a story").file();
        assert_eq!(text(3, 9), text(3, 9));
        assert!(text(3, 9) != text(3, 10) && text(3, 9) != text(4, 9));
    }
}
