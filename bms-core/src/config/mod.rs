//! # Configuration
//!
//! One struct a room, checked once into [`Checked`], which is what the controller takes: later rooms never test a limit again.
//! A configuration that fails its checks yields a controller that is barred but still measures and says why.
//!
//! A checksum guards it afterwards. It is kept by section, and one section is recomputed each tick: the same few hundred
//! instructions every time, and a flipped bit is found within one pass over all sections.

pub(crate) mod digest;

mod balance;
mod cells;
mod charge;
mod checks;
mod contacts;
mod cooling;
mod error;
mod insulation;
mod limit;
mod pack;
mod quarantine;
mod resistance;
mod rest;
mod rules;
mod sensing;
mod sequence;
mod wear;
mod wires;

pub use balance::BalanceRules;
pub use cells::CellRules;
pub use charge::ChargeFacts;
pub(crate) use checks::Checks;
pub use contacts::ContactRules;
pub use cooling::CoolingRules;
pub(crate) use digest::{Digest, Integrity};
pub use error::{Accepts, ConfigError, Key, Objection};
pub use insulation::InsulationFacts;
pub use limit::LimitRules;
pub use pack::Pack;
pub use quarantine::QuarantineRules;
pub use resistance::ResistanceFacts;
pub use rest::RestRules;
pub(crate) use rules::OfLimit;
pub use sensing::{MeasuringPoints, Sensing, ThermistorCurve, Wiring};
pub use sequence::SequenceFacts;
pub use wear::ContactorLife;
pub use wires::WireRules;

use crate::each::Each;
use crate::fault::{Fault, FaultLimits};
use digest::Fed;

/// What the user wrote: facts about the pack and limits, one struct a room.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Config {
    /// The pack.
    pub pack: Pack,
    /// The sensors and how far they may be off.
    pub sensing: Sensing,
    /// How cell voltages are judged beside their limits.
    pub cells: CellRules,
    /// Coulomb counting and its correction.
    pub charge: ChargeFacts,
    /// What is looked for in cells that rest.
    pub rest: RestRules,
    /// What has to stay quiet after a fault that opening does not stop.
    pub quarantine: QuarantineRules,
    /// How it is found that cooling does not cool.
    pub cooling: CoolingRules,
    /// Contactors and precharge.
    pub sequence: SequenceFacts,
    /// What contactors stand.
    pub life: ContactorLife,
    /// Interlock and impact sensor.
    pub contacts: ContactRules,
    /// How insulation is measured.
    pub insulation: InsulationFacts,
    /// How sense wires are tested.
    pub wires: WireRules,
    /// How much current may flow.
    pub limits: LimitRules,
    /// Balancing.
    pub balance: BalanceRules,
    /// The limit of each fault.
    pub faults: FaultLimits,
}

impl Config {
    /// The stacker crane's pack of the demonstration scenario: 96 cells of 100 Ah in series, 307 V, 8 modules.
    #[must_use]
    pub fn crane() -> Self {
        Self::for_pack(Pack::crane(), SequenceFacts::crane())
    }

    /// The training bench's pack: 16 cells of 20 Ah in series, 51 V, 4 modules.
    #[must_use]
    pub fn trainer() -> Self {
        Self::for_pack(Pack::trainer(), SequenceFacts::trainer())
    }

    /// Defaults for another pack with its contactors.
    #[must_use]
    pub fn for_pack(pack: Pack, sequence: SequenceFacts) -> Self {
        Self {
            sensing: Sensing::for_pack(&pack),
            cells: CellRules::usual(),
            charge: ChargeFacts::for_pack(&pack),
            rest: RestRules::usual(),
            quarantine: QuarantineRules::usual(),
            life: ContactorLife::usual(),
            contacts: ContactRules::usual(),
            cooling: CoolingRules::usual(),
            insulation: InsulationFacts::for_pack(&pack),
            wires: WireRules::usual(),
            limits: LimitRules::for_pack(&pack),
            balance: BalanceRules::for_pack(&pack),
            faults: FaultLimits::for_pack(&pack),
            sequence,
            pack,
        }
    }

    /// Checks it for a controller of this size; the size can be left to the compiler: `Controller::<96, 16>::new(config.fit()?)`.
    ///
    /// # Errors
    ///
    /// As [`Config::check`].
    pub fn fit<const CELLS: usize, const THERMISTORS: usize>(
        self,
    ) -> Result<Fitted<CELLS, THERMISTORS>, ConfigError> {
        self.check(CELLS, THERMISTORS).map(Fitted)
    }

    /// Feeds one section to a digest.
    fn feed(&self, section: u8, digest: &mut Digest<'_>) {
        match section {
            0 => self.pack.feed(digest),
            1 => self.sensing.feed(digest),
            2 => self.charge.feed(digest),
            3 => self.sequence.feed(digest),
            4 => self.limits.feed(digest),
            5 => self.balance.feed(digest),
            6 => self.rest.feed(digest),
            7 => self.contacts.feed(digest),
            8 => self.life.feed(digest),
            9 => self.cooling.feed(digest),
            10 => self.insulation.feed(digest),
            11 => self.quarantine.feed(digest),
            12 => self.wires.feed(digest),
            13 => self.cells.feed(digest),
            fault => self.faults.feed(fault.saturating_sub(ROOMS), digest),
        }
    }
}

/// Sections before those of the faults.
const ROOMS: u8 = 14;

/// Sections of the checksum: one a room, one a fault.
const SECTIONS: usize = ROOMS as usize + Fault::COUNT;

/// A configuration that was checked and sealed; for a controller it must also fit: [`Fitted`].
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
pub struct Checked {
    config: Config,
    sums: Each<u32, SECTIONS>,
    refused: Option<ConfigError>,
}

impl Checked {
    #[expect(clippy::large_types_passed_by_value, reason = "the seal keeps it")]
    fn seal(config: Config, refused: Option<ConfigError>) -> Self {
        let mut sums = Each::all(0);
        for (section, sum) in (0_u8..).zip(sums.iter_mut()) {
            *sum = digest::sum(|digest| config.feed(section, digest));
        }
        Self { config, sums, refused }
    }

    /// Why it was refused, if it was.
    #[must_use]
    pub const fn refused(&self) -> Option<ConfigError> {
        self.refused
    }

    /// One number for all of it: two configurations with the same checksum are the same but for one chance in four billion.
    #[must_use]
    pub fn checksum(&self) -> u32 {
        digest::sum(|digest| {
            for sum in &self.sums {
                digest.feed(i64::from(*sum));
            }
        })
    }

    /// Changes it behind the seal's back.
    #[cfg(feature = "disturb")]
    pub(crate) fn disturb(&mut self, spoil: impl FnOnce(&mut Config)) {
        spoil(&mut self.config);
    }

    /// Whether a section still has the sum it was sealed with.
    fn intact(&self, section: u8) -> bool {
        self.sums
            .at(section)
            .is_none_or(|sum| *sum == digest::sum(|digest| self.config.feed(section, digest)))
    }
}

/// A configuration that was checked for a controller of `CELLS` cells and `THERMISTORS` thermistors: what [`Controller::new`] takes.
/// Only [`Config::fit`] and [`Fitted::barred`] make one, so that a pack of another size cannot get there:
///
/// ```compile_fail
/// # use bms_core::{Config, Controller};
/// let trainer = Config::trainer().fit::<16, 8>().expect("the defaults fit");
/// let controller = Controller::<96, 16>::new(trainer); // 16 cells are not 96
/// ```
///
/// ```
/// # use bms_core::{Config, Controller};
/// let trainer = Config::trainer().fit::<16, 8>().expect("the defaults fit");
/// let controller = Controller::<16, 8>::new(trainer);
/// ```
///
/// [`Controller::new`]: crate::Controller::new
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
pub struct Fitted<const CELLS: usize, const THERMISTORS: usize>(Checked);

impl<const CELLS: usize, const THERMISTORS: usize> Fitted<CELLS, THERMISTORS> {
    /// A configuration that failed its checks, for a controller that is barred from closing but measures and says why.
    #[must_use]
    pub fn barred(config: Config, error: ConfigError) -> Self {
        Self(Checked::seal(config, Some(error)))
    }

    pub(crate) const fn into_checked(self) -> Checked {
        self.0
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> core::ops::Deref for Fitted<CELLS, THERMISTORS> {
    type Target = Checked;
    fn deref(&self) -> &Checked {
        &self.0
    }
}

impl core::ops::Deref for Checked {
    type Target = Config;
    fn deref(&self) -> &Config {
        &self.config
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Volts;

    #[test]
    fn both_packs_pass_their_own_check() {
        assert_eq!(Config::crane().check(96, 16).map(|_| ()), Ok(()));
        assert_eq!(Config::trainer().check(16, 8).map(|_| ()), Ok(()));
    }

    #[test]
    fn a_flipped_bit_is_found_within_one_pass() {
        let sealed = Config::crane().check(96, 16).expect("the default is valid");
        let mut flipped = sealed;
        flipped.config.faults.cell_over_voltage.trip =
            Volts::from_bits(flipped.config.faults.cell_over_voltage.trip.bits() ^ 4);
        let (mut good, mut bad) = (Integrity::START, Integrity::START);
        for _ in 0..SECTIONS {
            good.advance(&sealed);
            bad.advance(&flipped);
        }
        assert!(good.holds() && !bad.holds());
        assert_ne!(sealed.checksum(), Config::trainer().check(16, 8).map_or(0, |other| other.checksum()));
    }
}
