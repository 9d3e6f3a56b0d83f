//! The path from the string to the load: contactors, precharge resistor, fuse, link capacitor, dividers.
//!
//! ```text
//! B+ ──┬── positive ────────────┬── L+ ──┬── C ──┬── R_d ──┬── load (a current) ── motor
//!      └── precharge ── R_pre ──┘        │       │         │
//! B− ───── negative ─────────────── L− ──┴───────┴─────────┘
//! ```
//! Between two instants at which a contact flips, a load stops or the fuse melts, everything is linear and the inputs
//! are held:
//!
//! ```text
//! C dv/dt = (E − v)/R − v G + J      →  v(t) = v∞ + (v₀ − v∞) e^(−t/τ),  τ = C / (1/R + G),  v∞ = (E/R + J)·τ/C
//! ```
//! `v` link voltage; `E`, `R` the string without ohmic drop and all resistance of the closed path (none when open);
//! `G` bleed-down resistor, divider, load left on, turning motor; `J` the load's current and what the motor drives.
//! The mean current, its mean square and all energies are the exact integrals, so that charge and energy are
//! conserved however a tick is split. `E` is held over a tick: the string's own polarisation moves it by less than
//! 0.1 mV a cell meanwhile.
//!
//! The floating link: with all contactors open, two equal dividers (B+ to L−, L+ to B−) pull it to where both read
//! `(pack + link)/2`, half the pack when the link is empty. A made negative holds L− at B−; a made positive, or a precharge
//! contactor with a sound resistor, holds L+ at B+. Where chassis and link lie meanwhile is worked out in
//! [`insulation`](super::insulation). A feeding motor starts to feed at the next tick after the link has fallen below it.

use super::cell::Flow;
use super::contactor::Contactor;
use super::deviation::{CONTACTORS, ContactorDeviation, Deviations};
use super::fuse::melting_seconds;
use super::insulation::{Chassis, Hold, Insulation, Pairs, StringLeaks};
use super::load::Load;
use super::noise::Noise;
use super::spec::BusSpec;

/// Places of the contactors in arrays.
pub const NEGATIVE: usize = 0;
/// Place of the precharge contactor.
pub const PRECHARGE: usize = 1;
/// Place of the positive contactor.
pub const POSITIVE: usize = 2;

/// Everything between string and load.
#[derive(Clone, Debug, PartialEq)]
pub struct Bus {
    /// Negative, precharge, positive.
    pub contactors: [Contactor; CONTACTORS],
    /// L+ to L− in volts.
    pub link_volts: f64,
    /// B+ to B− in volts.
    pub pack_volts: f64,
    /// Where the chassis and the floating link lie.
    pub insulation: Insulation,
    /// Temperature of the precharge resistor in °C.
    pub resistor_celsius: f64,
    /// Whether it has burnt open.
    pub resistor_burnt: bool,
    /// Share of the fuse's melting that is done; 1 has cleared.
    pub fuse_melted: f64,
    /// Time since the last contactor opened and pack and link are apart, in seconds; 0 while any path is closed.
    pub apart_seconds: f64,
    /// What has been moved and lost.
    pub moved: Moved,
    farads: f64,
    capacitor_celsius: f64,
    spec: BusSpec,
}

/// Charge and energy that went where, since the start. Energies in joules, charges in coulombs.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Moved {
    /// Charge into the string, by the current at its terminals.
    pub string_coulombs: f64,
    /// Charge that the load put into the link (negative: drew).
    pub load_coulombs: f64,
    /// Charge that the turning motor put into the link.
    pub motor_coulombs: f64,
    /// Charge that bleed-down resistor, dividers and a load left on have drawn.
    pub bled_coulombs: f64,
    /// Energy that the load put into the link.
    pub load_joules: f64,
    /// Energy that went through the load's terminals, whichever way.
    pub load_joules_both_ways: f64,
    /// Energy that the turning motor put into the link.
    pub motor_joules: f64,
    /// Heat of bleed-down resistor, dividers and a load left on.
    pub bled_joules: f64,
    /// Heat in the closed path outside of cells and joints: cables, fuse, contacts.
    pub path_joules: f64,
    /// Heat in the precharge resistor.
    pub resistor_joules: f64,
    /// Energy of the link's capacitance changing with temperature or by a defect at constant charge.
    pub capacitor_joules: f64,
}

/// The string as the bus sees it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Source {
    /// Voltage without ohmic drop.
    pub volts: f64,
    /// Resistance of the cells in ohms.
    pub cell_ohms: f64,
    /// Resistance of all joints in ohms.
    pub joint_ohms: f64,
}

impl Source {
    fn ohms(&self) -> f64 {
        self.cell_ohms + self.joint_ohms
    }
}

/// How pack and link are connected in one piece of a tick.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
enum Path {
    Open,
    Resistor,
    Direct,
}

/// One linear piece of a tick.
struct Piece {
    path: Path,
    /// Resistance of the path in ohms; infinite when open.
    ohms: f64,
    /// Conductance of what always hangs on the link, and of the motor.
    hanging: f64,
    motor: f64,
    settles_at: f64,
    seconds_constant: f64,
}

impl Bus {
    /// All open, link empty, temperatures as outside.
    #[must_use]
    pub fn new(spec: &BusSpec, noise: &Noise, pack_volts: f64, celsius: f64) -> Self {
        /// First of the parts whose times are drawn from the seed, beyond those of 128 cells.
        const PARTS: u32 = 8 * 128;
        let contactor = |which: u32| Contactor::new(&spec.contactor, noise, PARTS + 4 * which);
        let mut bus = Self {
            contactors: [contactor(0), contactor(1), contactor(2)],
            link_volts: 0.0,
            pack_volts,
            insulation: Insulation::new(spec),
            resistor_celsius: celsius,
            resistor_burnt: false,
            fuse_melted: 0.0,
            apart_seconds: 0.0,
            moved: Moved::default(),
            farads: 0.0,
            capacitor_celsius: celsius,
            spec: spec.clone(),
        };
        bus.farads = bus.farads_at(celsius, 1.0);
        bus
    }

    /// Whether the fuse has cleared.
    #[must_use]
    pub fn fuse_cleared(&self) -> bool {
        self.fuse_melted >= 1.0
    }

    /// Whether the string is parted in its middle: by the fuse, melted or blown, or by the service disconnect.
    #[must_use]
    pub fn parted<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        deviations: &Deviations<CELLS, THERMISTORS>,
    ) -> bool {
        let breaks = deviations.string_breaks;
        self.fuse_cleared() || breaks.fuse_blown || breaks.disconnect_out
    }

    /// Whether both main contactors are made, so that the load finds its link in place; whether the string is whole it cannot know.
    #[must_use]
    pub fn joined(&self, contactors: &[ContactorDeviation; CONTACTORS]) -> bool {
        self.made(NEGATIVE, contactors) && self.made(POSITIVE, contactors)
    }

    /// B+ to L− in volts.
    #[must_use]
    pub fn behind_negative_volts(&self) -> f64 {
        self.pack_volts - self.lifted_volts()
    }

    /// L+ to B− in volts.
    #[must_use]
    pub fn behind_positive_volts(&self) -> f64 {
        self.lifted_volts() + self.link_volts
    }

    /// L− above B−, in volts.
    #[must_use]
    pub fn lifted_volts(&self) -> f64 {
        self.insulation.lifted_volts(self.pairs())
    }

    /// B+ to chassis and chassis to B−, in volts: both are amounts as long as the chassis lies between the poles.
    #[must_use]
    pub fn pole_volts(&self) -> [f64; 2] {
        let pairs = self.pairs();
        [self.insulation.positive_volts(pairs), self.insulation.negative_volts(pairs)]
    }

    /// Insulation of the weaker pole from the chassis, in ohms.
    #[must_use]
    pub fn insulation_ohms<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        deviations: &Deviations<CELLS, THERMISTORS>,
        string: &StringLeaks,
    ) -> f64 {
        let hold = self.hold(deviations);
        self.insulation.weaker_ohms(self.pairs(), hold, &deviations.chassis_leaks, string)
    }

    /// What leaks to the chassis draw from each of these cells, in amperes.
    #[must_use]
    pub fn leak_amps<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        deviations: &Deviations<CELLS, THERMISTORS>,
        cell_volts: &[f64; CELLS],
    ) -> [f64; CELLS] {
        let joined = self.made(POSITIVE, &deviations.contactors);
        let (leaks, string) = (&deviations.chassis_leaks, &deviations.string_siemens);
        self.insulation.drawn_amps((self.pairs(), joined), leaks, string, cell_volts)
    }

    /// Stands at rest with this pack voltage since long, all open and sound, the link empty.
    pub fn stand(&mut self, pack_volts: f64) {
        self.pack_volts = pack_volts;
        self.insulation = Insulation::new(&self.spec);
    }

    const fn pairs(&self) -> Pairs {
        Pairs { pack: self.pack_volts, link: self.link_volts }
    }

    /// Capacitance of the link now, in farads.
    #[must_use]
    pub fn link_farads(&self) -> f64 {
        self.farads
    }

    /// Energy in the link capacitor in joules.
    #[must_use]
    pub fn link_joules(&self) -> f64 {
        0.5 * self.farads * self.link_volts * self.link_volts
    }

    /// One step of `dt` seconds. Gives the string's current.
    pub fn step<const CELLS: usize, const THERMISTORS: usize>(
        &mut self,
        dt: f64,
        source: Source,
        load: &mut Load,
        deviations: &Deviations<CELLS, THERMISTORS>,
        chassis: &Chassis,
    ) -> Flow {
        /// More pieces than a tick can have: five flips of each contactor, two stops, the fuse.
        const MOST_PIECES: usize = 32;
        let start_amps = self.string_amps(&self.piece(source, load, deviations), source);
        let (mut left, mut coulombs, mut square_seconds) = (dt, 0.0, 0.0);
        let mut end_amps = start_amps;
        for _ in 0..MOST_PIECES {
            if left <= 0.0 {
                break;
            }
            let piece = self.piece(source, load, deviations);
            let flip = (0..CONTACTORS)
                .map(|which| self.contactors[which].next_flip(&deviations.contactors[which]))
                .fold(left, f64::min);
            let event = self.next_event(&piece, source, load);
            let seconds = event.map_or(flip, |(at, _)| at.min(flip));
            let (moved, heating) = self.run(&piece, seconds, source, load);
            (coulombs, square_seconds) = (coulombs + moved, square_seconds + heating);
            end_amps = self.string_amps(&piece, source);
            self.settle(&piece, end_amps, seconds, source, deviations, chassis);
            if let Some((_, event)) = event.filter(|(at, _)| *at <= flip) {
                match event {
                    Event::LoadStops => load.amps = 0.0,
                    Event::MotorStops => load.motor_volts = load.motor_volts.min(self.link_volts),
                    Event::FuseClears => self.fuse_melted = 1.0,
                }
                end_amps = self.string_amps(&self.piece(source, load, deviations), source);
            }
            if self.let_contacts_move(seconds, end_amps, deviations) {
                end_amps = self.string_amps(&self.piece(source, load, deviations), source);
            }
            left -= seconds;
        }
        self.apart_seconds = match self.path(deviations) {
            Path::Open => self.apart_seconds + dt,
            Path::Resistor | Path::Direct => 0.0,
        };
        Flow { mean_amps: coulombs / dt, mean_square: square_seconds / dt, start_amps, end_amps }
    }

    /// Slow parts over `dt` seconds: the resistor cools, the capacitor's temperature and capacitance follow, at
    /// constant charge.
    pub fn weather(&mut self, dt: f64, outside_celsius: f64, link_left: f64) {
        /// Time constant of the link capacitor's temperature, in seconds.
        const CAPACITOR_SECONDS: f64 = 300.0;
        let cooling = self.spec.precharge_watts_per_kelvin / self.spec.precharge_joules_per_kelvin;
        self.resistor_celsius =
            outside_celsius + (self.resistor_celsius - outside_celsius) * libm::exp(-dt * cooling);
        self.capacitor_celsius =
            outside_celsius + (self.capacitor_celsius - outside_celsius) * libm::exp(-dt / CAPACITOR_SECONDS);
        if self.fuse_melted > 0.0 && !self.fuse_cleared() {
            self.fuse_melted *= libm::exp(-dt / self.spec.fuse.cooling_seconds);
        }
        let (charge, before) = (self.farads * self.link_volts, self.link_joules());
        self.farads = self.farads_at(self.capacitor_celsius, link_left);
        self.link_volts = charge / self.farads;
        self.moved.capacitor_joules += self.link_joules() - before;
    }

    fn farads_at(&self, celsius: f64, left: f64) -> f64 {
        let factor = 1.0 - self.spec.link_loss_per_kelvin * (25.0 - celsius);
        self.spec.link_farads * factor.clamp(0.5, 1.1) * left
    }

    fn made(&self, which: usize, contactors: &[ContactorDeviation; CONTACTORS]) -> bool {
        self.contactors[which].made(&contactors[which])
    }

    fn path<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        deviations: &Deviations<CELLS, THERMISTORS>,
    ) -> Path {
        let contactors = &deviations.contactors;
        if !self.made(NEGATIVE, contactors) || self.parted(deviations) {
            Path::Open
        } else if self.made(POSITIVE, contactors) {
            Path::Direct
        } else if self.made(PRECHARGE, contactors) && self.resistor_whole(deviations) {
            Path::Resistor
        } else {
            Path::Open
        }
    }

    fn piece<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        source: Source,
        load: &Load,
        deviations: &Deviations<CELLS, THERMISTORS>,
    ) -> Piece {
        let path = self.path(deviations);
        let ohms = match path {
            Path::Open => f64::INFINITY,
            Path::Resistor => {
                source.ohms() + self.path_ohms() + self.spec.precharge_ohms * deviations.precharge_factor
            }
            Path::Direct => source.ohms() + self.path_ohms(),
        };
        let bleed_down = if deviations.bleed_down_open { 0.0 } else { 1.0 / self.spec.bleed_down_ohms };
        let hanging = bleed_down + 1.0 / self.spec.divider_ohms + deviations.left_on_siemens;
        let motor = load.motor_siemens(self.link_volts);
        let siemens = hanging + motor + 1.0 / ohms;
        let inflow = source.volts / ohms + load.amps + motor * load.motor_volts;
        Piece {
            path,
            ohms,
            hanging,
            motor,
            settles_at: inflow / siemens,
            seconds_constant: self.farads / siemens,
        }
    }

    /// Cables, fuse and the two contacts.
    fn path_ohms(&self) -> f64 {
        self.spec.cable_ohms + 2.0 * self.spec.contactor.contact_ohms
    }

    /// Current into the string at the present link voltage, in amperes.
    fn string_amps(&self, piece: &Piece, source: Source) -> f64 {
        (self.link_volts - source.volts) / piece.ohms
    }

    /// What would end this piece first, and when.
    fn next_event(&self, piece: &Piece, source: Source, load: &Load) -> Option<(f64, Event)> {
        let stop =
            load.stops_at().and_then(|volts| self.reaches(piece, volts)).map(|at| (at, Event::LoadStops));
        let idle = (piece.motor > 0.0)
            .then(|| self.reaches(piece, load.motor_volts))
            .flatten()
            .map(|at| (at, Event::MotorStops));
        let held = (source.volts - piece.settles_at).abs() / piece.ohms;
        let melts = melting_seconds(&self.spec.fuse, held)
            .map(|seconds| ((1.0 - self.fuse_melted) * seconds, Event::FuseClears));
        let mut first = stop;
        for other in [idle, melts] {
            first = match (first, other) {
                (Some(one), Some(two)) => Some(if two.0 < one.0 { two } else { one }),
                (one, two) => one.or(two),
            };
        }
        first
    }

    /// When the link passes a voltage on its way, in seconds.
    fn reaches(&self, piece: &Piece, volts: f64) -> Option<f64> {
        let (now, end) = (self.link_volts - volts, piece.settles_at - volts);
        // It must lie strictly between here and the end.
        (now * end < 0.0).then(|| piece.seconds_constant * libm::log((now - end) / -end))
    }

    /// Runs one piece for some seconds: exact integrals. Gives charge and `∫I²` of the string.
    fn run(&mut self, piece: &Piece, seconds: f64, source: Source, load: &Load) -> (f64, f64) {
        let (settles_at, constant) = (piece.settles_at, piece.seconds_constant);
        let away = self.link_volts - settles_at;
        let ratio = seconds / constant;
        // Beyond 40 time constants nothing is left in 17 digits.
        let keeps = if ratio > 40.0 { 0.0 } else { libm::exp(-ratio) };
        let (area, square_area) = (constant * (1.0 - keeps), 0.5 * constant * (1.0 - keeps * keeps));
        let volt_seconds = settles_at * seconds + away * area;
        let square =
            settles_at * settles_at * seconds + 2.0 * settles_at * away * area + away * away * square_area;
        self.link_volts = settles_at + away * keeps;

        let (held, decays) = ((settles_at - source.volts) / piece.ohms, away / piece.ohms);
        let coulombs = held * seconds + decays * area;
        let squared = held * held * seconds + 2.0 * held * decays * area + decays * decays * square_area;

        let moved = &mut self.moved;
        moved.string_coulombs += coulombs;
        moved.load_coulombs += load.amps * seconds;
        moved.load_joules += load.amps * volt_seconds;
        moved.load_joules_both_ways += (load.amps * volt_seconds).abs();
        moved.motor_coulombs += piece.motor * (load.motor_volts * seconds - volt_seconds);
        moved.motor_joules += piece.motor * (load.motor_volts * volt_seconds - square);
        moved.bled_coulombs += piece.hanging * volt_seconds;
        moved.bled_joules += piece.hanging * square;
        let path_ohms = self.spec.cable_ohms + 2.0 * self.spec.contactor.contact_ohms;
        moved.path_joules += squared * path_ohms;
        if piece.path == Path::Resistor {
            let joules = squared * (piece.ohms - source.ohms() - path_ohms);
            moved.resistor_joules += joules;
            self.resistor_celsius += joules / self.spec.precharge_joules_per_kelvin;
            self.resistor_burnt |= self.resistor_celsius > self.spec.precharge_burns_celsius;
        }
        if let Some(melting) = melting_seconds(&self.spec.fuse, held.abs()) {
            self.fuse_melted += seconds / melting;
        }
        (coulombs, squared)
    }

    /// Voltages of pack and floating side after some seconds of a piece.
    fn settle<const CELLS: usize, const THERMISTORS: usize>(
        &mut self,
        piece: &Piece,
        amps: f64,
        seconds: f64,
        source: Source,
        deviations: &Deviations<CELLS, THERMISTORS>,
        chassis: &Chassis,
    ) {
        let hold = self.hold(deviations);
        self.pack_volts = if self.parted(deviations) {
            // B+ and B− hang on the dividers, and on the link where both are joined to it.
            let made = |which| self.made(which, &deviations.contactors);
            let resistor = made(PRECHARGE) && self.resistor_whole(deviations);
            if made(NEGATIVE) && (made(POSITIVE) || resistor) { self.link_volts } else { 0.0 }
        } else if piece.path == Path::Open {
            source.volts
        } else {
            // The fuse lies mid-string: its cables belong to the pack's own resistance.
            source.volts + amps * (source.ohms() + self.spec.cable_ohms)
        };
        self.insulation.settle(seconds, self.pairs(), hold, &deviations.chassis_leaks, chassis);
    }

    /// How the link hangs on the pack.
    fn hold<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        deviations: &Deviations<CELLS, THERMISTORS>,
    ) -> Hold {
        let contactors = &deviations.contactors;
        if self.made(NEGATIVE, contactors) {
            Hold::AtNegative
        } else if self.made(POSITIVE, contactors)
            || (self.made(PRECHARGE, contactors) && self.resistor_whole(deviations))
        {
            Hold::AtPositive
        } else {
            Hold::Floating
        }
    }

    fn resistor_whole<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        deviations: &Deviations<CELLS, THERMISTORS>,
    ) -> bool {
        !deviations.precharge_open && !self.resistor_burnt
    }

    /// Lets the contacts move on and wear; true when one has flipped.
    fn let_contacts_move<const CELLS: usize, const THERMISTORS: usize>(
        &mut self,
        seconds: f64,
        amps: f64,
        deviations: &Deviations<CELLS, THERMISTORS>,
    ) -> bool {
        let mut flipped = false;
        for which in 0..CONTACTORS {
            let direct = self.path(deviations) == Path::Direct;
            let made = self.made(which, &deviations.contactors);
            self.contactors[which].pass(seconds, &deviations.contactors[which]);
            if made == self.made(which, &deviations.contactors) {
                continue;
            }
            flipped = true;
            let is_direct = self.path(deviations) == Path::Direct;
            let (contactor, spec) = (&mut self.contactors[which], &self.spec.contactor);
            let gap_volts = (self.pack_volts - self.link_volts).abs();
            if is_direct && !direct {
                contactor.gap_joules += 0.5 * self.farads * gap_volts * gap_volts;
                contactor.closed_onto(gap_volts, spec);
            } else if direct && !is_direct {
                contactor.broke(amps.abs(), self.pack_volts.abs(), spec);
            }
        }
        flipped
    }
}

/// What ends a linear piece beside a contact.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
enum Event {
    LoadStops,
    MotorStops,
    FuseClears,
}

#[cfg(test)]
mod tests;
