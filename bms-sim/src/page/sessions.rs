//! The sessions that there are: one a tab, none in another's way.

use super::folder::Folder;
use super::guard::secret;
use super::hidden::Hidden;
use super::session::{Played, Refused, Session};
use crate::case::Case;
use std::collections::HashMap;
use std::sync::atomic::AtomicBool;
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError};
use std::time::{Duration, Instant};

/// Sessions at most.
pub(super) const MOST: usize = 32;

/// One that nobody has used for so long makes room for another one.
const UNUSED: Duration = Duration::from_secs(30);

/// Commands a second, and how many may come at once: a page asks for no more than two frames where a screen shows one.
const RATE: (f64, f64) = (300.0, 600.0);

/// All of them by their names, which nobody guesses.
pub(super) struct Sessions {
    known: Mutex<HashMap<String, Arc<Seat>>>,
    pub(super) folder: Arc<Folder>,
    hidden: Arc<Hidden>,
    case: Arc<Case>,
    /// The case that a tab begins with, once it is played.
    first: OnceLock<Played>,
}

/// A session and what keeps it.
pub(super) struct Seat {
    session: Mutex<Session>,
    pace: Mutex<Pace>,
}

/// How fast commands come: a bucket that fills by the rate and is emptied by one each.
struct Pace {
    used: Instant,
    left: f64,
}

impl Pace {
    const fn new(now: Instant) -> Self {
        Self { used: now, left: RATE.1 }
    }

    /// Whether one more is taken.
    fn takes(&mut self, now: Instant) -> bool {
        let since = now.saturating_duration_since(self.used).as_secs_f64();
        self.left = (self.left + RATE.0 * since).min(RATE.1);
        self.used = now;
        let takes = self.left >= 1.0;
        if takes {
            self.left -= 1.0;
        }
        takes
    }
}

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Seat {
    /// Whether another command is taken now.
    pub(super) fn takes(&self) -> bool {
        locked(&self.pace).takes(Instant::now())
    }

    /// The session, once whoever has it now is answered.
    pub(super) fn session(&self) -> MutexGuard<'_, Session> {
        locked(&self.session)
    }

    fn unused(&self) -> Duration {
        locked(&self.pace).used.elapsed()
    }
}

impl Sessions {
    pub(super) fn new(case: Arc<Case>, folder: Arc<Folder>) -> Self {
        Self { known: Mutex::default(), folder, hidden: Arc::default(), case, first: OnceLock::new() }
    }

    /// The case that a tab begins with. Whoever asks first plays it; the others have it then.
    ///
    /// # Errors
    /// When it cannot be played.
    pub(super) fn first(&self) -> Result<&Played, Refused> {
        if let Some(first) = self.first.get() {
            return Ok(first);
        }
        let played = Played::of(&self.case, &AtomicBool::new(false))?;
        Ok(self.first.get_or_init(|| played))
    }

    /// The session of this name.
    pub(super) fn get(&self, name: &str) -> Option<Arc<Seat>> {
        locked(&self.known).get(name).cloned()
    }

    /// One more, at the start of the first case.
    ///
    /// # Errors
    /// When there are too many, and all are in use.
    pub(super) fn open(&self) -> Result<(String, Arc<Seat>), Refused> {
        self.room()?;
        let session = Session::of(self.first()?, &self.folder, &self.hidden);
        let pace = Mutex::new(Pace::new(Instant::now()));
        let seat = Arc::new(Seat { session: Mutex::new(session), pace });
        let name = secret().map_err(|error| Refused::Nothing(error.to_string()))?;
        self.room()?;
        locked(&self.known).insert(name.clone(), Arc::clone(&seat));
        Ok((name, seat))
    }

    /// Makes room for one more: the one that was not used for longest goes.
    fn room(&self) -> Result<(), Refused> {
        let mut known = locked(&self.known);
        if known.len() < MOST {
            return Ok(());
        }
        let longest = known.iter().max_by_key(|(_, seat)| seat.unused());
        match longest.filter(|(_, seat)| seat.unused() > UNUSED).map(|(name, _)| name.clone()) {
            Some(name) => {
                known.remove(&name);
                Ok(())
            }
            None => Err(Refused::Nothing(format!("{MOST} pages are open already: close one of them"))),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 600 at once, then 300 a second.
    #[test]
    fn commands_are_taken_no_faster_than_by_the_rate() {
        let now = Instant::now();
        let mut pace = Pace::new(now);
        assert_eq!((0..1_000).filter(|_| pace.takes(now)).count(), 600);
        let later = now + Duration::from_millis(500);
        assert_eq!((0..1_000).filter(|_| pace.takes(later)).count(), 150);
    }

    #[test]
    fn sessions_have_room_for_so_many_and_no_more() {
        let text = include_str!("../../../examples/cases/welded-positive.toml");
        let case = Arc::new(Case::parse(text, "welded-positive.toml").unwrap());
        let sessions = Sessions::new(case, Arc::new(Folder::of(None)));
        let names: Vec<String> = (0..MOST).map(|_| sessions.open().unwrap().0).collect();
        assert!(sessions.open().is_err_and(|error| error.to_string().contains("close one of them")));
        assert!(names.iter().all(|name| name.len() == 32 && sessions.get(name).is_some()));
        assert!(sessions.get("0").is_none());
    }
}
