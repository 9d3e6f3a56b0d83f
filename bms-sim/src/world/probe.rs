//! What the sensors would show if something were true that is not: a trial on a copy, for whoever asks whether a danger would be seen.

use super::World;
use bms_core::Frame;
use bms_core::frame::Asked;
use bms_core::units::Instant;

/// What is supposed to be true of the whole pack.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Supposed {
    /// Voltage between the taps of every cell, in volts.
    pub cell_volts: f64,
    /// Temperature of every cell, for long, in °C.
    pub cell_celsius: f64,
    /// Current into the pack, in amperes.
    pub amps: f64,
    /// Voltage of the link, in volts.
    pub link_volts: f64,
}

/// How long the inputs of the cell channels have had to follow, in seconds: many times a sound wire's filter.
const FOLLOWS_SECONDS: f64 = 0.5;

impl<const CELLS: usize, const THERMISTORS: usize> World<CELLS, THERMISTORS> {
    /// The frame that the sensors would show then, with everything that is wrong with them now. The world itself stays as it is.
    #[must_use]
    pub fn suppose(&self, supposed: Supposed) -> Frame<CELLS, THERMISTORS> {
        let Supposed { cell_volts, cell_celsius, amps, link_volts } = supposed;
        let mut trial = self.clone();
        trial.cells.volts = [cell_volts; CELLS];
        trial.cells.celsius = [cell_celsius; CELLS];
        trial.heat.settle_thermistors(&trial.cells.celsius, &trial.deviations);
        (trial.flow.start_amps, trial.flow.end_amps) = (amps, amps);
        trial.bus.link_volts = link_volts;
        trial.wires.step(FOLLOWS_SECONDS, &trial.cells.volts, 0, None, &trial.deviations);
        trial.sensors.see(&trial.heat, &trial.deviations);
        trial.measure(0, Instant(0), Asked::NOTHING)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::world::Initial;
    use crate::world::spec::PackSpec;

    /// A sound pack shows what is supposed, within the tolerance of its channels, and is not changed by the question.
    #[test]
    fn a_sound_pack_shows_what_is_supposed() {
        let spec = PackSpec::trainer();
        let world = World::<16, 8>::new(&spec, 3, Initial { charge: 0.5, celsius: 20.0 }).unwrap();
        let before = world.clone();
        let frame =
            world.suppose(Supposed { cell_volts: 3.8, cell_celsius: 70.0, amps: -100.0, link_volts: 30.0 });
        assert_eq!(world, before);
        let hot = crate::world::thermistor::ratio(70.0, 0.0, spec.sensors.pull_up_ohms);
        assert!(frame.cells.value.iter().all(|volts| (volts.milli() - 3_800).abs() < 5));
        let shown = frame.thermistors.value.iter().map(|ratio| f64::from(ratio.parts_per_million()) / 1e6);
        assert!(shown.into_iter().all(|ratio| (ratio - hot).abs() < 3e-3));
        assert!((frame.current.value.milli() + 100_000).abs() < 500);
        assert!((frame.voltages.value.link.milli() - 30_000).abs() < 250);
    }
}
