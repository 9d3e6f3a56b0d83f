//! # Insulation between the pack and the chassis
//!
//! Decides when and how the resistance from the pack to the chassis is measured, and says where the known resistor stands meanwhile.
//!
//! Two readings of UN R100 (annex on isolation resistance). With `V₁` from the negative pole to the chassis, `V₂` from the positive one and
//! `Vb = V₁ + V₂`: the known resistor `Ro` goes to the pole with the larger voltage, that voltage is read again as `V′`, and
//!
//! ```text
//! Ri = Ro · (Vb/V′ − Vb/V)          the resistance of the other, weaker pole to the chassis
//! stronger = Ri · V/(Vb − V)        of the pole that was measured, by the ratio of the voltages without the resistor
//! ```
//!
//! Vb is the pack's voltage in each of the two readings, so that a small move of the pack does not enter. The meter of each pole leaks as
//! well, and is taken out: `1/R = 1/Ri − 1/meter`. A plain look at the balance of the two voltages does not do: with equal leaks at both
//! poles they stay equal, however low the insulation is. Nor is the result the two poles side by side: it is the weaker one.
//!
//! A leak `R` along the string, at the fraction `a` of its voltage, acts as `R/a` to the positive pole and `R/(1 − a)` to the negative
//! one.
//!
//! **Settling.** The Y-capacitors let a pole's voltage follow within `τ = R·C`, seconds where insulation is good. Readings are means over a
//! window. What is left of an exponential after a window of length w in which it moved by d is less than `d·τ/w`, with the slowest `τ`
//! that the configuration knows; once this is small the reading stands. One that does not settle in time is given up.
//!
//! **Both sides are known only in turn.** With the contactors open the pack alone is seen, with them closed pack and load. While they move,
//! nothing is measured. Before they close, the pack is; but first the floating link shows whether they are open, which the known resistor would
//! sway. So it does before each further pair: however low insulation is, the resistor stays away for that long in between.
//!
//! **What spoils a pair** ends it, and another one begins: the pack voltage moved (a load step between the two readings is a leak, or hides
//! one), the contactors moved, the poles contradict the pack voltage. While a charger charges, its own monitor measures; two of them
//! disturb each other, so this one pauses and says so. A charger is what charges for longer than any lowering load feeds back, with the
//! contactors closed.
//!
//! **A result grows old.** Dew comes within seconds; what was found long ago, or on the other side of the contactors, is no ground for
//! closing. Where pair after pair is spoilt (a duty that never stands still, a pack voltage that reads wrong), nothing is found at all: after
//! `oldest` that is a fault of its own. It counts the time in which somebody looked, so that a sleep accuses nobody.

mod formula;
#[cfg(test)]
pub(crate) mod tests;
mod window;

use crate::config::Checked;
use crate::frame::{Pole, PoleVoltages, ToChassis};
use crate::sense::Believed;
use crate::sequence::{Step, shows_where_it_hangs};
use crate::units::{Amps, Millis, Ohms, OhmsPerVolt, Uptime, Volts};
use crate::witness::{Evidence, Witness};
use window::{Means, Window};

/// Most results that are kept.
pub(crate) const HISTORY: u8 = 8;

/// One result of the measurement.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Insulated {
    /// When it was found.
    pub at: Uptime,
    /// The pole with less resistance to the chassis.
    pub weaker: Pole,
    /// Resistance from it to the chassis; [`Ohms`]`(u32::MAX)` stands for more than can be measured.
    pub ohms: Ohms,
    /// Resistance from the other pole to the chassis, as far as it can be measured.
    pub stronger: Ohms,
    /// The pack's voltage meanwhile.
    pub pack: Volts,
    /// What was measured.
    pub side: InsulationSide,
}

impl Insulated {
    /// The weaker pole's resistance over the pack's voltage: what limits are stated in.
    #[must_use]
    pub const fn per_volt(&self) -> OhmsPerVolt {
        OhmsPerVolt::of(self.ohms, self.pack)
    }
}

/// Which side of the contactors insulation is measured on.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum InsulationSide {
    /// The pack alone: the contactors are commanded open.
    Pack,
    /// The pack with link and load.
    WithLoad,
}

impl InsulationSide {
    /// The side that is seen while the contactors stand still; `None` while they move.
    const fn of(step: Step) -> Option<Self> {
        match step {
            Step::Open | Step::Barred => Some(Self::Pack),
            Step::Closed | Step::Easing => Some(Self::WithLoad),
            Step::ClosingNegative
            | Step::Precharging
            | Step::ClosingPositive
            | Step::Opening
            | Step::ProvingDead => None,
        }
    }
}

/// Why a pair of readings was thrown away.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Spoilt {
    /// The pack's voltage moved meanwhile: between these two.
    PackMoved(Volts, Volts),
    /// The contactors moved.
    ContactorsMoved,
    /// The reading had not settled after so long.
    Unsettled(Millis),
    /// The poles together are not the pack.
    PolesContradictPack {
        /// Both poles together.
        poles: Volts,
        /// The pack.
        pack: Volts,
    },
    /// There is no pack voltage between the poles.
    NoPack(Volts),
}

/// One step of the measurement, for the witness.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum InsulationStep {
    /// The poles have no measuring points: insulation is never known. Told once.
    NotMeasured,
    /// A pair of readings begins.
    Begun(InsulationSide),
    /// One reading has settled.
    Read {
        /// Where the known resistor stood.
        resistor: ToChassis,
        /// The negative pole to the chassis.
        negative: Volts,
        /// The positive pole to the chassis.
        positive: Volts,
    },
    /// The pair was thrown away.
    Spoilt(Spoilt),
    /// A charger charges, whose own monitor would be disturbed: nothing is measured until it has gone.
    PausedForCharger,
    /// Both readings gave this.
    Found(Insulated),
}

/// The measurement of insulation.
#[derive(Clone, Debug, Hash, PartialEq)]
pub struct Insulation {
    phase: Phase,
    window: Window,
    charger: Charger,
    /// Time for which the contactors have stood still with the known resistor away from the poles.
    calm: Millis,
    /// Time since the last result, as far as frames came.
    sought: Millis,
    /// Newest first.
    results: [Option<Insulated>; HISTORY as usize],
    told: Told,
}

/// Where the measurement stands.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
enum Phase {
    /// Until the next pair.
    Waits { left: Millis },
    /// Reading both poles without the known resistor.
    Plain { pair: Pair },
    /// Reading again with the resistor at this pole, after these means.
    Loaded { pair: Pair, pole: Pole, plain: Means },
}

/// What both readings of a pair share.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
struct Pair {
    side: InsulationSide,
    /// Time since the resistor was last switched, of each frame no more than a window: between two frames nobody looked whether it settled.
    since: Millis,
    lowest: Volts,
    highest: Volts,
}

/// What has been told and is not told again.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
struct Told {
    not_measured: bool,
    spoilt: Option<core::mem::Discriminant<Spoilt>>,
}

/// Whether a charger charges.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
struct Charger {
    there: bool,
    /// Time for which the current has said the opposite.
    otherwise: Millis,
}

impl Charger {
    fn look(&mut self, seen: &Seen, config: &Checked) {
        let Some(amps) = seen.amps else { return };
        let (flows, elapsed) = (amps >= config.insulation.charging, seen.elapsed);
        if !flows && seen.side == Some(InsulationSide::Pack) {
            // Nothing reaches it through open contactors.
            (self.there, self.otherwise) = (false, Millis::ZERO);
            return;
        }
        self.otherwise = if flows == self.there { Millis::ZERO } else { self.otherwise + elapsed };
        if self.otherwise >= config.insulation.charging_for {
            (self.there, self.otherwise) = (!self.there, Millis::ZERO);
        }
    }
}

impl Insulation {
    pub(crate) const fn new() -> Self {
        Self {
            phase: Phase::Waits { left: Millis::ZERO },
            window: Window::EMPTY,
            charger: Charger { there: false, otherwise: Millis::ZERO },
            calm: Millis::ZERO,
            sought: Millis::ZERO,
            results: [None; HISTORY as usize],
            told: Told { not_measured: false, spoilt: None },
        }
    }

    /// The last results, the newest first; none before the first one.
    pub fn results(&self) -> impl Iterator<Item = &Insulated> {
        self.results.iter().flatten()
    }

    /// Whether a charger charges the pack: current has flowed into it for longer than any load feeds back.
    #[must_use]
    pub const fn charger(&self) -> bool {
        self.charger.there
    }

    /// Time for which no result has come although somebody looked; none while a charger's own monitor measures.
    pub(crate) const fn sought(&self) -> Millis {
        self.sought
    }

    /// Whether insulation does not speak against closing: the last reading is one of the pack alone, no older than allowed and above the
    /// second step; or there is nothing to read it by and the configuration allows that.
    pub(crate) fn lets_close(&self, now: Uptime, config: &Checked) -> bool {
        if config.sensing.points.poles {
            self.results().next().is_some_and(|last| {
                last.side == InsulationSide::Pack
                    && now.since(last.at) <= config.insulation.oldest
                    && last.per_volt() > config.faults.insulation_low_far.trip
            })
        } else {
            config.insulation.unmeasured_closes
        }
    }

    /// How long ago insulation was found so good that no leak draws a floating link to a pole; `None` while the last reading is low, or there
    /// is none. Where it is not measured nobody will ever know, and nothing is excused by it.
    pub(crate) fn leaks_denied(&self, now: Uptime, config: &Checked) -> Option<Millis> {
        if !config.sensing.points.poles {
            return Some(Millis::ZERO);
        }
        let good = |last: &&Insulated| last.per_volt() > config.faults.insulation_low.trip;
        self.results().next().filter(good).map(|last| now.since(last.at))
    }

    /// Lets a tick pass and says where the known resistor stands until the next one.
    pub(crate) fn advance<const CELLS: usize, const THERMISTORS: usize, W: Witness>(
        &mut self,
        believed: &Believed<'_, CELLS, THERMISTORS>,
        step: Step,
        now: Uptime,
        config: &Checked,
        witness: &mut W,
    ) -> ToChassis {
        let seen = Seen {
            elapsed: believed.elapsed,
            credit: believed.credit,
            poles: believed.poles,
            pack: believed.voltages.map(|voltages| voltages.pack),
            amps: believed.current.map(|current| current.amps),
            side: InsulationSide::of(step),
            now,
        };
        self.pass(&seen, config, witness)
    }

    fn pass<W: Witness>(&mut self, seen: &Seen, config: &Checked, witness: &mut W) -> ToChassis {
        let stands = seen.side.is_some() && self.phase.resistor() == ToChassis::Open;
        self.calm = if stands { self.calm + seen.elapsed } else { Millis::ZERO };
        self.sought = self.sought + seen.credit;
        let charged_before = self.charger.there;
        self.charger.look(seen, config);
        if !config.sensing.points.poles {
            if !self.told.not_measured {
                self.told.not_measured = true;
                witness.tell(|| Evidence::Insulation(InsulationStep::NotMeasured));
            }
            return ToChassis::Open;
        }
        if self.charger.there {
            if !charged_before {
                witness.tell(|| Evidence::Insulation(InsulationStep::PausedForCharger));
            }
            (self.phase, self.sought) = (Phase::Waits { left: Millis::ZERO }, Millis::ZERO);
        } else {
            self.phase = self.next(seen, config, witness);
        }
        self.phase.resistor()
    }

    fn next<W: Witness>(&mut self, seen: &Seen, config: &Checked, witness: &mut W) -> Phase {
        let (pair, pole) = match self.phase {
            Phase::Waits { left } => return self.wait(left, seen, config, witness),
            Phase::Plain { pair } => (pair, None),
            Phase::Loaded { pair, pole, plain } => (pair, Some((pole, plain))),
        };
        let Some(side) = seen.side.filter(|side| *side == pair.side) else {
            return self.spoil(Spoilt::ContactorsMoved, config, witness);
        };
        let looked = seen.elapsed.min(config.insulation.window);
        let mut pair = Pair { side, since: pair.since + looked, ..pair };
        // Unread for a while, or not switched yet: the windows begin anew.
        let Some(poles) = seen.poles.filter(|poles| poles.resistor == self.phase.resistor()) else {
            self.window = Window::EMPTY;
            return self.unless_late(pair, config, witness);
        };
        if let Some(spoilt) = pair.take(&poles, seen.pack, config) {
            return self.spoil(spoilt, config, witness);
        }
        let Some(means) = self.window.take(&poles, seen.elapsed, &config.insulation) else {
            return self.unless_late(pair, config, witness);
        };
        if pole.is_none() && side == InsulationSide::Pack && self.calm < shows_where_it_hangs(config) {
            return Phase::Plain { pair };
        }
        self.window = Window::EMPTY;
        let resistor = self.phase.resistor();
        witness.tell(|| {
            let (negative, positive) = (means.negative, means.positive);
            Evidence::Insulation(InsulationStep::Read { resistor, negative, positive })
        });
        match pole {
            None => Phase::Loaded {
                pair: Pair { since: Millis::ZERO, ..pair },
                pole: means.larger(),
                plain: means,
            },
            Some((pole, plain)) => self.found((pole, plain, means), pair.side, seen.now, config, witness),
        }
    }

    /// Both readings are there.
    fn found<W: Witness>(
        &mut self,
        (pole, plain, loaded): (Pole, Means, Means),
        side: InsulationSide,
        at: Uptime,
        config: &Checked,
        witness: &mut W,
    ) -> Phase {
        let found = formula::insulated((pole, plain, loaded), side, at, &config.insulation);
        (self.told.spoilt, self.sought) = (None, Millis::ZERO);
        self.results.rotate_right(1);
        if let Some(newest) = self.results.first_mut() {
            *newest = Some(found);
        }
        witness.tell(|| Evidence::Insulation(InsulationStep::Found(found)));
        // What is low is soon known for certain.
        let low = found.per_volt() <= config.faults.insulation_low.trip;
        Phase::Waits { left: if low { Millis::ZERO } else { config.insulation.pause } }
    }

    /// Counts the time until the next pair, and begins it while the contactors stand still.
    fn wait<W: Witness>(&mut self, left: Millis, seen: &Seen, config: &Checked, witness: &mut W) -> Phase {
        // What was found on the other side of the contactors says nothing of this one.
        let unknown = self.results().next().is_none_or(|last| Some(last.side) != seen.side);
        let left = if unknown { left.min(config.insulation.window) } else { left } - seen.elapsed;
        match (seen.side, &seen.poles) {
            (Some(side), Some(poles)) if left == Millis::ZERO => {
                self.window = Window::EMPTY;
                witness.tell(|| Evidence::Insulation(InsulationStep::Begun(side)));
                let pack = poles.negative + poles.positive;
                Phase::Plain { pair: Pair { side, since: Millis::ZERO, lowest: pack, highest: pack } }
            }
            _ => Phase::Waits { left },
        }
    }

    /// Goes on with a pair, unless its reading should have settled by now.
    fn unless_late<W: Witness>(&mut self, pair: Pair, config: &Checked, witness: &mut W) -> Phase {
        if pair.since > config.insulation.patience {
            return self.spoil(Spoilt::Unsettled(pair.since), config, witness);
        }
        match self.phase {
            Phase::Loaded { pole, plain, .. } => Phase::Loaded { pair, pole, plain },
            Phase::Waits { .. } | Phase::Plain { .. } => Phase::Plain { pair },
        }
    }

    /// Throws the pair away; another one begins a window later. Told once until something else happens.
    fn spoil<W: Witness>(&mut self, spoilt: Spoilt, config: &Checked, witness: &mut W) -> Phase {
        let kind = Some(core::mem::discriminant(&spoilt));
        if self.told.spoilt != kind {
            self.told.spoilt = kind;
            witness.tell(|| Evidence::Insulation(InsulationStep::Spoilt(spoilt)));
        }
        Phase::Waits { left: config.insulation.window }
    }
}

/// What a tick shows of it.
struct Seen {
    elapsed: Millis,
    /// As much of it as a dwell is credited.
    credit: Millis,
    poles: Option<PoleVoltages>,
    pack: Option<Volts>,
    amps: Option<Amps>,
    side: Option<InsulationSide>,
    now: Uptime,
}

impl Phase {
    /// Where the known resistor stands.
    const fn resistor(self) -> ToChassis {
        match self {
            Self::Waits { .. } | Self::Plain { .. } => ToChassis::Open,
            Self::Loaded { pole: Pole::Negative, .. } => ToChassis::Negative,
            Self::Loaded { pole: Pole::Positive, .. } => ToChassis::Positive,
        }
    }
}

impl Pair {
    /// Takes the poles in, and says what spoils the pair.
    fn take(&mut self, poles: &PoleVoltages, pack: Option<Volts>, config: &Checked) -> Option<Spoilt> {
        let (sum, facts) = (poles.negative + poles.positive, &config.insulation);
        self.lowest = self.lowest.min(sum);
        self.highest = self.highest.max(sum);
        // Three meters in error.
        let error = Volts::from_wide(i64::from(config.sensing.voltage_error.bits()).saturating_mul(3));
        if let Some(pack) = pack
            && (sum - pack).abs() > error
        {
            return Some(Spoilt::PolesContradictPack { poles: sum, pack });
        }
        if sum < facts.least {
            return Some(Spoilt::NoPack(sum));
        }
        let most = self.highest.scaled(facts.moved);
        (self.highest - self.lowest >= most).then_some(Spoilt::PackMoved(self.lowest, self.highest))
    }
}
