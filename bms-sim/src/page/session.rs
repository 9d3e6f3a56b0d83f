//! # Somebody at a page
//!
//! A stepper in a played case, and the time that runs or stands. Time runs only while somebody looks:
//!
//! ```text
//! story time of a frame = story time of the frame before + speed · min(time since then, 250 ms)
//! ```
//! A page that nobody sees asks for no frames, and its pack stands still.

use super::command::{self, Command, Later, Loaded, Looked, Mistake, Other, Place, by_key};
use super::folder::{Folder, NotServed};
use super::hidden::{self, Hidden};
use super::kept::Kept;
use super::meter::{Point, Proving};
use super::series::Series;
use super::view::{self, View};
use crate::case::{Case, CaseError, Pack, StartError, Unchanged};
use crate::defect::Kind;
use crate::explain::at_length::AtLength;
use crate::explain::compare::Comparison;
use crate::explain::distance::Course;
use crate::explain::verdict::Criticality;
use crate::explain::{self, Account, distance, words};
use crate::recording::stepper::{Sought, Stepper, Stop, Way};
use crate::recording::{self, Recording};
use crate::run::Loop;
use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// Branches that a session holds at most: each has snapshots of its own.
const MOST_BRANCHES: usize = 64;

/// The slowest and the fastest that time runs.
pub const SPEEDS: (f64, f64) = (0.1, 100.0);

/// What passes between two frames at most.
const LONGEST_FRAME: Duration = Duration::from_millis(250);

/// Why a command is not done.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Refused {
    /// It makes no sense.
    #[error(transparent)]
    Mistake(#[from] Mistake),
    /// The case cannot be changed so.
    #[error(transparent)]
    Unchanged(#[from] Unchanged),
    /// The text is no case.
    #[error("{}", .0.excerpt(false))]
    Case(#[from] CaseError),
    /// It cannot be played.
    #[error(transparent)]
    Start(#[from] StartError),
    /// There is no such case to be served.
    #[error(transparent)]
    Served(#[from] NotServed),
    /// Nothing of that is there.
    #[error("{0}")]
    Nothing(String),
    /// Whoever asked has gone.
    #[error("interrupted: nothing was done")]
    Interrupted,
}

/// Work that takes its time, and its answer as JSON.
pub type LongWork = Box<dyn FnOnce(&Course) -> Result<String, Refused> + Send>;

/// Somebody at a page, whatever the pack.
pub struct Session {
    at: Box<dyn Stands>,
    first: Played,
    folder: Arc<Folder>,
    hidden: Arc<Hidden>,
}

/// A case that was played, by its pack. Many sessions may begin with the same one.
#[derive(Clone)]
pub enum Played {
    /// Of the crane.
    Crane(Arc<Recording<96, 16>>),
    /// Of the trainer.
    Trainer(Arc<Recording<16, 8>>),
}

impl Played {
    /// Plays a case, no further than until it is told to stop.
    ///
    /// # Errors
    /// When it cannot be played.
    pub fn of(case: &Arc<Case>, stop: &AtomicBool) -> Result<Self, StartError> {
        let goes_on = |_| !stop.load(Ordering::Relaxed);
        Ok(match case.pack {
            Pack::Crane => Self::Crane(Arc::new(recording::play(case, goes_on)?)),
            Pack::Trainer => Self::Trainer(Arc::new(recording::play(case, goes_on)?)),
        })
    }

    fn case(&self) -> &Arc<Case> {
        match self {
            Self::Crane(recording) => &recording.case,
            Self::Trainer(recording) => &recording.case,
        }
    }

    /// Somebody stands at its start, whether or not what is wrong is hidden.
    fn stands(&self, hidden: bool) -> Box<dyn Stands> {
        match self {
            Self::Crane(recording) => Box::new(At::begin(recording, hidden)),
            Self::Trainer(recording) => Box::new(At::begin(recording, hidden)),
        }
    }
}

impl Session {
    /// At the start of a case, with others in a folder or hidden.
    #[must_use]
    pub fn of(first: &Played, folder: &Arc<Folder>, hidden: &Arc<Hidden>) -> Self {
        let (folder, hidden) = (Arc::clone(folder), Arc::clone(hidden));
        Self { at: first.stands(false), first: first.clone(), folder, hidden }
    }

    /// The case of the branch in which it stands.
    #[must_use]
    pub fn case(&self) -> Arc<Case> {
        self.at.case()
    }

    /// What would have changed what came out in this branch: long work, which needs the session no longer once it is begun.
    ///
    /// # Errors
    /// When the case is hidden.
    pub fn distances(&self) -> Result<LongWork, Refused> {
        self.at.distances()
    }

    /// The branch in which it stands, as a file.
    ///
    /// # Errors
    /// When it is hidden, or cannot be written.
    pub fn keep(&self, kept: Kept, stop: &AtomicBool) -> Result<Vec<u8>, Refused> {
        self.at.keep(kept, stop)
    }

    /// Does what it is told and gives the answer, as JSON.
    ///
    /// # Errors
    /// When it is not done.
    pub fn answer(&mut self, command: &Command, stop: &AtomicBool) -> Result<String, Refused> {
        // Whoever asked may have gone while the one before was answered.
        if stop.load(Ordering::Relaxed) {
            return Err(Refused::Interrupted);
        }
        if let Command::Load(loaded) = command {
            self.at = self.load(loaded, stop)?;
        }
        if matches!(command, Command::Hide {}) {
            let word = self.hidden.hide(&self.at.shown_case()?)?;
            return Ok(view::text(&view::HiddenShown::of(word)));
        }
        self.at.answer(command, stop)
    }

    fn load(&self, loaded: &Loaded, stop: &AtomicBool) -> Result<Box<dyn Stands>, Refused> {
        let first = self.first.case();
        let mut case = match (&loaded.case, &loaded.text, &loaded.hidden) {
            (Some(name), None, None) if *name == first.name => (**first).clone(),
            (Some(name), None, None) => self.folder.case(name)?,
            (None, Some(text), None) => Case::parse(text, "from-the-page.toml")?,
            (None, None, Some(word)) => (*self.hidden.find(word)?).clone(),
            _ => {
                let accepted = "accepted is one of case, text and hidden";
                return Err(Mistake::new("load", "several or none", accepted).into());
            }
        };
        let hidden = loaded.hidden.is_some();
        case.seed = loaded.seed.filter(|_| !hidden).unwrap_or(case.seed);
        let same = case == **first;
        let mut at =
            if same { self.first.clone() } else { Played::of(&Arc::new(case), stop)? }.stands(hidden);
        // What was broken off is not the case.
        if stop.load(Ordering::Relaxed) {
            return Err(Refused::Interrupted);
        }
        at.restore(&loaded.changes, loaded.played, stop)?;
        Ok(at)
    }
}

/// What a session does, whatever the pack.
trait Stands: Send {
    fn case(&self) -> Arc<Case>;
    fn distances(&self) -> Result<LongWork, Refused>;
    fn keep(&self, kept: Kept, stop: &AtomicBool) -> Result<Vec<u8>, Refused>;
    /// The case unless it is hidden.
    fn shown_case(&self) -> Result<Arc<Case>, Refused>;
    fn answer(&mut self, command: &Command, stop: &AtomicBool) -> Result<String, Refused>;
    fn restore(&mut self, changes: &[Later], played: Option<u64>, stop: &AtomicBool) -> Result<(), Refused>;
}

/// Where somebody stands.
struct At<const CELLS: usize, const THERMISTORS: usize> {
    stepper: Stepper<CELLS, THERMISTORS>,
    /// What each branch was made by, in the order of the branches; the original by nothing.
    made_by: Vec<Option<Later>>,
    /// What playing again found out of each branch of which it was asked for, by the branch's place.
    accounts: BTreeMap<usize, Arc<Account>>,
    runs: Option<Runs>,
    proving: Proving,
    /// Whether what is wrong is hidden from whoever stands here.
    hidden: bool,
}

/// Time that runs.
#[derive(Clone, Copy, Debug)]
struct Runs {
    speed: f64,
    /// Of the last frame.
    looked: Instant,
    /// Story time that has passed and is not played yet, in milliseconds.
    left_ms: f64,
}

impl<const CELLS: usize, const THERMISTORS: usize> At<CELLS, THERMISTORS> {
    fn begin(recording: &Arc<Recording<CELLS, THERMISTORS>>, hidden: bool) -> Self {
        let mut stepper = Stepper::new(Arc::clone(recording));
        // There is something to be seen from the start.
        stepper.by(Way::On, 1);
        Self {
            stepper,
            made_by: vec![None],
            accounts: BTreeMap::new(),
            runs: None,
            proving: Proving::default(),
            hidden,
        }
    }

    fn recording(&self) -> &Arc<Recording<CELLS, THERMISTORS>> {
        &self.stepper.here().recording
    }

    /// The tick that was played last, with what may be seen of it.
    fn stop(&mut self) -> Option<Stop<CELLS, THERMISTORS>> {
        let mut stop = self.stepper.stop()?;
        if self.hidden {
            stop.events.retain(hidden::is_public);
        }
        Some(stop)
    }

    /// Goes to the next tick in which something happened that may be seen.
    fn seek(&mut self, what: Looked, way: Way) -> bool {
        if !self.hidden {
            return self.stepper.to_next(what.into(), way);
        }
        let (sought, here) = (Sought::from(what), self.stepper.played());
        let events = self.recording().events.iter();
        let seen = events.filter(|event| sought.is(&event.what) && hidden::is_public(event));
        let mut played = seen.map(|event| event.tick + 1);
        let found = match way {
            Way::On => played.find(|played| *played > here),
            Way::Back => played.rfind(|played| *played < here),
        };
        found.is_some_and(|played| {
            self.stand(played);
            true
        })
    }

    /// Holds against the truth what somebody says is wrong; from then on nothing is hidden.
    fn diagnose(&mut self, kind: &str, at: Option<&Place>, dangerous: bool) -> Result<String, Refused> {
        if !self.hidden {
            return Err(Refused::Nothing("nothing is hidden here".to_owned()));
        }
        let case = Arc::clone(&self.stepper.branches()[0].recording.case);
        let kind = by_key("kind", kind, Kind::ALL, Kind::key)?;
        let place = command::place(kind.place(), at, &case)?;
        let verdict = Account::of(&self.stepper.branches()[0].recording)?;
        let found = case.defects.iter().any(|defect| defect.kind == kind && defect.place == place);
        self.hidden = false;
        let mut said = vec![
            words::diagnosed::defect(found, &case.defects),
            words::diagnosed::danger(dangerous, verdict.verdict.critical()),
        ];
        said.extend(verdict.verdict_in_words(&case));
        let right = found && dangerous == verdict.verdict.critical();
        Ok(view::text(&view::Diagnosed { kind: "diagnosed", right, said }))
    }

    fn view(&mut self) -> String {
        let speed = self.runs.map(|runs| runs.speed);
        let stop = self.stop();
        view::text(&View::of(stop, &self.stepper, &self.made_by, (speed, self.hidden)))
    }

    /// Goes on by the time since the last frame.
    fn run_on(&mut self) {
        let Some(mut runs) = self.runs else { return };
        let passed = runs.looked.elapsed().min(LONGEST_FRAME);
        runs.looked = Instant::now();
        runs.left_ms += 1_000.0 * passed.as_secs_f64() * runs.speed;
        let case = &self.recording().case;
        #[expect(clippy::cast_precision_loss, reason = "a tick has a few milliseconds")]
        let tick_ms = case.tick_ms as f64;
        let ticks = libm::floor(runs.left_ms / tick_ms);
        if case.rest_ms.is_some() {
            // A tick may be longer than it says.
            let seconds = self.stepper.stop().map_or(0.0, |stop| stop.after.seconds());
            let until = seconds + runs.left_ms / 1_000.0;
            if self.stepper.to_seconds(until) {
                runs.left_ms = 0.0;
            }
        } else {
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "at most 25 s of ticks"
            )]
            self.stepper.by(Way::On, ticks as u64);
            runs.left_ms -= ticks * tick_ms;
        }
        let over = self.stepper.played() >= self.recording().ticks;
        self.runs = (!over).then_some(runs);
    }

    /// Makes a branch and stands in it.
    fn change(&mut self, other: &Other, stop: &AtomicBool) -> Result<(), Refused> {
        if self.stepper.branches().len() >= MOST_BRANCHES {
            let accepted = format!("accepted are {MOST_BRANCHES} branches; load the case again");
            return Err(Mistake::new("branches", MOST_BRANCHES, accepted).into());
        }
        let seconds = self.stepper.stop().map_or(0.0, |stop| stop.after.seconds());
        let change = other.meant(&self.recording().case, seconds)?;
        let played = self.stepper.played();
        if !self.stepper.branch(&change, |_| !stop.load(Ordering::Relaxed))? {
            return Err(Refused::Interrupted);
        }
        self.forget_proving();
        // An act takes a tick: two of them never fall into one, and what it does is seen.
        self.stepper.by(Way::On, 1);
        self.made_by.push(Some(Later { played, change: other.clone() }));
        Ok(())
    }

    /// Stands where the branch was made, in what it was made from.
    fn undo(&mut self) -> Result<(), Refused> {
        let Some((trunk, played)) = self.stepper.here().from else {
            return Err(Refused::Nothing("nothing was changed here that could be undone".to_owned()));
        };
        let Some(name) = self.stepper.branches().get(trunk).map(|branch| branch.name.clone()) else {
            return Err(Refused::Nothing("nothing was changed here that could be undone".to_owned()));
        };
        self.forget_proving();
        self.stepper.go(&name);
        self.stand(played);
        Ok(())
    }

    /// Stands after so many ticks.
    fn stand(&mut self, played: u64) {
        let here = self.stepper.played();
        if played >= here {
            self.stepper.by(Way::On, played - here);
        } else {
            self.stepper.by(Way::Back, here - played);
        }
    }

    /// The place of a branch by its name.
    fn place(&self, name: &str) -> Result<usize, Mistake> {
        self.stepper.place(name).ok_or_else(|| {
            let names: Vec<&str> =
                self.stepper.branches().iter().map(|branch| branch.name.as_str()).collect();
            Mistake::unknown("branch", name, &names)
        })
    }

    fn series(
        &mut self,
        branch: Option<&str>,
        twin: bool,
        between: Option<(f64, f64)>,
        stop: &AtomicBool,
    ) -> Result<String, Refused> {
        let place = branch.map_or(Ok(self.stepper.branches().len()), |name| self.place(name))?;
        let branch = self.stepper.branches().get(place).unwrap_or(self.stepper.here()).clone();
        let (name, recording) = if twin {
            let sound = Arc::new(branch.recording.case.without_defects());
            let recording = recording::play(&sound, |_| !stop.load(Ordering::Relaxed))?;
            ("twin".to_owned(), Arc::new(recording))
        } else {
            (branch.name, branch.recording)
        };
        let ticks = between.map_or(0..recording.ticks, |(from, to)| {
            recording.played_at(from).saturating_sub(1)..recording.played_at(to)
        });
        Ok(view::text(&Series::of(&name, &recording, ticks, self.hidden)))
    }

    /// Pack and firmware where somebody stands.
    fn after(&mut self) -> Result<Loop<CELLS, THERMISTORS>, Refused> {
        let stop = self.stepper.stop();
        stop.map(|stop| stop.after).ok_or_else(|| Refused::Nothing(words::stop::before_the_first()))
    }

    fn meter(&mut self, red: Option<Point>, black: Option<Point>) -> Result<String, Refused> {
        let world = self.after()?.world;
        Ok(view::text(&match (red, black) {
            (Some(red), Some(black)) => self.proving.between(&world, red, black)?,
            (None, None) => self.proving.on_source(),
            _ => return Err(Mistake::new("meter", "one point", "accepted are two points, or none").into()),
        }))
    }

    /// What was measured holds no longer once anything was switched or changed, or somebody goes back.
    fn forget_proving(&mut self) {
        self.proving = Proving::default();
    }

    fn show(&mut self, what: AtLength) -> String {
        let case = Arc::clone(&self.recording().case);
        let lines = what.lines(self.stop().as_ref(), &case);
        view::text(&view::Lines { kind: "lines", lines })
    }

    fn why(&mut self, fault: Option<&str>) -> Result<String, Refused> {
        let place = self.stepper.place(&self.stepper.here().name).unwrap_or_default();
        let recording = Arc::clone(self.recording());
        let account = match self.accounts.get(&place) {
            Some(account) => Arc::clone(account),
            None => Arc::new(Account::of(&recording)?),
        };
        self.accounts.insert(place, Arc::clone(&account));
        let faults = match fault {
            Some(key) => vec![super::command::fault(key)?],
            None => recording.confirmed().iter().map(|(_, seen)| seen.fault).collect(),
        };
        let mut text = String::new();
        if faults.is_empty() {
            text += &(words::none_confirmed() + "\n");
        }
        if fault.is_none() {
            text.extend(account.silence_in_words(&recording.case).iter().map(|said| format!("{said}\n")));
        }
        for fault in faults {
            let apart = if text.is_empty() { "" } else { "\n" };
            text += &format!("{apart}{}", explain::why(&recording, &account, fault)?);
        }
        let near = explain::nearest(&recording);
        let verdict = account.verdict_in_words(&recording.case);
        let dangerous = account.verdict.criticality() != Criticality::NotCritical;
        Ok(view::text(&view::Reasons { kind: "why", why: text, near, verdict, dangerous }))
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Stands for At<CELLS, THERMISTORS> {
    fn case(&self) -> Arc<Case> {
        Arc::clone(&self.recording().case)
    }

    fn distances(&self) -> Result<LongWork, Refused> {
        self.shown_case()?;
        let recording = Arc::clone(self.recording());
        Ok(Box::new(move |course| {
            let mut lines = Vec::new();
            for (outcome, fault) in distance::usual_questions(&recording) {
                let answer = distance::answer_on(course, &recording, outcome, fault)?;
                if course.stop.load(Ordering::Relaxed) {
                    return Err(Refused::Interrupted);
                }
                lines.extend(explain::distances(&answer, &recording.case).lines().map(str::to_owned));
            }
            Ok(view::text(&view::Lines { kind: "lines", lines }))
        }))
    }

    fn keep(&self, kept: Kept, stop: &AtomicBool) -> Result<Vec<u8>, Refused> {
        self.shown_case()?;
        kept.of(self.recording(), stop)
    }

    fn shown_case(&self) -> Result<Arc<Case>, Refused> {
        if self.hidden {
            hidden::permitted(&Command::Hide {})?;
        }
        Ok(self.case())
    }

    fn answer(&mut self, command: &Command, stop: &AtomicBool) -> Result<String, Refused> {
        let before = self.stepper.played();
        if self.hidden {
            hidden::permitted(command)?;
        }
        match command {
            Command::Load(_) | Command::Story {} => {
                return Ok(view::text(&view::Story::of(&self.recording().case, self.hidden)));
            }
            Command::Diagnose { kind, place, dangerous } => {
                return self.diagnose(kind, place.as_ref(), *dangerous);
            }
            Command::Look {} | Command::Hide {} => {}
            Command::Play { speed } => {
                let (slowest, fastest) = SPEEDS;
                if !(slowest..=fastest).contains(speed) {
                    let accepted = format!("accepted is {slowest} to {fastest}");
                    return Err(Mistake::new("speed", speed, accepted).into());
                }
                let left_ms = self.runs.map_or(0.0, |runs| runs.left_ms);
                self.runs = Some(Runs { speed: *speed, looked: Instant::now(), left_ms });
            }
            Command::Pause {} => self.runs = None,
            Command::Frame {} => self.run_on(),
            Command::Step { ticks } => {
                self.runs = None;
                let way = if *ticks < 0 { Way::Back } else { Way::On };
                self.stepper.by(way, ticks.unsigned_abs());
            }
            Command::Next { what, back } => {
                self.runs = None;
                let way = if *back { Way::Back } else { Way::On };
                if !self.seek(*what, way) {
                    return Err(Refused::Nothing(words::stop::nothing_there(way)));
                }
            }
            Command::To { seconds, played } => {
                self.runs = None;
                match (seconds, played) {
                    (Some(seconds), None) => drop(self.stepper.to_seconds(*seconds)),
                    (None, Some(played)) => self.stand(*played),
                    _ => {
                        let accepted = "accepted is one of seconds and played";
                        return Err(Mistake::new("to", "both or neither", accepted).into());
                    }
                }
            }
            Command::Go { branch } => {
                self.place(branch)?;
                self.stepper.go(branch);
                self.forget_proving();
            }
            Command::Undo {} => self.undo()?,
            Command::Change(other) => self.change(other, stop)?,
            Command::Show { what } => return Ok(self.show(*what)),
            Command::Series { branch, twin, between } => {
                return self.series(branch.as_deref(), *twin, *between, stop);
            }
            Command::Meter { red, black } => return self.meter(*red, *black),
            Command::Dead {} => {
                let world = self.after()?.world;
                return Ok(view::text(&self.proving.judged(&world)));
            }
            Command::Compare { one, other } => {
                let (a, b) = (self.place(one)?, self.place(other)?);
                let lines = Comparison::of(&self.stepper, a, b).lines(one, other);
                return Ok(view::text(&view::Lines { kind: "lines", lines }));
            }
            Command::Why { fault } => return self.why(fault.as_deref()),
        }
        if self.stepper.played() < before {
            self.forget_proving();
        }
        Ok(self.view())
    }

    fn restore(&mut self, changes: &[Later], played: Option<u64>, stop: &AtomicBool) -> Result<(), Refused> {
        for Later { played, change } in changes {
            self.stand(*played);
            self.change(change, stop)?;
        }
        if let Some(played) = played {
            self.stand(played);
        }
        Ok(())
    }
}
