//! The crane's drive as the pack sees it: a current that follows what is asked and what is allowed.
//!
//! Its current approaches the allowed one with a time constant of 40 ms, so 99 % of a change are done within the 200
//! ms that a load is given. It draws only while the contactors are closed and the link stands; it stops by itself
//! when the link falls too low or rises too high, within the tick. What a braking drive may not put into the pack
//! goes to its brake resistor. A motor may still turn after the contactors have opened (a defect of the crane's
//! brake): it then feeds the link through its rectifier.

use super::spec::LoadSpec;

/// What the crane wants in this tick.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Demand {
    /// Current wanted in amperes, positive into the pack (braking or charger), negative out of it.
    pub amps: f64,
    /// Who gives a positive current.
    pub giver: Giver,
    /// Temperature around the pack in °C.
    pub outside_celsius: f64,
}

/// Who gives a positive current.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
pub enum Giver {
    /// The braking drive: what the pack may not take, the brake resistor takes.
    #[default]
    Drive,
    /// The charger: it simply gives less.
    Charger,
}

/// The drive's state.
#[derive(Clone, Debug, PartialEq)]
pub struct Load {
    /// Its current in amperes, positive into the link.
    pub amps: f64,
    /// Energy that the brake resistor has taken, in joules.
    pub brake_joules: f64,
    /// Open voltage of the motor as a generator, in volts.
    pub motor_volts: f64,
    /// Step length and the part of a difference that remains after it.
    keeps: (f64, f64),
    spec: LoadSpec,
}

/// What binds the load in this tick.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bounds {
    /// Largest current into the pack, in amperes.
    pub charge_amps: f64,
    /// Largest current out of the pack, as an amount.
    pub discharge_amps: f64,
    /// Whether the load ignores both.
    pub ignored: bool,
    /// Whether both main contactors are closed.
    pub connected: bool,
}

impl Load {
    /// Standing still.
    #[must_use]
    pub fn new(spec: &LoadSpec) -> Self {
        Self { amps: 0.0, brake_joules: 0.0, motor_volts: 0.0, keeps: (0.0, 1.0), spec: spec.clone() }
    }

    /// Settles its current for the coming step of `dt` seconds.
    pub fn step(
        &mut self,
        dt: f64,
        demand: &Demand,
        bounds: Bounds,
        link_volts: f64,
        motor_defect_volts: f64,
    ) {
        if self.keeps.0.to_bits() != dt.to_bits() {
            self.keeps = (dt, libm::exp(-dt / self.spec.follow_seconds));
        }
        let up =
            bounds.connected && link_volts > self.spec.under_voltage && link_volts < self.spec.over_voltage;
        if up {
            let allowed = if bounds.ignored {
                demand.amps
            } else {
                demand.amps.min(bounds.charge_amps.max(0.0)).max(-bounds.discharge_amps.max(0.0))
            };
            self.amps = allowed + (self.amps - allowed) * self.keeps.1;
            if demand.giver == Giver::Drive && demand.amps > 0.0 {
                self.brake_joules += (demand.amps - self.amps).max(0.0) * link_volts * dt;
            }
        } else {
            self.amps = 0.0;
        }
        self.motor_volts = if motor_defect_volts <= 0.0 {
            0.0
        } else if up {
            motor_defect_volts
        } else {
            self.motor_volts * libm::exp(-dt / self.spec.spin_down_seconds)
        };
    }

    /// Link voltage at which its present current stops, if any.
    #[must_use]
    pub fn stops_at(&self) -> Option<f64> {
        if self.amps < 0.0 {
            Some(self.spec.under_voltage)
        } else if self.amps > 0.0 {
            Some(self.spec.over_voltage)
        } else {
            None
        }
    }

    /// Conductance of the turning motor, in siemens, when it feeds a link of this voltage.
    #[must_use]
    pub fn motor_siemens(&self, link_volts: f64) -> f64 {
        if self.motor_volts > link_volts { 1.0 / self.spec.motor_ohms } else { 0.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::world::spec::PackSpec;

    const FREE: Bounds =
        Bounds { charge_amps: 500.0, discharge_amps: 500.0, ignored: false, connected: true };

    #[test]
    fn it_follows_within_200_milliseconds_and_the_rest_goes_to_the_brake() {
        let mut load = Load::new(&PackSpec::crane().load);
        let lower = Demand { amps: 60.0, ..Demand::default() };
        for _ in 0..20 {
            load.step(0.01, &lower, Bounds { charge_amps: 20.0, ..FREE }, 310.0, 0.0);
        }
        assert!((load.amps - 20.0).abs() < 0.01 * 20.0);
        let before = load.brake_joules;
        load.step(1.0, &lower, Bounds { charge_amps: 20.0, ..FREE }, 310.0, 0.0);
        assert!((load.brake_joules - before - 40.0 * 310.0).abs() < 1e-3 * 40.0 * 310.0);
    }

    #[test]
    fn it_rests_without_a_link_and_heeds_no_limit_when_broken() {
        let mut load = Load::new(&PackSpec::crane().load);
        let hoist = Demand { amps: -150.0, ..Demand::default() };
        load.step(1.0, &hoist, Bounds { connected: false, ..FREE }, 310.0, 0.0);
        assert!(load.amps.abs() < 1e-12);
        let none = Bounds { charge_amps: 0.0, discharge_amps: 0.0, ..FREE };
        load.step(1.0, &hoist, none, 310.0, 0.0);
        assert!(load.amps.abs() < 1e-6);
        load.step(1.0, &hoist, Bounds { ignored: true, ..none }, 310.0, 0.0);
        assert!((load.amps + 150.0).abs() < 1e-6);
    }
}
