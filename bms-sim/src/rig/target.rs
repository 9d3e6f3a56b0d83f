//! The target at the other end of a line, held against the core here.

use super::trouble::After;
use super::{Difference, Line, Trouble};
use crate::case::{Case, StartError};
use crate::recording::{Follow, Recording, play_to};
use crate::run::Loop;
use bms_core::config::Fitted;
use bms_core::decision::FaultSummary;
use bms_core::kept;
use bms_core::serial::{LONGEST, PIECE, Receiver, Refusal, ToHost, ToTarget, VERSION, send};
use bms_core::units::Millis;
use bms_core::{Config, Controller, Decision, Frame, Witness};
use std::sync::Arc;
use std::time::{Duration, Instant};

/// How often the same is asked before the target counts as gone.
const ATTEMPTS: u32 = 4;

/// The period of a tick.
const TICK: Duration = Duration::from_millis(10);

/// Microseconds in a second.
const MICROS: f64 = 1e6;

/// How fast a run goes on.
#[derive(Clone, Copy, Debug, Eq, PartialEq, clap::ValueEnum)]
pub enum Pace {
    /// As fast as host and target can
    LockStep,
    /// A tick every 10 ms, as on a pack
    Time,
}

impl Pace {
    /// The silence that the target bears.
    const fn silence(self) -> Millis {
        match self {
            Self::LockStep => Millis(5_000),
            Self::Time => Millis(100),
        }
    }

    /// How long an answer is waited for, each time: together less than the silence that the target bears, or it would not be there any more.
    const fn wait(self) -> Duration {
        match self {
            Self::LockStep => Duration::from_secs(1),
            Self::Time => Duration::from_millis(20),
        }
    }
}

/// How long answers took.
#[derive(Clone, Debug, Default)]
pub struct Times {
    micros: Vec<u32>,
    /// Ticks that began a tick or more after their time, since the one before was not answered; none are counted in lock-step, where no tick
    /// has a time.
    pub missed: Option<u64>,
    /// Messages that were sent again.
    pub repeated: u64,
    /// Messages that reached the target garbled.
    pub garbled: u32,
}

impl Times {
    /// The ticks that host and target decided alike.
    #[must_use]
    pub fn ticks(&self) -> usize {
        self.micros.len()
    }

    /// The round trip, in seconds, that this share of all ticks did not pass; none without a tick.
    #[must_use]
    pub fn round_trip(&self, share: f64) -> Option<f64> {
        let mut sorted = self.micros.clone();
        sorted.sort_unstable();
        #[expect(
            clippy::cast_precision_loss,
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a share of a count of ticks"
        )]
        let place = (share.clamp(0.0, 1.0) * sorted.len().saturating_sub(1) as f64).round() as usize;
        sorted.get(place).map(|micros| f64::from(*micros) / MICROS)
    }
}

/// The ticks that both decided alike, and how long the answers took, in a few sentences.
impl std::fmt::Display for Times {
    fn fmt(&self, to: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let millis = |share| self.round_trip(share).unwrap_or_default() * 1_000.0;
        if self.micros.is_empty() {
            return write!(to, "Host and target decided no tick together.");
        }
        write!(
            to,
            "Host and target decided {} ticks, and every decision and every state was equal. An answer took {:.2} ms in the middle, {:.2} ms or \
             less in 99 of 100, {:.2} ms at most.",
            self.micros.len(),
            millis(0.5),
            millis(0.99),
            millis(1.0)
        )?;
        match self.missed {
            Some(0) => write!(to, " No tick was missed.")?,
            Some(missed) => {
                write!(to, " Ticks missed, since the one before was not answered in time: {missed}.")?;
            }
            None => {}
        }
        for (count, what) in [
            (self.repeated, "Messages sent again, since nothing was heard"),
            (u64::from(self.garbled), "Messages that reached the target garbled"),
        ] {
            if count > 0 {
                write!(to, " {what}: {count}.")?;
            }
        }
        Ok(())
    }
}

/// A target that has begun with the configuration of a case.
pub struct Target<const CELLS: usize, const THERMISTORS: usize> {
    line: Line,
    receiver: Receiver,
    pace: Pace,
    /// When the run began, and the time of the tick that is played.
    begun: Option<Instant>,
    at: Duration,
    /// The configuration that the target works with, and its checksum.
    config: Config,
    checksum: u32,
    times: Times,
    /// The number of the last frame since the start, and how often the firmware has begun anew.
    number: u32,
    restarts: u32,
    /// Messages that reached it garbled before the firmware began anew.
    garbled_before: u32,
    /// The time of the story at which the run ends, if not with the story.
    until: Option<Duration>,
    failed: Option<Trouble>,
}

impl<const CELLS: usize, const THERMISTORS: usize> Target<CELLS, THERMISTORS> {
    /// Asks who is there, and begins.
    ///
    /// # Errors
    /// When nobody answers, or somebody else.
    pub fn begin(line: Line, case: &Case, pace: Pace) -> Result<Self, Trouble> {
        let silence = pace.silence();
        if let Some(step_ms) = case.rest_ms.filter(|_| pace == Pace::Time) {
            return Err(Trouble::Rests { step_ms, silence_ms: silence.0 });
        }
        let config = case.config();
        let fitted: Fitted<CELLS, THERMISTORS> =
            config.fit().unwrap_or_else(|error| Fitted::barred(*config, error));
        let mut target = Self {
            line,
            receiver: Receiver::new(),
            pace,
            begun: None,
            at: Duration::ZERO,
            config: *config,
            checksum: fitted.checksum(),
            times: Times { missed: (pace == Pace::Time).then_some(0), ..Times::default() },
            number: 0,
            restarts: 0,
            garbled_before: 0,
            until: None,
            failed: None,
        };
        // Ends whatever a line that was not quiet has brought the target before.
        target.line.send(&[0]).map_err(|source| target.broken(source))?;
        match target.ask(&ToTarget::Hello { version: VERSION })? {
            ToHost::Hello { version, .. } if version != VERSION => {
                return Err(Trouble::Version { target: version, host: VERSION });
            }
            ToHost::Hello { cells, thermistors, .. }
                if (usize::from(cells), usize::from(thermistors)) != (CELLS, THERMISTORS) =>
            {
                return Err(Trouble::OtherPack {
                    target_cells: cells,
                    target_thermistors: thermistors,
                    cells: CELLS,
                    thermistors: THERMISTORS,
                });
            }
            ToHost::Hello { .. } => {}
            answer => return Err(target.out_of_step(&answer)),
        }
        target.start(&ToTarget::Start { config: *config, wear: case.start.counted_wear(), silence })?;
        Ok(target)
    }

    /// Lets a controller begin, from nothing or from a record, with the configuration that both have.
    fn start(&mut self, message: &ToTarget<CELLS, THERMISTORS>) -> Result<(), Trouble> {
        match self.ask(message)? {
            ToHost::Started { config } if config == self.checksum => {
                self.number = 0;
                Ok(())
            }
            ToHost::Started { config } => {
                Err(Trouble::OtherConfiguration { target: config, host: self.checksum })
            }
            answer => Err(self.out_of_step(&answer)),
        }
    }

    /// Ends the run after so many seconds of the story.
    #[must_use]
    pub fn until_seconds(self, seconds: Option<u64>) -> Self {
        Self { until: seconds.map(Duration::from_secs), ..self }
    }

    /// Whether the run ended since it was [long enough](Self::until_seconds).
    #[must_use]
    pub fn has_reached_its_end(&self) -> bool {
        self.until.is_some_and(|until| self.at >= until)
    }

    /// Plays the case with it. `progress` as for [`play`](crate::recording::play); the run ends with what goes wrong.
    ///
    /// # Errors
    /// When the type has other counts than the case's pack.
    pub fn play(
        &mut self,
        case: &Arc<Case>,
        progress: impl FnMut(f64) -> bool,
    ) -> Result<Recording<CELLS, THERMISTORS>, StartError> {
        play_to(case, u64::MAX, self, progress)
    }

    /// What ended the run, if anything did, and how long the answers took.
    #[must_use]
    pub fn end(self) -> (Option<Trouble>, Times) {
        (self.failed, self.times)
    }

    fn so_far(&self) -> After {
        After(u64::try_from(self.times.ticks()).unwrap_or(u64::MAX))
    }

    fn broken(&self, source: std::io::Error) -> Trouble {
        Trouble::Broken { after: self.so_far(), source }
    }

    fn out_of_step(&self, answer: &ToHost<CELLS>) -> Trouble {
        let after = self.so_far();
        match answer {
            ToHost::Refused(Refusal::NotStarted) => Trouble::WasReset { after },
            ToHost::Refused(Refusal::WasSilent) => Trouble::GaveUp { after },
            other => Trouble::OutOfStep { after, answer: format!("{other:?}") },
        }
    }

    fn send(&mut self, message: &ToTarget<CELLS, THERMISTORS>) -> Result<(), Trouble> {
        let mut room = [0; LONGEST];
        match send(message, &mut room) {
            Ok(bytes) => self.line.send(bytes).map_err(|source| self.broken(source)),
            Err(_) => unreachable!("LONGEST is room for the longest message"),
        }
    }

    /// The answer to a message that was sent; what nobody answers is sent again.
    fn answer(&mut self, message: &ToTarget<CELLS, THERMISTORS>) -> Result<ToHost<CELLS>, Trouble> {
        for attempt in 1..=ATTEMPTS {
            let until = Instant::now() + self.pace.wait();
            while let Some(byte) = self.line.receive(until).map_err(|source| self.broken(source))? {
                // An answer that was garbled is asked for again; one to an older message is late.
                if let Some(Ok(answer)) = self.receiver.take(byte)
                    && is_due(message, &answer)
                {
                    return Ok(answer);
                }
            }
            if attempt < ATTEMPTS {
                self.times.repeated += 1;
                self.send(message)?;
            }
        }
        Err(Trouble::NoAnswer { after: self.so_far(), times: ATTEMPTS, waited: self.pace.wait() })
    }

    fn ask(&mut self, message: &ToTarget<CELLS, THERMISTORS>) -> Result<ToHost<CELLS>, Trouble> {
        self.send(message)?;
        self.answer(message)
    }

    /// What was changed here in the firmware's configuration is changed there too.
    fn follow_config(&mut self, core: &Controller<CELLS, THERMISTORS>) -> Result<(), Trouble> {
        let (config, checksum) = (**core.config(), core.config().checksum());
        let changed = match (checksum == self.checksum, config == self.config) {
            (true, true) => return Ok(()),
            (false, _) => self.ask(&ToTarget::Limits(config.faults))?,
            (true, false) => self.ask(&ToTarget::Spoil(config))?,
        };
        match changed {
            ToHost::Changed => {
                (self.config, self.checksum) = (config, checksum);
                Ok(())
            }
            answer => Err(self.out_of_step(&answer)),
        }
    }

    /// Waits until a tick is due.
    fn keep_pace(&mut self) {
        if self.pace == Pace::LockStep {
            return;
        }
        let now = Instant::now();
        let begun = *self.begun.get_or_insert_with(|| now.checked_sub(self.at).unwrap_or(now));
        let due = begun + self.at;
        if let Some(early) = due.checked_duration_since(now) {
            std::thread::sleep(early);
        } else if let Some(late) = now.checked_duration_since(due + TICK) {
            self.times.missed = self.times.missed.map(|missed| missed + 1);
            // What is lost is lost: the next ones keep their distance.
            self.begun = Some(begun + TICK + late);
        }
    }

    /// Both decide; the answer of the target must be that of the core here.
    fn tick<W: Witness>(
        &mut self,
        core: &mut Controller<CELLS, THERMISTORS>,
        frame: &Frame<CELLS, THERMISTORS>,
        witness: &mut W,
    ) -> Result<Decision<CELLS>, (Decision<CELLS>, Trouble)> {
        let number = self.number + 1;
        let message = ToTarget::Frame { number, frame: *frame };
        self.keep_pace();
        let sent = self.follow_config(core).and_then(|()| {
            let begun = Instant::now();
            self.send(&message).map(|()| begun)
        });
        // The target works meanwhile.
        let here = core.tick(frame, witness);
        let answered = sent.and_then(|begun| self.answer(&message).map(|answer| (begun, answer)));
        let (begun, answer) = answered.map_err(|trouble| (here, trouble))?;
        let ToHost::Decided { decision, digest, garbled, .. } = answer else {
            return Err((here, self.out_of_step(&answer)));
        };
        let took = begun.elapsed();
        if decision != here || digest != core.digest() {
            let After(tick) = self.so_far();
            let seconds = self.at.as_secs_f64();
            return Err((here, Trouble::Different { tick, seconds, difference: between(&here, &decision) }));
        }
        self.times.micros.push(u32::try_from(took.as_micros()).unwrap_or(u32::MAX));
        self.times.garbled = self.garbled_before + garbled;
        self.number = number;
        Ok(decision)
    }
}

/// A loss of power. Nobody here can switch the target off; but its controller is given up, and another one begins from what was stored, as
/// the one here does.
impl<const CELLS: usize, const THERMISTORS: usize> Target<CELLS, THERMISTORS> {
    fn restart(&mut self, now: &Loop<CELLS, THERMISTORS>) -> Result<(), Trouble> {
        let stored = now.stored();
        // The record that was written as the supply fell is the target's too; of one that tore, or is older, nothing is known there.
        if let Some(label) = kept::label(stored.record).ok().filter(|label| label.number == now.last_record())
        {
            let there = self.kept(label)?;
            if let Some(byte) = stored.record.iter().zip(&there).position(|(here, there)| here != there) {
                return Err(Trouble::OtherRecord { seconds: self.at.as_secs_f64(), byte });
            }
        }
        if let Some(begun) = self.begun.filter(|_| self.pace == Pace::Time) {
            // So long the pack is dark. A target that had begun before would hear nothing for too long.
            std::thread::sleep((begun + self.at).saturating_duration_since(Instant::now()));
        }
        self.store(stored.record)?;
        let fitted = now.core.config();
        (self.config, self.checksum) = (**fitted, fitted.checksum());
        self.garbled_before = self.times.garbled;
        let (config, silence) = (self.config, self.pace.silence());
        self.start(&ToTarget::Restart { config, silence, pack: stored.pack, off: stored.off })
    }

    /// The record that the target writes.
    fn kept(&mut self, label: kept::Label) -> Result<Vec<u8>, Trouble> {
        let length = match self.ask(&ToTarget::Keep(label))? {
            ToHost::Stored { length } => length,
            answer => return Err(self.out_of_step(&answer)),
        };
        let mut record = Vec::new();
        for from in (0..length).step_by(PIECE) {
            match self.ask(&ToTarget::Read { from })? {
                ToHost::Piece { bytes, .. } => record.extend(bytes),
                answer => return Err(self.out_of_step(&answer)),
            }
        }
        Ok(record)
    }

    fn store(&mut self, record: &[u8]) -> Result<(), Trouble> {
        for (from, bytes) in (0_u16..).step_by(PIECE).zip(record.chunks(PIECE)) {
            let bytes = bytes.iter().copied().collect();
            match self.ask(&ToTarget::Store { from, bytes })? {
                ToHost::Stored { .. } => {}
                answer => return Err(self.out_of_step(&answer)),
            }
        }
        Ok(())
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Follow<CELLS, THERMISTORS> for Target<CELLS, THERMISTORS> {
    fn before(&mut self, now: &Loop<CELLS, THERMISTORS>) {
        self.at = Duration::from_millis(now.at_ms);
        if now.restarts > self.restarts && self.failed.is_none() {
            self.restarts = now.restarts;
            self.failed = self.restart(now).err();
        }
    }

    fn decide<W: Witness>(
        &mut self,
        core: &mut Controller<CELLS, THERMISTORS>,
        frame: &Frame<CELLS, THERMISTORS>,
        witness: &mut W,
    ) -> Decision<CELLS> {
        if self.failed.is_some() {
            return core.tick(frame, witness);
        }
        match self.tick(core, frame, witness) {
            Ok(decision) => decision,
            Err((here, trouble)) => {
                self.failed = Some(trouble);
                here
            }
        }
    }

    fn ends(&self) -> Option<&'static str> {
        if self.failed.is_some() {
            Some("the target goes no further with it")
        } else {
            self.has_reached_its_end()
                .then_some("no more of it was asked for, and nothing is expected of a part")
        }
    }
}

/// Whether this can be the answer to that message, and not a late one to an older message.
fn is_due<const CELLS: usize, const THERMISTORS: usize>(
    message: &ToTarget<CELLS, THERMISTORS>,
    answer: &ToHost<CELLS>,
) -> bool {
    match (message, answer) {
        (_, ToHost::Refused(_))
        | (ToTarget::Hello { .. }, ToHost::Hello { .. })
        | (ToTarget::Start { .. } | ToTarget::Restart { .. }, ToHost::Started { .. })
        | (ToTarget::Keep(_), ToHost::Stored { .. })
        | (ToTarget::Limits(_) | ToTarget::Spoil(_), ToHost::Changed) => true,
        (ToTarget::Frame { number: asked, .. }, ToHost::Decided { number, .. }) => asked == number,
        (ToTarget::Store { from, bytes }, ToHost::Stored { length }) => {
            usize::from(*from) + bytes.len() == usize::from(*length)
        }
        (ToTarget::Read { from: asked }, ToHost::Piece { from, .. }) => asked == from,
        _ => false,
    }
}

/// What differs between two decisions. The parts are named one by one, so that a new one cannot be left out.
fn between<const CELLS: usize>(host: &Decision<CELLS>, target: &Decision<CELLS>) -> Difference {
    let Decision { coils, limits, bleed, cooling, pull, resistor, warning, step, faults } = host;
    let FaultSummary { suspect, confirmed, latched, reaction } = faults;
    let mut difference = Difference::default();
    difference.note("the drive of the coils", coils, &target.coils);
    difference.note("the limits of current", limits, &target.limits);
    difference.note("what bleeds", bleed, &target.bleed);
    difference.note("cooling", cooling, &target.cooling);
    difference.note("the test current", pull, &target.pull);
    difference.note("the resistor to the chassis", resistor, &target.resistor);
    difference.note("the warning", warning, &target.warning);
    difference.note("the step", step, &target.step);
    difference.note("what is suspect", suspect, &target.faults.suspect);
    difference.note("what is confirmed", confirmed, &target.faults.confirmed);
    difference.note("what is latched", latched, &target.faults.latched);
    difference.note("the reaction", reaction, &target.faults.reaction);
    difference
}
