//! Defects: what is physically wrong in the modelled pack, and since when.
//!
//! A defect has a kind ([`Kind`], the one list), a place, a severity in the kind's unit, an onset, and if it likes an
//! end, a time over which it grows, and [`Spells`] in which it comes and goes. Injecting and clearing are one call each on the world. A defect never changes
//! a part itself: it writes the pack's [`Deviations`], which are made anew from
//! "all sound" whenever anything changes. After clearing, the world is therefore the one that never had the defect,
//! but for what physics keeps: heat, charge, wear.

mod effect;
mod list;
mod spell;

pub use list::{Kind, Once, PlaceKind};
pub use spell::Spells;

use crate::world::World;
use crate::world::deviation::Deviations;
use crate::world::spec::PackSpec;
use std::cmp::Ordering;

/// One defect as it is injected.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Defect {
    /// What is wrong.
    pub kind: Kind,
    /// Where, counted from 0; what is counted, [`Kind::place`] says. 0 where there is only one.
    pub place: usize,
    /// How badly, in the kind's unit.
    pub severity: f64,
    /// When it begins, in seconds of the world's time.
    pub onset_seconds: f64,
    /// When it ends by itself.
    pub end_seconds: Option<f64>,
    /// Over how many seconds it grows to its severity; 0 at once. What is only present or absent is present from the
    /// onset.
    pub grows_seconds: f64,
    /// The spells in which it comes and goes; without them it stays.
    pub spells: Option<Spells>,
}

impl Defect {
    /// This kind at this place with its usual severity, from that instant on, at once and for ever.
    #[must_use]
    pub const fn usual(kind: Kind, place: usize, onset_seconds: f64) -> Self {
        Self {
            kind,
            place,
            severity: kind.usual(),
            onset_seconds,
            end_seconds: None,
            grows_seconds: 0.0,
            spells: None,
        }
    }

    /// The next instant after this one, in seconds, at which it begins, is fully grown, comes, goes or ends; infinite when nothing of
    /// it changes any more.
    #[must_use]
    pub fn next_change_after(&self, seconds: f64) -> f64 {
        let end = self.end_seconds.unwrap_or(f64::INFINITY);
        if seconds > end - MOMENT {
            return f64::INFINITY;
        }
        let onset = self.onset_seconds;
        let spell = match self.spells {
            Some(spells) if seconds >= onset - MOMENT => onset + spells.next_change(seconds - onset),
            Some(_) | None => f64::INFINITY,
        };
        let changes = [onset, onset + self.grows_seconds, spell, end];
        changes.into_iter().filter(|at| *at > seconds + MOMENT).fold(f64::INFINITY, f64::min)
    }

    /// Whether a pack can have it.
    pub(crate) fn check(&self, spec: &PackSpec) -> Result<(), DefectError> {
        let kind = self.kind.name();
        let place = self.kind.place().key().map_or_else(|| "part".to_owned(), |key| key.replace('_', " "));
        let count = self.kind.place().count(spec);
        if self.place >= count {
            return Err(DefectError::Place { kind, place, found: self.place + 1, count });
        }
        let (low, high) = self.kind.range();
        if !(low..=high).contains(&self.severity) {
            return Err(DefectError::Severity {
                kind,
                found: self.severity,
                low,
                high,
                unit: self.kind.unit(),
            });
        }
        let end = self.end_seconds.unwrap_or(f64::INFINITY);
        let grows = self.grows_seconds;
        if !self.onset_seconds.is_finite() || !grows.is_finite() || grows < 0.0 || end <= self.onset_seconds {
            return Err(DefectError::Time { kind, onset: self.onset_seconds, end, grows });
        }
        if grows > 0.0 && !self.kind.grows() {
            return Err(DefectError::Growth { kind, grows });
        }
        match self.spells {
            Some(_) if !self.kind.comes_and_goes() => Err(DefectError::Spells { kind }),
            Some(spells) if !spells.accepted() => {
                Err(DefectError::Spell { kind, period: spells.period_seconds, duty: spells.duty })
            }
            Some(_) | None => Ok(()),
        }
    }

    /// Its growth at an instant, 0 to 1; none while it is absent: before the onset, after the end, between two spells.
    fn growth(&self, seconds: f64) -> Option<f64> {
        let since = seconds - self.onset_seconds;
        let over = self.end_seconds.is_some_and(|end| seconds > end - MOMENT);
        if since < -MOMENT || over || self.spells.is_some_and(|spells| !spells.present(since)) {
            None
        } else if self.grows_seconds > 0.0 {
            Some((since / self.grows_seconds).clamp(0.0, 1.0))
        } else {
            Some(1.0)
        }
    }

    /// The order in which defects are written, whatever the order in which they came: sums are then the same to the last bit.
    fn in_order(&self, other: &Self) -> Ordering {
        let end = |defect: &Self| defect.end_seconds.unwrap_or(f64::INFINITY);
        (self.kind, self.place)
            .cmp(&(other.kind, other.place))
            .then(self.onset_seconds.total_cmp(&other.onset_seconds))
            .then(self.severity.total_cmp(&other.severity))
            .then(self.grows_seconds.total_cmp(&other.grows_seconds))
            .then(end(self).total_cmp(&end(other)))
    }

    fn growing(&self, seconds: f64) -> bool {
        self.growth(seconds).is_some_and(|growth| growth < 1.0)
    }
}

impl Kind {
    /// Whether it displaces a reading and nothing else: a meter held to the point itself shows what is true.
    #[must_use]
    pub fn displaces_a_reading(self) -> bool {
        let sound = Deviations::<16, 8>::none();
        let mut with = sound.clone();
        effect::write(&Defect::usual(self, 0, 0.0), 1.0, 0.0, &PackSpec::trainer(), &mut with);
        // A part that stands still, and a sense wire, hide what a meter would show.
        with.transit.standing = 0;
        let rest = Deviations { wires: sound.wires, tap_of_wire: sound.tap_of_wire, ..with.clone() };
        self.once() != Once::MovesCharge && with.transit == sound.transit && rest.only_measure()
    }
}

/// Less than any tick, more than the rounding of a sum of ticks, in seconds.
const MOMENT: f64 = 1e-6;

/// The number under which an injected defect is kept.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct DefectId(usize);

/// Why a defect was not taken.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum DefectError {
    /// There is no such place.
    #[error("{kind}: there is no {place} {found}; accepted is 1 to {count}")]
    Place {
        /// Name of the kind.
        kind: &'static str,
        /// What is counted.
        place: String,
        /// The place asked for, counted from 1.
        found: usize,
        /// How many there are.
        count: usize,
    },
    /// The severity lies outside of what makes sense.
    #[error("{kind}: severity {found} {unit} is outside of what is accepted, {low} to {high} {unit}")]
    Severity {
        /// Name of the kind.
        kind: &'static str,
        /// The severity asked for.
        found: f64,
        /// Least accepted.
        low: f64,
        /// Most accepted.
        high: f64,
        /// Unit of all three.
        unit: &'static str,
    },
    /// Onset, end or growth time do not fit each other.
    #[error("{kind}: from {onset} s to {end} s, growing for {grows} s, is no span of time")]
    Time {
        /// Name of the kind.
        kind: &'static str,
        /// Onset asked for.
        onset: f64,
        /// End asked for, infinite for none.
        end: f64,
        /// Growth time asked for.
        grows: f64,
    },
    /// What is only present or absent, or happens once, cannot grow.
    #[error("{kind}: growing for {grows} s; accepted is 0, it is there at once")]
    Growth {
        /// Name of the kind.
        kind: &'static str,
        /// Growth time asked for.
        grows: f64,
    },
    /// What happens once cannot come and go.
    #[error("{kind}: it happens once and cannot come and go")]
    Spells {
        /// Name of the kind.
        kind: &'static str,
    },
    /// The spells make no sense.
    #[error(
        "{kind}: a share of {duty} every {period} s is not accepted; accepted are {} to {} every {} to {} s",
        Spells::DUTY.0,
        Spells::DUTY.1,
        Spells::PERIOD_SECONDS.0,
        Spells::PERIOD_SECONDS.1
    )]
    Spell {
        /// Name of the kind.
        kind: &'static str,
        /// Period asked for.
        period: f64,
        /// Share asked for.
        duty: f64,
    },
    /// Too many at a time.
    #[error("{MOST} defects are present already; clear one first")]
    TooMany,
}

/// Most defects at a time.
pub const MOST: usize = 32;

/// The defects of a world.
#[derive(Clone, Debug, PartialEq)]
pub struct Defects {
    list: [Option<Present>; MOST],
    /// When the next one begins or ends, in seconds.
    next_seconds: f64,
    growing: bool,
}

/// An injected defect with what it has caught at its onset.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Present {
    defect: Defect,
    /// What the frozen reading was when it froze, once it did.
    caught: Option<f64>,
}

impl Default for Defects {
    fn default() -> Self {
        Self { list: [None; MOST], next_seconds: f64::INFINITY, growing: false }
    }
}

impl Defects {
    /// The defects that were injected and not cleared, present or still to come.
    pub fn iter(&self) -> impl Iterator<Item = (DefectId, &Defect)> {
        self.list
            .iter()
            .enumerate()
            .filter_map(|(place, present)| present.as_ref().map(|present| (DefectId(place), &present.defect)))
    }

    fn plan(&mut self, seconds: f64) {
        let defects = self.list.iter().flatten().map(|present| &present.defect);
        self.growing = defects.clone().any(|defect| defect.growing(seconds));
        let changes = defects.map(|defect| defect.next_change_after(seconds));
        self.next_seconds = changes.fold(f64::INFINITY, f64::min);
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> World<CELLS, THERMISTORS> {
    /// Injects a defect; it begins at its onset, or now if that is past.
    ///
    /// # Errors
    /// When place, severity or time make no sense, or too many are present.
    pub fn inject(&mut self, defect: Defect) -> Result<DefectId, DefectError> {
        defect.check(self.spec())?;
        let free = self.defects.list.iter().position(Option::is_none).ok_or(DefectError::TooMany)?;
        self.defects.list[free] = Some(Present { defect, caught: None });
        self.rewrite_deviations();
        Ok(DefectId(free))
    }

    /// Clears a defect: the part is mended. Gives the defect back, if it was there.
    pub fn clear(&mut self, id: DefectId) -> Option<Defect> {
        let cleared = self.defects.list.get_mut(id.0)?.take()?;
        self.rewrite_deviations();
        Some(cleared.defect)
    }

    /// The defects that were injected and not cleared.
    #[must_use]
    pub fn defects(&self) -> &Defects {
        &self.defects
    }

    /// Lets defects begin, grow and end; `slow` says that the slow parts are due.
    pub(crate) fn follow_defects(&mut self, slow: bool) {
        let due = self.seconds + MOMENT >= self.defects.next_seconds;
        if due || (slow && self.defects.growing) {
            self.rewrite_deviations();
        }
    }

    /// Goes on with one more defect, at this place of the list. It is written when time passes next, as if it had been known from the start.
    pub(crate) fn expect(&mut self, place: usize, defect: Defect) {
        if let Some(there) = self.defects.list.get_mut(place) {
            *there = Some(Present { defect, caught: None });
            self.defects.next_seconds = self.seconds;
        }
    }

    /// Goes on with a defect as it is from now on, if it is still there; likewise.
    pub(crate) fn amend(&mut self, place: usize, defect: Defect) {
        if let Some(Some(present)) = self.defects.list.get_mut(place) {
            present.defect = defect;
            self.defects.next_seconds = self.seconds;
        }
    }

    /// Goes on without a defect that has not begun yet; those behind it move up.
    pub(crate) fn forget(&mut self, place: usize) {
        if let Some(behind) = self.defects.list.get_mut(place..) {
            behind.rotate_left(1);
            self.defects.list[MOST - 1] = None;
            let due = self.defects.next_seconds;
            self.defects.plan(self.seconds);
            // Another change of this instant is still to be written.
            if due <= self.seconds {
                self.defects.next_seconds = due;
            }
        }
    }

    /// Writes the deviations anew. Cells are brought up to this instant only when they are touched, so that a defect
    /// of a sensor or a contactor changes no bit of any cell.
    fn rewrite_deviations(&mut self) {
        let seconds = self.seconds;
        let mut acting = Vec::new();
        for place in 0..MOST {
            let Some(present) = self.defects.list[place] else { continue };
            let Some(growth) = present.defect.growth(seconds) else {
                self.defects.list[place] = Some(Present { caught: None, ..present });
                continue;
            };
            let caught = present.caught.unwrap_or_else(|| self.catch(&present.defect));
            self.defects.list[place] = Some(Present { caught: Some(caught), ..present });
            acting.push((present.defect, growth, caught));
        }
        acting.sort_by(|(one, ..), (other, ..)| one.in_order(other));
        // What is only there or not is there once, from the first onset on.
        acting.dedup_by(|(later, ..), (first, ..)| {
            later.kind.unit().is_empty() && (later.kind, later.place) == (first.kind, first.place)
        });
        let mut fresh = Deviations::none();
        for (defect, growth, caught) in &acting {
            effect::write(defect, *growth, *caught, self.spec(), &mut fresh);
        }
        self.defects.plan(seconds);
        self.deviate(fresh);
    }

    /// What happens once, at the onset: a reading is caught, a charge is put out of line.
    fn catch(&mut self, defect: &Defect) -> f64 {
        match defect.kind.once() {
            Once::Nothing => defect.severity,
            Once::CatchesCell => self.seen_volts()[defect.place],
            Once::CatchesThermistor => self.thermistor_ratio(defect.place),
            Once::CatchesLink => self.bus.link_volts,
            Once::MovesCharge => {
                let coulombs = defect.severity * crate::world::spec::COULOMBS_AN_AMPERE_HOUR;
                self.swap_charge(defect.place, coulombs);
                coulombs
            }
        }
    }
}

#[cfg(test)]
mod tests;
