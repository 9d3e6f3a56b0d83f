//! Where the chassis lies between the poles, and the floating link with it: leaks, Y-capacitance, the measuring resistor.
//!
//! Pack and link are each a pair of poles held apart by a stiff voltage (`V` pack, `u` link); the chassis hangs on all four through
//! leaks and Y-capacitors. Written from the middle of each pair, `ξ` of the chassis and `η` of the link's middle, both from the
//! middle of the pack, the charges on chassis and floating link are
//!
//! ```text
//! q_chassis = 2 C_p ξ + 2 C_l (ξ − η)      q_link = 2 C_l (η − ξ)
//! ```
//!
//! `V` and `u` do not appear: a step of either moves no charge on, so `ξ` and `η` are carried through it as they are, and only leaks
//! move them:
//!
//! ```text
//! dq_chassis/dt = (g₊ − g₋) V/2 + J + (l₊ − l₋) u/2 − (g₊ + g₋ + g_s + l) ξ + l η        l = l₊ + l₋
//! dq_link/dt    =                   − (l₊ − l₋) u/2 + l ξ − (l + 2 g_d) η
//! ```
//!
//! `g` conductance of each pack pole to chassis (insulation, leak, meter, switched resistor), `l` the same of the load's side, `g_d` each
//! of the two dividers of the cross voltages, `C_p`, `C_l` the Y-capacitance of each pole. A leak along the string hangs on its node: it
//! adds `g_s`, and to `J` its conductance times that node's voltage from the middle of the pack. At the fraction `a` of the string
//! this is `g_s (a − ½) V`, the same as a leak `R/a` to plus and `R/(1 − a)` to minus: mid-string it looks symmetrical.
//!
//! With all contactors open both move: two exponentials, `e^(−At)` of the 2 × 2 matrix by Sylvester's formula. A made contactor holds
//! the link, `η = ∓(V − u)/2`, and one exponential is left. Both are exact for inputs held over a piece of a tick; of inputs that move
//! in it, their mean is held.
//!
//! One leak has no way back but sound insulation and meters: it draws a tenth of a milliampere. Two of them draw from the cells that lie
//! between: a cell gives what flows out of the string above it, in the lower half what flows in below it, which is the same as long as
//! the fuse joins the halves:
//!
//! ```text
//! L(cell) = Σ g (v − chassis) over the leaks above the cell        v of the node that the leak hangs on, B+ included
//! ```
//!
//! 2 kΩ at both poles of 317 V take 79 mA: 0.08 % of 100 Ah an hour. Not modelled: what the leaks move while the capacitors charge, some
//! 0.1 mC at each change; the drop of that current in the joints; and a capacitance of fuse, disconnect and cells themselves.

use super::spec::{BusSpec, InsulationSpec};
use bms_core::frame::ToChassis;

/// Leaks to the chassis beyond sound insulation, as conductances in siemens.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Leaks {
    /// At the positive pole.
    pub positive: f64,
    /// At the negative pole.
    pub negative: f64,
    /// Beyond the positive contactor, on the load's side.
    pub load_positive: f64,
}

/// The leaks along the string, gathered by the half in which they lie: the fuse parts the halves.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct StringLeaks {
    /// Conductance in the lower and in the upper half, in siemens.
    siemens: [f64; 2],
    /// Each conductance times the voltage of its node: above B− in the lower half, below B+ in the upper one; in amperes.
    amps: [f64; 2],
    /// Each conductance times its fraction of the string: the part of it that acts towards plus.
    towards_plus: f64,
}

impl StringLeaks {
    /// Leaks at the positive terminal of each cell, with the cells' voltages from the bottom of the string.
    #[must_use]
    pub fn gathered(siemens: &[f64], cell_volts: &[f64]) -> Self {
        let mut gathered = Self::default();
        let string_volts: f64 = cell_volts.iter().sum();
        let mut below = 0.0;
        for (place, (leak, volts)) in siemens.iter().zip(cell_volts).enumerate() {
            below += volts;
            if *leak > 0.0 {
                // The fuse lies in the middle: the node below it belongs to the lower half.
                let upper = place >= siemens.len() / 2;
                let volts = if upper { string_volts - below } else { below };
                gathered.siemens[usize::from(upper)] += leak;
                gathered.amps[usize::from(upper)] += leak * volts;
                gathered.towards_plus += leak * below / string_volts;
            }
        }
        gathered
    }
}

/// What hangs between string and chassis beside the poles.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Chassis {
    /// Leaks along the string.
    pub string: StringLeaks,
    /// The controller's measuring resistor.
    pub resistor: ToChassis,
}

/// How the link hangs on the pack.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Hold {
    /// On the dividers only.
    Floating,
    /// L− at B−.
    AtNegative,
    /// L+ at B+.
    AtPositive,
}

/// The voltages that hold the two pairs of poles apart, in volts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pairs {
    /// B+ to B−.
    pub pack: f64,
    /// L+ to L−.
    pub link: f64,
}

/// Where chassis and link lie.
#[derive(Clone, Debug, PartialEq)]
pub struct Insulation {
    /// The chassis above the middle of the pack, in volts.
    chassis: f64,
    /// The middle of the link above the middle of the pack, in volts.
    link: f64,
    before: Pairs,
    kept: Factors,
    divider_ohms: f64,
    spec: InsulationSpec,
}

/// Conductances to the chassis, in siemens, and the currents that drive it, in amperes.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Network {
    /// Of both pack poles and the string.
    pack: f64,
    /// Of both link poles.
    link: f64,
    /// Into the chassis with both middles at rest.
    driven: f64,
    /// Into the link.
    driven_link: f64,
}

/// The exponential over the last length of a piece, and what it was worked out for.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Factors {
    seconds: f64,
    pack: f64,
    link: f64,
    floating: bool,
    /// `e^(−At)`; with the link held only the first is used.
    keeps: [[f64; 2]; 2],
}

impl Insulation {
    /// Settled with sound insulation: everything symmetrical.
    #[must_use]
    pub fn new(spec: &BusSpec) -> Self {
        let none =
            Factors { seconds: 0.0, pack: 0.0, link: 0.0, floating: false, keeps: [[1.0, 0.0], [0.0, 1.0]] };
        Self {
            chassis: 0.0,
            link: 0.0,
            before: Pairs { pack: 0.0, link: 0.0 },
            kept: none,
            divider_ohms: spec.divider_ohms,
            spec: spec.insulation.clone(),
        }
    }

    /// B+ to chassis in volts.
    #[must_use]
    pub fn positive_volts(&self, pairs: Pairs) -> f64 {
        0.5 * pairs.pack - self.chassis
    }

    /// Chassis to B− in volts: an amount as long as the chassis lies between the poles.
    #[must_use]
    pub fn negative_volts(&self, pairs: Pairs) -> f64 {
        0.5 * pairs.pack + self.chassis
    }

    /// L− above B−, in volts.
    #[must_use]
    pub fn lifted_volts(&self, pairs: Pairs) -> f64 {
        self.link + 0.5 * (pairs.pack - pairs.link)
    }

    /// Insulation of the weaker pole from the chassis, in ohms: what UN R100 measures, without the controller's meter. The load's side counts
    /// while it is held, each of its poles towards both of the pack's as its place between them says.
    #[must_use]
    pub fn weaker_ohms(&self, pairs: Pairs, hold: Hold, leaks: &Leaks, string: &StringLeaks) -> f64 {
        let sound = 1.0 / self.spec.pack_ohms;
        let along: f64 = string.siemens.iter().sum();
        let mut positive = sound + leaks.positive + string.towards_plus;
        let mut negative = sound + leaks.negative + along - string.towards_plus;
        if hold != Hold::Floating && pairs.pack > 0.0 {
            let lifted = self.lifted_volts(pairs);
            let load = 1.0 / self.spec.load_ohms;
            for (siemens, volts) in [(load, lifted), (load + leaks.load_positive, lifted + pairs.link)] {
                let share = (volts / pairs.pack).clamp(0.0, 1.0);
                positive += siemens * share;
                negative += siemens * (1.0 - share);
            }
        }
        1.0 / positive.max(negative)
    }

    /// What leaks beyond sound insulation draw from each cell, in amperes: positive ones discharge it. A leak on the load's side counts at
    /// B+ while the positive contactor joins it.
    #[must_use]
    pub fn drawn_amps<const CELLS: usize>(
        &self,
        (pairs, joined): (Pairs, bool),
        leaks: &Leaks,
        string_siemens: &[f64; CELLS],
        cell_volts: &[f64; CELLS],
    ) -> [f64; CELLS] {
        let mut drawn = [0.0; CELLS];
        let positive = leaks.positive + if joined { leaks.load_positive } else { 0.0 };
        let sound = [positive, leaks.negative].iter().chain(string_siemens).all(|siemens| *siemens <= 0.0);
        if sound {
            return drawn;
        }
        // Either half hangs on its own pole; the fuse lies in the middle, and the node below it belongs to the lower half.
        let own = 1.0 / self.spec.pack_ohms + 1.0 / self.spec.meter_ohms;
        let middle = CELLS / 2;
        let (to_negative, to_positive) = (self.negative_volts(pairs), self.positive_volts(pairs));
        let (mut below, mut inward) = (0.0, (own + leaks.negative) * to_negative);
        for cell in 0..middle {
            drawn[cell] = inward;
            below += cell_volts[cell];
            inward -= string_siemens[cell] * (below - to_negative);
        }
        let (mut above, mut outward) = (0.0, (own + positive) * to_positive);
        for cell in (middle..CELLS).rev() {
            outward += string_siemens[cell] * (to_positive - above);
            drawn[cell] = outward;
            above += cell_volts[cell];
        }
        drawn
    }

    /// Lets it settle over a piece of a tick in which nothing switches, at the end of which the poles stand as given.
    pub fn settle(&mut self, seconds: f64, pairs: Pairs, hold: Hold, leaks: &Leaks, chassis: &Chassis) {
        let mean = Pairs {
            pack: 0.5 * (self.before.pack + pairs.pack),
            link: 0.5 * (self.before.link + pairs.link),
        };
        self.before = pairs;
        let network = self.network(mean, leaks, chassis);
        let apart = 0.5 * (pairs.pack - pairs.link);
        match hold {
            Hold::Floating => self.float(seconds, &network),
            Hold::AtNegative => self.follow(seconds, &network, -apart),
            Hold::AtPositive => self.follow(seconds, &network, apart),
        }
    }

    fn network(&self, pairs: Pairs, leaks: &Leaks, chassis: &Chassis) -> Network {
        let Chassis { string, resistor: place } = chassis;
        let meter = 1.0 / self.spec.meter_ohms;
        let resistor = 1.0 / self.spec.switched_ohms;
        let sound = 1.0 / self.spec.pack_ohms + meter;
        let positive = sound + leaks.positive + if *place == ToChassis::Positive { resistor } else { 0.0 };
        let negative = sound + leaks.negative + if *place == ToChassis::Negative { resistor } else { 0.0 };
        let [lower, upper] = string.siemens;
        let half = 0.5 * pairs.pack;
        let along = string.amps[0] - lower * half + upper * half - string.amps[1];
        let load = 0.5 * pairs.link * leaks.load_positive;
        Network {
            pack: positive + negative + lower + upper,
            link: 2.0 / self.spec.load_ohms + leaks.load_positive,
            driven: (positive - negative) * half + along + load,
            driven_link: -load,
        }
    }

    /// The link is held: one exponential. The chassis is taken along by the link's Y-capacitors.
    fn follow(&mut self, seconds: f64, network: &Network, link: f64) {
        let share = self.spec.load_farads / (self.spec.pack_farads + self.spec.load_farads);
        let siemens = network.pack + network.link;
        if !self.kept.is_for(seconds, network, false) {
            let farads = 2.0 * (self.spec.pack_farads + self.spec.load_farads);
            let keeps = libm::exp(-seconds * siemens / farads);
            self.kept = Factors::of(seconds, network, false, [[keeps, 0.0], [0.0, 0.0]]);
        }
        let mean = 0.5 * (self.link + link);
        self.chassis += share * (link - self.link);
        let settles_at = (network.driven + network.link * mean) / siemens;
        self.chassis = settles_at + (self.chassis - settles_at) * self.kept.keeps[0][0];
        self.link = link;
    }

    /// Chassis and link both float: two exponentials.
    fn float(&mut self, seconds: f64, network: &Network) {
        let dividers = 2.0 / self.divider_ohms;
        let (pack, link) = (network.pack + network.link, network.link + dividers);
        if !self.kept.is_for(seconds, network, true) {
            // A = C⁻¹ G, with C = 2 [[C_p + C_l, −C_l], [−C_l, C_l]].
            let (of_pack, of_load) = (0.5 / self.spec.pack_farads, 0.5 / self.spec.load_farads);
            let chassis = [of_pack * (pack - network.link), of_pack * (link - network.link)];
            let rates = [chassis, [chassis[0] - of_load * network.link, chassis[1] + of_load * link]];
            self.kept = Factors::of(seconds, network, true, exponential(rates, seconds));
        }
        let determinant = pack * link - network.link * network.link;
        let settles_at = [
            (network.driven * link + network.link * network.driven_link) / determinant,
            (network.driven_link * pack + network.link * network.driven) / determinant,
        ];
        let away = [self.chassis - settles_at[0], self.link - settles_at[1]];
        let [first, second] = self.kept.keeps;
        self.chassis = settles_at[0] + first[0] * away[0] + first[1] * away[1];
        self.link = settles_at[1] + second[0] * away[0] + second[1] * away[1];
    }
}

impl Factors {
    const fn of(seconds: f64, network: &Network, floating: bool, keeps: [[f64; 2]; 2]) -> Self {
        Self { seconds, pack: network.pack, link: network.link, floating, keeps }
    }

    fn is_for(&self, seconds: f64, network: &Network, floating: bool) -> bool {
        let same = |one: f64, other: f64| one.to_bits() == other.to_bits();
        self.floating == floating
            && same(self.seconds, seconds)
            && same(self.pack, network.pack)
            && same(self.link, network.link)
    }
}

/// `e^(−At)` of a matrix with two real eigenvalues, as those of a network of resistors and capacitors are: Sylvester's formula, with its
/// limit where they meet.
fn exponential(rates: [[f64; 2]; 2], seconds: f64) -> [[f64; 2]; 2] {
    let [[a, b], [c, d]] = rates;
    let (middle, half) = (0.5 * (a + d), libm::sqrt((0.25 * (a - d) * (a - d) + b * c).max(0.0)));
    let (slow, fast) = (libm::exp(-(middle - half) * seconds), libm::exp(-(middle + half) * seconds));
    // (e_slow − e_fast) / (2 half), and its limit t e^(−middle t).
    let slope = if half * seconds < 1e-9 { seconds * slow } else { (slow - fast) / (2.0 * half) };
    let mean = 0.5 * (slow + fast);
    [[mean - slope * (a - middle), -slope * b], [-slope * c, mean - slope * (d - middle)]]
}

#[cfg(test)]
mod tests;
