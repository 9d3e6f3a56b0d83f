//! The controller: it owns the rooms' states, and its tick reads like the table of contents.

use crate::balance::Balance;
use crate::config::{Checked, Fitted, Integrity};
use crate::decision::{CellSet, Cooling, CurrentLimits, Decision, FaultSummary, Warning};
use crate::estimate::{Estimated, Surroundings};
use crate::fault::{Fault, Faults, Memory, Reaction, Seen};
use crate::frame::{Asked, Clearance, Frame, Replaced};
use crate::insulation::Insulation;
use crate::kept::Restart;
use crate::limit::Limiter;
use crate::quarantine::{Quarantine, Sight, Watch};
use crate::sense::{Believed, Sense, Standstill};
use crate::sequence::{Sequence, Step, Wear};
use crate::units::{Celsius, Uptime};
use crate::wires::Wires;
use crate::witness::{Evidence, Witness};

mod digest;
mod kept;
#[cfg(test)]
mod tests;

/// A battery-management controller for a string of `CELLS` cells (1 to 128) and `THERMISTORS` thermistors (1 to 255).
///
/// Plain data: a snapshot is a clone, and the same frames give the same decisions and the same evidence, bit for bit, on every
/// machine. On a target it lives in a `static`.
///
/// ```
/// use bms_core::{Config, Controller, Frame, Step, units::Instant};
/// let config = Config::trainer().fit().expect("the defaults are valid");
/// let mut controller = Controller::<16, 8>::new(config);
/// let decision = controller.tick(&Frame::empty(Instant(0)), &mut ()); // nothing measured, nobody listens
/// assert_eq!(decision.step, Step::Open);
/// ```
#[derive(Clone, Debug, Hash, PartialEq)]
pub struct Controller<const CELLS: usize, const THERMISTORS: usize> {
    config: Checked,
    integrity: Integrity,
    now: Uptime,
    /// What the frame before asked for.
    asked: Asked,
    sense: Sense<THERMISTORS>,
    estimated: Estimated<CELLS>,
    insulation: Insulation,
    wires: Wires,
    faults: Faults<CELLS, THERMISTORS>,
    sequence: Sequence,
    limiter: Limiter,
    balance: Balance<CELLS>,
    quarantine: Watch,
    /// What the cooling was told last.
    cooling: Cooling,
    /// How it began, if it had worked before.
    restart: Option<Restart>,
}

impl<const CELLS: usize, const THERMISTORS: usize> Controller<CELLS, THERMISTORS> {
    /// The controller of a pack at its first start: contactors open, nothing known of the charge, no fault remembered.
    ///
    /// Every later start is a [`restart`](Self::restart) from what was [kept](crate::kept): one with `new` would forgive what was latched,
    /// also faults that only the workshop may clear. Give the controller a supply that neither the drive's key nor the operator switches.
    #[must_use]
    pub fn new(config: Fitted<CELLS, THERMISTORS>) -> Self {
        const { assert!(CELLS >= 1 && CELLS <= 128, "1 to 128 cells") };
        let config = config.into_checked();
        const { assert!(THERMISTORS >= 1 && THERMISTORS <= 255, "1 to 255 thermistors") };
        Self {
            integrity: Integrity::START,
            now: Uptime(0),
            asked: Asked::NOTHING,
            sense: Sense::new(),
            estimated: Estimated::new(&config),
            insulation: Insulation::new(),
            wires: Wires::new(),
            faults: Faults::new(),
            sequence: Sequence::new(),
            limiter: Limiter::new(),
            balance: Balance::new(),
            quarantine: Watch::new(),
            cooling: Cooling::Off,
            restart: None,
            config,
        }
    }

    /// Answers one frame. Total: whatever the frame holds, it returns, in bounded time, without panic.
    ///
    /// Called once a tick of the configured length, also while no newer frame comes: then with the last one again, whose parts count as
    /// a tick older each time. Frames that come further apart than the oldest age that is believed are found as `measurements stale`; only
    /// while [`proven_open`](Self::proven_open) a controller may be called less often, to sleep at rest.
    pub fn tick<W: Witness>(
        &mut self,
        frame: &Frame<CELLS, THERMISTORS>,
        witness: &mut W,
    ) -> Decision<CELLS> {
        let config = &self.config;
        self.integrity.advance(config);
        if let Some(error) = config.refused().filter(|_| !self.sense.has_begun()) {
            witness.tell(|| Evidence::ConfigRefused(error));
        }
        if let Some(restart) = self.restart.filter(|_| !self.sense.has_begun()) {
            witness.tell(|| Evidence::Restarted(restart));
        }
        let proven_open = self.sequence.proven_open();
        let before = self.faults.summary();
        let flows = [before.suspect, before.confirmed].iter().any(|set| set.holds(Fault::CurrentWhileOpen));
        let asked = frame.asked.after(self.asked);
        self.asked = frame.asked;
        let vouched = flows && asked.clear == Some(Clearance::Service);
        let believed = self.sense.judge(frame, config, Standstill { proven_open, flows, vouched }, witness);
        self.now = self.now.after(believed.elapsed);
        let pull = self.wires.advance(&believed, config, witness);
        let surroundings = Surroundings {
            bleeding: self.balance.bleeding(),
            cooling: self.cooling,
            step: self.sequence.step(),
            proven_open,
            beside_wire: self.wires.beside(config),
            replaced: replaced_cell(asked),
            cleared: asked.clear,
        };
        self.estimated.advance(&believed, &surroundings, config, witness);
        if let Some(Replaced::Contactor(contactor)) = asked.replaced {
            self.sequence.replace(contactor, witness);
        }
        let leaks_denied = self.insulation.leaks_denied(self.now, config);
        let findings = self.sequence.observe(&believed, leaks_denied, config, witness);
        let resistor = self.insulation.advance(&believed, self.sequence.step(), self.now, config, witness);
        let seen = Seen {
            believed: &believed,
            estimated: &self.estimated,
            findings: &findings,
            insulation: &self.insulation,
            wires: &self.wires,
            due: self.limiter.due(),
            step: self.sequence.step(),
            youngest_coil: self.sequence.youngest_coil(),
            config,
            integrity: self.integrity,
            asked,
            now: self.now,
        };
        let faults = self.faults.advance(&seen, &config.faults, witness);
        let insulated = self.insulation.lets_close(self.now, config);
        let coils =
            self.sequence.advance(&believed, asked, (&faults, insulated, leaks_denied), config, witness);
        let step = self.sequence.step();
        let limits = self.limiter.allowed(&believed, &self.estimated, &faults, step, config, witness);
        let doubts = (&faults, self.wires.tested());
        let bleed = self.balance.choose(&believed, &self.estimated, doubts, step, config, witness);
        let sight = || Sight::of(&believed, &self.estimated, step, config);
        self.quarantine.advance(sight, &faults, config, witness);
        let cooling = cooling(&believed, &faults, config.cooling.from);
        self.cooling = cooling;
        let warning = Warning::of(&faults);
        Decision { coils, limits, bleed, cooling, pull, resistor, warning, step, faults }
    }

    /// Where the contactor sequence stands.
    #[must_use]
    pub const fn step(&self) -> Step {
        self.sequence.step()
    }

    /// Whether the cross voltages have just shown that all contactors are open.
    #[must_use]
    pub const fn proven_open(&self) -> bool {
        self.sequence.proven_open()
    }

    /// What has been used of the contactors' lives.
    #[must_use]
    pub const fn wear(&self) -> Wear {
        self.sequence.wear()
    }

    /// Goes on counting from this: for contactors that were in use before the pack's first start. A [restart](Self::restart) keeps it by itself.
    #[must_use]
    pub fn with_wear(mut self, wear: Wear) -> Self {
        self.sequence.set_wear(wear);
        self
    }

    /// The fault memory.
    #[must_use]
    pub const fn memory(&self) -> &Memory {
        self.faults.memory()
    }

    /// The faults by stage as of the last tick.
    #[must_use]
    pub const fn faults(&self) -> &FaultSummary {
        self.faults.summary()
    }

    /// How much current may flow, as of the last tick.
    #[must_use]
    pub const fn limits(&self) -> CurrentLimits {
        self.limiter.given()
    }

    /// Which cells bleed, as of the last tick.
    #[must_use]
    pub const fn bleeding(&self) -> &CellSet<CELLS> {
        self.balance.bleeding()
    }

    /// Why the pack stays in quarantine and how long it has been quiet, as of the last tick; `None` when it is in none. It clears and
    /// releases nothing: that stays with the workshop. A restart begins the quiet time anew.
    #[must_use]
    pub fn quarantine(&self) -> Option<Quarantine> {
        self.quarantine.told(&self.config)
    }

    /// What is believed of the charge and the resistance of each cell.
    #[must_use]
    pub const fn estimated(&self) -> &Estimated<CELLS> {
        &self.estimated
    }

    /// What is known of the insulation from the chassis.
    #[must_use]
    pub const fn insulation(&self) -> &Insulation {
        &self.insulation
    }

    /// The configuration it works with.
    #[must_use]
    pub const fn config(&self) -> &Checked {
        &self.config
    }

    /// Spoils the configuration in memory, as a flipped bit would: nothing is checked or sealed anew, so that only the checksum can find
    /// it. For a simulator; never on a target.
    #[cfg(feature = "disturb")]
    pub fn disturb(&mut self, spoil: impl FnOnce(&mut crate::Config)) {
        self.config.disturb(spoil);
    }

    /// Goes on with other limits of the faults, checked and sealed anew. What was learnt, judged and remembered stays. For a simulator that
    /// asks what would have been; on a target a controller starts with its configuration.
    ///
    /// # Errors
    ///
    /// As [`Config::check`](crate::Config::check); then nothing changes.
    #[cfg(feature = "disturb")]
    pub fn limit_anew(&mut self, faults: crate::fault::FaultLimits) -> Result<(), crate::ConfigError> {
        let config = crate::Config { faults, ..*self.config };
        self.config = config.check(CELLS, THERMISTORS)?;
        Ok(())
    }

    /// One number for everything that is kept from tick to tick: controllers in the same state have the same one, on a target as on a
    /// host. CRC-32/ISCSI over all of it; it takes longer than a tick does.
    #[must_use]
    pub fn digest(&self) -> u32 {
        digest::of(self)
    }

    /// Time it has been told of since its start.
    #[must_use]
    pub const fn uptime(&self) -> Uptime {
        self.now
    }
}

/// The cell that the workshop reports as replaced.
const fn replaced_cell(asked: Asked) -> Option<u8> {
    match asked.replaced {
        Some(Replaced::Cell(cell)) => Some(cell),
        Some(Replaced::Contactor(_)) | None => None,
    }
}

/// Cooling runs for a hot sensor, for every Derate and above, and while a module cannot be measured.
fn cooling<const CELLS: usize, const THERMISTORS: usize>(
    believed: &Believed<'_, CELLS, THERMISTORS>,
    faults: &FaultSummary,
    from: Celsius,
) -> Cooling {
    let hot = believed.temperatures.hottest.is_none_or(|(_, celsius)| celsius >= from);
    let demanded = faults.reaction.is_some_and(|(reaction, _)| reaction >= Reaction::Derate);
    let blind =
        [Fault::ThermistorOpen, Fault::ThermistorShorted].iter().any(|fault| faults.confirmed.holds(*fault));
    if hot || demanded || blind { Cooling::On } else { Cooling::Off }
}
