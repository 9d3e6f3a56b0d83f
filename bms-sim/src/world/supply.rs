//! The auxiliary supply: a 12 V battery with resistance that feeds controller and coils.
//!
//! `V = V₀ − R (I_base + Σ I_coil)`. With its disconnect out only the hold-up capacitor is left: `dV/dt = −(I_base + Σ I_coil) / C`.
//!
//! Each coil has an economiser: pull-in current for the first 150 ms, holding current after that. A contactor closes only while its
//! coil is pulled in with enough voltage: at holding current, or below the pick-up voltage, its armature does not move. Below the drop-out
//! voltage no contactor holds, and every economiser loses its own supply: it lets go, and starts anew some time after. So a bad
//! supply makes contactors chatter: the one that pulls in drops those that hold, and all try again, not quite at the same time.
//!
//! The controller lives on through a dip, and for a short time after the supply is gone, on a store of its own.

use super::deviation::CONTACTORS;
use super::spec::SupplySpec;

/// The supply with the state of each coil's economiser.
#[derive(Clone, Debug, PartialEq)]
pub struct Supply {
    /// Its voltage now.
    pub volts: f64,
    on_seconds: [f64; CONTACTORS],
    /// Time until an economiser that lost its supply starts anew.
    waits_seconds: [f64; CONTACTORS],
    /// Time for which the controller has lived on its own store.
    dark_seconds: f64,
    spec: SupplySpec,
}

impl Supply {
    /// All coils off.
    #[must_use]
    pub fn new(spec: &SupplySpec) -> Self {
        Self {
            volts: spec.volts - spec.ohms * spec.base_amps,
            on_seconds: [0.0; CONTACTORS],
            waits_seconds: [0.0; CONTACTORS],
            dark_seconds: 0.0,
            spec: spec.clone(),
        }
    }

    /// Voltage with these coils on over a step of `dt` seconds, `added_ohms` of bad contact included, or with the disconnect out.
    pub fn step(&mut self, dt: f64, coils: [bool; CONTACTORS], added_ohms: f64, disconnected: bool) {
        /// Longer than any pull-in: from there on only holding current flows.
        const SETTLED: f64 = 1.0;
        let mut amps = self.spec.base_amps;
        for (coil, (on, waits)) in
            coils.into_iter().zip(self.on_seconds.iter_mut().zip(&mut self.waits_seconds))
        {
            if !coil {
                (*on, *waits) = (0.0, 0.0);
            } else if *waits > 0.0 {
                *waits = (*waits - dt).max(0.0);
            } else {
                let pulls = *on < self.spec.pull_in_seconds;
                amps += if pulls { self.spec.pull_in_amps } else { self.spec.hold_amps };
                *on = (*on + dt).min(SETTLED);
            }
        }
        self.volts = if disconnected {
            (self.volts - amps * dt / self.spec.hold_up_farads).max(0.0)
        } else {
            self.spec.volts - (self.spec.ohms + added_ohms) * amps
        };
        if self.volts < self.spec.drop_out_volts {
            for (on, waits) in
                self.on_seconds.iter_mut().zip(self.waits_seconds.iter_mut().zip(self.spec.again_seconds))
            {
                if *on > 0.0 {
                    (*on, *waits.0) = (0.0, waits.1);
                }
            }
        }
        self.dark_seconds =
            if self.volts < self.spec.controller_volts { self.dark_seconds + dt } else { 0.0 };
    }

    /// Whether a contactor gets enough: to hold when it is already energised, to pull in otherwise.
    #[must_use]
    pub fn carries(&self, which: usize, energised: bool) -> bool {
        let on = self.on_seconds[which];
        if energised {
            on > 0.0 && self.volts >= self.spec.drop_out_volts
        } else {
            // The step that has just passed was still pull-in.
            on > 0.0 && on < self.spec.pull_in_seconds + 1e-9 && self.volts >= self.spec.pick_up_volts
        }
    }

    /// Whether the controller still runs.
    #[must_use]
    pub fn feeds_controller(&self) -> bool {
        self.dark_seconds < self.spec.store_seconds
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::world::spec::PackSpec;

    const NEGATIVE: [bool; CONTACTORS] = [true, false, false];

    fn supply() -> Supply {
        Supply::new(&PackSpec::crane().supply)
    }

    /// Steps of 10 ms; gives at how many of them a contactor that was not energised would have closed.
    fn run(supply: &mut Supply, steps: u32, coils: [bool; CONTACTORS], ohms: f64) -> u32 {
        (0..steps)
            .map(|_| {
                supply.step(0.01, coils, ohms, false);
                u32::from(supply.carries(0, false))
            })
            .sum()
    }

    /// Ohm's law: 12.6 V − 0.15 Ω · (1 + 3.8 A) = 11.88 V while one coil pulls in, 12.30 V when it holds.
    #[test]
    fn it_sags_while_a_coil_pulls_in() {
        let mut supply = supply();
        supply.step(0.01, NEGATIVE, 0.0, false);
        assert!((supply.volts - 11.88).abs() < 1e-9 && supply.carries(0, false));
        run(&mut supply, 20, NEGATIVE, 0.0);
        assert!((supply.volts - 12.30).abs() < 1e-9 && supply.carries(0, true));
    }

    /// 12.6 V − 1.35 Ω · 4.8 A = 6.1 V: below 7 V the armature does not come, and at holding current (9.9 V) it does not come either.
    #[test]
    fn below_the_pick_up_voltage_a_contactor_never_closes() {
        let mut supply = supply();
        assert_eq!(run(&mut supply, 100, NEGATIVE, 1.2), 0);
        assert!((supply.volts - 9.9).abs() < 1e-9);
        // At 11.88 V it comes during pull-in, 150 ms of it.
        assert_eq!(run(&mut Supply::new(&PackSpec::crane().supply), 100, NEGATIVE, 0.0), 15);
    }

    /// 12.6 V − 1.15 Ω · (3 + 3.8 A) = 4.8 V: the third coil that pulls in drops the two that hold. All start anew, 30 ms apart: each comes
    /// with 7.1 V while it is alone, and the next one drops it again.
    #[test]
    fn a_coil_that_pulls_in_drops_those_that_hold_and_they_chatter() {
        let mut supply = supply();
        run(&mut supply, 30, [true, false, true], 0.0);
        let (mut closes, mut drops, mut energised) = (0, 0, [true, false, true]);
        for _ in 0..100 {
            supply.step(0.01, [true; CONTACTORS], 1.0, false);
            for (which, energised) in energised.iter_mut().enumerate() {
                let carried = supply.carries(which, *energised);
                closes += u32::from(carried && !*energised);
                drops += u32::from(*energised && !carried);
                *energised = carried;
            }
        }
        assert!(closes >= 8 && drops >= 8, "{closes} {drops}");
    }

    /// 0.15 F at 3 A: 20 V a second. From 12.15 V the coils let go below 5 V after 0.36 s; below 6 V, after 0.31 s, the controller is on its
    /// store, which lasts for a second.
    #[test]
    fn a_pulled_disconnect_leaves_the_hold_up_time() {
        let mut supply = supply();
        run(&mut supply, 30, [true, false, true], 0.0);
        let start = supply.volts;
        let (mut held, mut lived) = (0, 0);
        for tick in 1..=300 {
            supply.step(0.01, [true, false, true], 0.0, true);
            held = if supply.carries(0, true) { tick } else { held };
            lived = if supply.feeds_controller() { tick } else { lived };
        }
        assert!((start - 12.15).abs() < 1e-9);
        assert_eq!((held, lived), (35, 129));
    }
}
