//! The auxiliary supply: a 12 V battery with resistance that feeds controller and coils.
//!
//! `V = V₀ − R (I_base + Σ I_coil)`; a coil takes its pull-in current for the first 150 ms and its holding current
//! after that. Below the drop-out voltage no contactor holds; below the pick-up voltage none closes.

use super::deviation::CONTACTORS;
use super::spec::SupplySpec;

/// The supply with the age of each coil's current.
#[derive(Clone, Debug, PartialEq)]
pub struct Supply {
    /// Its voltage now.
    pub volts: f64,
    on_seconds: [f64; CONTACTORS],
    spec: SupplySpec,
}

impl Supply {
    /// All coils off.
    #[must_use]
    pub fn new(spec: &SupplySpec) -> Self {
        Self {
            volts: spec.volts - spec.ohms * spec.base_amps,
            on_seconds: [0.0; CONTACTORS],
            spec: spec.clone(),
        }
    }

    /// Voltage with these coils on over a step of `dt` seconds, `added_ohms` of bad contact included.
    pub fn step(&mut self, dt: f64, coils: [bool; CONTACTORS], added_ohms: f64) {
        let mut amps = self.spec.base_amps;
        for (on_seconds, coil) in self.on_seconds.iter_mut().zip(coils) {
            if coil {
                let pulls = *on_seconds < self.spec.pull_in_seconds;
                amps += if pulls { self.spec.pull_in_amps } else { self.spec.hold_amps };
                *on_seconds = (*on_seconds + dt).min(1.0);
            } else {
                *on_seconds = 0.0;
            }
        }
        self.volts = self.spec.volts - (self.spec.ohms + added_ohms) * amps;
    }

    /// Whether a contactor gets enough: to hold when it is already energised, to pull in otherwise.
    #[must_use]
    pub fn carries(&self, energised: bool) -> bool {
        self.volts >= if energised { self.spec.drop_out_volts } else { self.spec.pick_up_volts }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::world::spec::PackSpec;

    /// Ohm's law: 12.6 V − 0.15 Ω · (1 + 3.8 A) = 11.88 V while one coil pulls in, 12.30 V when it holds.
    #[test]
    fn it_sags_while_a_coil_pulls_in() {
        let mut supply = Supply::new(&PackSpec::crane().supply);
        supply.step(0.01, [true, false, false], 0.0);
        assert!((supply.volts - 11.88).abs() < 1e-9);
        for _ in 0..20 {
            supply.step(0.01, [true, false, false], 0.0);
        }
        assert!((supply.volts - 12.30).abs() < 1e-9);
        supply.step(0.01, [true, true, false], 1.5);
        assert!(!supply.carries(false));
    }
}
