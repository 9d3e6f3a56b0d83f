//! What a cell never gets over: lithium that plated when it was charged frozen, and the reactions that run away with it.
//!
//! ```text
//! plating       dp/dt = η (i − i₀)          i the cell's charge current above i₀ = 0.05C, T < 0 °C, η = 1 % a kelvin below, at most 20 %
//! reactions     dx/dt = −k x                1/k = 1/(A e^(−E/T)) + 1/k₀
//!               C dT/dt = H k x − what leaves to neighbours, joint and air
//! ```
//!
//! Plated charge is lost for good: from what the cell holds and from what it can hold, and what is plated shorts it softly (1 % of
//! 100 Ah: 100 Ω). Shares and ohms: common practice, no source.
//!
//! The reactions of all components are one Arrhenius law whose two figures are set by where self-heating is first measured, 0.02 K a
//! minute at 100 °C (an adiabatic calorimeter finds its onset at 90…120 °C), and where it becomes rapid, 0.5 K/s at 195 °C; they cannot
//! go faster than their gas leaves (`k₀`, which takes a seventh of it there), so that the fastest rise is one to three kelvin a second, as is measured on this chemistry
//! (all from memory). What can react is finite, and its heat `H`, 55 % of the electrical energy of the cell, takes one that begins at 90 °C
//! to 404…410 °C. Both together keep every step stable: within one of a second a cell warms by three kelvin at most, and the
//! exponential of `x` is exact.
//!
//! As it reacts a cell dries out and its separator goes: its resistance grows to a hundredfold and ten milliohms (of 100 Ah) short it.
//! What it still holds then turns to heat as well, slowly.
//!
//! All of it is looked at ten times a second, and worked out only for packs that are hot, or charged while frozen.

use super::spec::HarmSpec;
use super::truth::Extreme;

/// Below this nothing is worth working out: 0.1 W in 100 Ah.
pub const REACTS_ABOVE_CELSIUS: f64 = 80.0;

/// What has happened to the cells for good.
#[derive(Clone, Debug, PartialEq)]
pub struct Harm<const CELLS: usize> {
    /// Charge that plated in each cell, in coulombs.
    pub plated_coulombs: [f64; CELLS],
    /// Part of what can react that has reacted in each cell, 0 to 1.
    pub reacted: [f64; CELLS],
    /// Heat of all reactions since the start, in joules.
    pub reaction_joules: f64,
    /// Energy that plated charge keeps, in joules.
    pub plated_joules: f64,
    /// The cell with the most of each.
    most_plated: usize,
    most_reacted: usize,
    spec: HarmSpec,
}

impl<const CELLS: usize> Harm<CELLS> {
    /// Unharmed cells.
    #[must_use]
    pub fn none(spec: &HarmSpec) -> Self {
        Self {
            plated_coulombs: [0.0; CELLS],
            reacted: [0.0; CELLS],
            reaction_joules: 0.0,
            plated_joules: 0.0,
            most_plated: 0,
            most_reacted: 0,
            spec: spec.clone(),
        }
    }

    /// Whether cells at these temperatures and this string current, positive into the pack, suffer.
    #[must_use]
    pub fn goes_on(&self, celsius: &[f64; CELLS], amps: f64) -> bool {
        let any = |of: fn(f64) -> bool| celsius.iter().any(|celsius| of(*celsius));
        any(|celsius| celsius > REACTS_ABOVE_CELSIUS)
            || (amps > self.spec.plates_above_amps && any(|celsius| celsius < 0.0))
    }

    /// The charge that plates in a cell within `dt` seconds, in coulombs.
    #[must_use]
    pub fn plates(&self, celsius: f64, amps: f64, dt: f64) -> f64 {
        const SHARE_A_KELVIN: f64 = 0.01;
        const MOST_SHARE: f64 = 0.2;
        let share = (-SHARE_A_KELVIN * celsius).clamp(0.0, MOST_SHARE);
        share * (amps - self.spec.plates_above_amps).max(0.0) * dt
    }

    /// Takes down what plated, and the energy that it keeps.
    pub fn keep_plated(&mut self, cell: usize, coulombs: f64, joules: f64) {
        self.plated_coulombs[cell] += coulombs;
        self.plated_joules += joules;
        if self.plated_coulombs[cell] > self.plated_coulombs[self.most_plated] {
            self.most_plated = cell;
        }
    }

    /// Lets a cell react for `dt` seconds at a temperature: the heat of it in joules.
    pub fn react(&mut self, cell: usize, celsius: f64, dt: f64) -> f64 {
        if celsius <= REACTS_ABOVE_CELSIUS {
            return 0.0;
        }
        let free = self.spec.reacts_per_second * libm::exp(-self.spec.activation_kelvin / (celsius + 273.15));
        let rate = free * self.spec.fastest_per_second / (free + self.spec.fastest_per_second);
        let left = 1.0 - self.reacted[cell];
        let reacts = left * -libm::expm1(-rate * dt);
        self.reacted[cell] += reacts;
        if self.reacted[cell] > self.reacted[self.most_reacted] {
            self.most_reacted = cell;
        }
        let joules = self.spec.reaction_joules * reacts;
        self.reaction_joules += joules;
        joules
    }

    /// The cell leaves, and an unharmed one takes its place.
    pub(crate) fn leave(&mut self, cell: usize) {
        (self.plated_coulombs[cell], self.reacted[cell]) = (0.0, 0.0);
        let most =
            |of: &[f64; CELLS]| (0..CELLS).max_by(|one, other| of[*one].total_cmp(&of[*other])).unwrap_or(0);
        (self.most_plated, self.most_reacted) = (most(&self.plated_coulombs), most(&self.reacted));
    }

    /// Conductance that the harm has put across a cell, in siemens.
    #[must_use]
    pub fn leak_siemens(&self, cell: usize) -> f64 {
        self.plated_coulombs[cell] * self.spec.siemens_per_plated_coulomb
            + self.reacted[cell] * self.spec.burnt_siemens
    }

    /// Factor by which it has raised a cell's resistances.
    #[must_use]
    pub fn resistance_factor(&self, cell: usize) -> f64 {
        1.0 + self.reacted[cell] * (self.spec.burnt_factor - 1.0)
    }

    /// The most charge that plated in a cell, in coulombs.
    #[must_use]
    pub fn most_plated(&self) -> Extreme {
        Extreme { value: self.plated_coulombs[self.most_plated], place: self.most_plated }
    }

    /// The most that has reacted in a cell, 0 to 1.
    #[must_use]
    pub fn most_reacted(&self) -> Extreme {
        Extreme { value: self.reacted[self.most_reacted], place: self.most_reacted }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::world::spec::PackSpec;

    fn harm() -> Harm<1> {
        Harm::none(&PackSpec::crane().cell.harm)
    }

    /// Kelvin that a cell warms by itself in `dt` seconds, nothing leaving it: 2000 J/K.
    fn warms(harm: &mut Harm<1>, celsius: f64, dt: f64) -> f64 {
        harm.react(0, celsius, dt) / 2_000.0
    }

    /// Where self-heating is first measured (90…120 °C at 0.02 K a minute), and where it is rapid (195 °C): REFERENCE figures, from
    /// memory, with 0.5 K/s for rapid.
    #[test]
    fn self_heating_begins_and_becomes_rapid_where_it_is_measured() {
        let a_second = |celsius| warms(&mut harm(), celsius, 1.0);
        let a_minute = |celsius| 60.0 * a_second(celsius);
        assert!(a_minute(90.0) < 0.02 && a_minute(120.0) > 0.02);
        assert!((a_minute(100.0) / 0.02 - 1.0).abs() < 0.01, "{}", a_minute(100.0));
        // The limit of the gas takes a seventh of the free rate there.
        assert!((0.35..0.55).contains(&a_second(195.0)), "{}", a_second(195.0));
        assert!(a_second(79.9) == 0.0);
    }

    /// Adiabatic: dT/dt = H/C k x, dx/dt = −k x (`SciPy` 1.17.1, `solve_ivp` LSODA, rtol 1e-10): from 120 °C 195 °C after 6114.03 s, at most
    /// 1.423 28 K/s; from 150 °C after 609.317 s, 1.673 98 K/s. All end where all has reacted, 316.8 K above their start.
    #[test]
    fn a_runaway_follows_its_equations_at_steps_of_a_second() {
        for (start, seconds_to_195, fastest) in [(120.0, 6_114.03, 1.423_28), (150.0, 609.317, 1.673_98)] {
            for dt in [0.1, 1.0] {
                let (mut harm, mut celsius, mut seconds): (_, f64, f64) = (harm(), start, 0.0);
                let (mut rapid, mut peak) = (0.0, 0.0_f64);
                while harm.reacted[0] < 1.0 - 1e-9 {
                    let warmer = warms(&mut harm, celsius, dt);
                    (celsius, seconds, peak) = (celsius + warmer, seconds + dt, peak.max(warmer / dt));
                    if celsius < 195.0 {
                        rapid = seconds;
                    }
                }
                assert!((celsius - start - 316.8).abs() < 1e-3, "{celsius}");
                assert!((harm.reaction_joules / 633_600.0 - 1.0).abs() < 1e-6);
                assert!((rapid - seconds_to_195).abs() < 0.01 * seconds_to_195, "{rapid} at steps of {dt} s");
                assert!((peak / fastest - 1.0).abs() < 0.01, "{peak} at steps of {dt} s");
            }
        }
    }

    /// η (i − i₀) t by hand: 10 % at −10 °C, 50 A less 5 A, a minute: 270 C. None from 0 °C up, none at 5 A, a fifth from −20 °C down.
    #[test]
    fn plating_takes_its_share_of_a_charge_current() {
        for (celsius, amps, coulombs) in [
            (-10.0, 50.0, 270.0),
            (0.0, 50.0, 0.0),
            (-10.0, 5.0, 0.0),
            (-10.0, -50.0, 0.0),
            (-35.0, 50.0, 540.0),
        ] {
            let plated = harm().plates(celsius, amps, 60.0);
            assert!((plated - coulombs).abs() < 1e-9, "{plated} C at {celsius} °C and {amps} A");
        }
    }
}
