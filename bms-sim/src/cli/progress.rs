//! How far a case was played, or how much of a survey is done, on stderr: a bar on a terminal; elsewhere, as in a log, a plain line now and then.

use crate::case::Case;
use indicatif::{HumanDuration, ProgressBar, ProgressStyle};
use std::io::IsTerminal as _;
use std::time::{Duration, Instant};

/// Real time until the first plain line. What is done by then needs none.
const FIRST_LINE: Duration = Duration::from_secs(2);

/// No more time left than this is said, in seconds: a hundred years.
const LONGEST_LEFT: f64 = 3.2e9;

/// Real time between two plain lines.
const LINES_APART: Duration = Duration::from_secs(10);

/// Shows how far a case was played.
pub(super) enum Progress {
    /// Nobody wants to know.
    Silent,
    Bar(ProgressBar),
    Lines(Lines),
}

impl Progress {
    pub(super) fn of(case: &Case, quiet: bool) -> Self {
        if quiet {
            return Self::Silent;
        }
        Self::towards(case.duration_seconds, "s played", "{bar:30} {pos} of {len} s, {eta} left")
    }

    /// Of a run of which so many seconds are written down.
    pub(super) fn writing(seconds: f64, quiet: bool) -> Self {
        if quiet {
            return Self::Silent;
        }
        Self::towards(seconds, "s written", "{bar:30} {pos} of {len} s written, {eta} left")
    }

    /// Of a survey with so many pieces, of which some are done.
    pub(super) fn counted(all: usize, done: usize, pieces: &'static str, quiet: bool) -> Self {
        if quiet {
            return Self::Silent;
        }
        let count = |pieces: usize| f64::from(u32::try_from(pieces).unwrap_or(u32::MAX));
        let mut progress =
            Self::towards(count(all), pieces, "{bar:30} {pos} of {len}, {per_sec}, {eta} left");
        match &mut progress {
            Self::Silent => {}
            // What was there before says nothing of the rate.
            Self::Bar(bar) => {
                bar.set_position(whole(count(done)));
                bar.reset_eta();
            }
            Self::Lines(lines) => {
                lines.from = count(done);
                lines.reached = count(done);
            }
        }
        progress
    }

    /// So many pieces of so many are done, of which more may become known.
    pub(super) fn reached(&mut self, done: usize, all: usize) {
        let count = |pieces: usize| f64::from(u32::try_from(pieces).unwrap_or(u32::MAX));
        match self {
            Self::Silent => {}
            Self::Bar(bar) => bar.set_length(whole(count(all))),
            Self::Lines(lines) => lines.all = count(all),
        }
        self.at(count(done));
    }

    fn towards(all: f64, what: &'static str, template: &str) -> Self {
        if !std::io::stderr().is_terminal() {
            let (begun, next) = (Instant::now(), FIRST_LINE);
            return Self::Lines(Lines { all, what, from: 0.0, reached: 0.0, begun, next });
        }
        let bar = ProgressBar::new(whole(all));
        if let Ok(style) = ProgressStyle::with_template(template) {
            bar.set_style(style);
        }
        Self::Bar(bar)
    }

    /// One more piece is done.
    pub(super) fn one_more(&mut self) {
        match self {
            Self::Silent => {}
            Self::Bar(bar) => bar.inc(1),
            Self::Lines(lines) => {
                let reached = lines.reached + 1.0;
                self.at(reached);
            }
        }
    }

    /// So many seconds of the case were played.
    pub(super) fn at(&mut self, seconds: f64) {
        match self {
            Self::Silent => {}
            Self::Bar(bar) => bar.set_position(whole(seconds)),
            Self::Lines(lines) => {
                if let Some(line) = lines.at(seconds, lines.begun.elapsed()) {
                    eprintln!("{line}");
                }
            }
        }
    }

    /// Played, or stopped.
    pub(super) fn done(self) {
        if let Self::Bar(bar) = self {
            bar.finish_and_clear();
        }
    }
}

/// Says now and then how far it is.
pub(super) struct Lines {
    all: f64,
    /// What is counted, as the line says it.
    what: &'static str,
    /// What was done before.
    from: f64,
    reached: f64,
    begun: Instant,
    next: Duration,
}

impl Lines {
    /// The line that is due after this real time, if any.
    fn at(&mut self, reached: f64, elapsed: Duration) -> Option<String> {
        self.reached = reached;
        (elapsed >= self.next).then(|| {
            self.next = elapsed + LINES_APART;
            let rate = (reached - self.from) / elapsed.as_secs_f64();
            let said = format!("{reached:.0} of {:.0} {}", self.all, self.what);
            if rate <= 0.0 {
                return said;
            }
            let left = Duration::from_secs_f64(((self.all - reached).max(0.0) / rate).min(LONGEST_LEFT));
            let rate = if rate < 10.0 { format!("{rate:.1}") } else { format!("{rate:.0}") };
            format!("{said}, {rate} a second, {} left", HumanDuration(left))
        })
    }
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "whole seconds, for show")]
const fn whole(seconds: f64) -> u64 {
    seconds as u64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_log_gets_a_line_now_and_then() {
        let mut lines = Lines {
            all: 3_600.0,
            what: "s played",
            from: 0.0,
            reached: 0.0,
            begun: Instant::now(),
            next: FIRST_LINE,
        };
        let told: Vec<String> = (0..300_u32)
            .filter_map(|tenth| lines.at(f64::from(tenth), Duration::from_millis(100) * tenth))
            .collect();
        assert_eq!(
            told,
            [
                "20 of 3600 s played, 10 a second, 6 minutes left",
                "120 of 3600 s played, 10 a second, 6 minutes left",
                "220 of 3600 s played, 10 a second, 6 minutes left"
            ]
        );
    }
}
