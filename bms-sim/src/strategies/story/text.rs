//! A story as the text of a case file.

use super::{Phase, REST_SECONDS, Story};
use crate::case::{LimitChange, severity_key};
use crate::defect::Defect;
use std::fmt::Write as _;

impl Story {
    /// The text of its case file.
    #[must_use]
    pub fn text(&self) -> String {
        self.told("Drawn by a property test", "What chance has drawn, shrunk to what matters.")
    }

    /// The same under this headline, with this sentence.
    #[must_use]
    pub fn told(&self, title: &str, story: &str) -> String {
        let Self { pack, seed, charge_percent, celsius, .. } = self;
        let (title, story) = (quoted(title), quoted(story));
        let mut text = format!(
            "schema = 1\ntitle = {title}\nstory = {story}\npack = \"{}\"\nseed = {seed}\nduration_s = {}\n\n\
             [start]\ncharge_percent = {charge_percent}\ncelsius = {celsius}\n\n[[act]]\nat_s = 1\nask = \"close\"\n\n\
             [[duty]]\ndo = \"park\"\nfor_s = {REST_SECONDS}\n",
            pack.name(),
            self.seconds(),
        );
        self.duty.iter().for_each(|phase| duty(&mut text, phase));
        self.defects.iter().for_each(|begun| defect(&mut text, begun));
        self.limits.0.iter().for_each(|change| limit(&mut text, change));
        text
    }
}

// Writing to a string cannot fail.

fn duty(text: &mut String, phase: &Phase) {
    let _ = write!(text, "[[duty]]\ndo = \"{}\"\nfor_s = {}\n", phase.work.name(), phase.seconds);
    if let Some(tenths) = phase.rate_tenths {
        let _ = writeln!(text, "rate_c = {}", f64::from(tenths) / 10.0);
    }
}

fn defect(text: &mut String, begun: &Defect) {
    let kind = begun.kind;
    let _ = write!(text, "\n[[defect]]\nkind = \"{}\"\nat_s = {}\n", kind.key(), begun.onset_seconds);
    if let Some(key) = kind.place().key() {
        let _ = match kind.place().names().get(begun.place) {
            Some(name) => writeln!(text, "{key} = \"{name}\""),
            None => writeln!(text, "{key} = {}", begun.place + 1),
        };
    }
    if let Some(key) = severity_key(kind.unit()) {
        let _ = writeln!(text, "{key} = {}", begun.severity);
    }
    if begun.grows_seconds > 0.0 {
        let _ = writeln!(text, "ramp_s = {}", begun.grows_seconds);
    }
}

fn limit(text: &mut String, change: &LimitChange) {
    let _ = write!(text, "\n[limits.{}]\n", change.fault.key());
    if let Some(trip) = change.trip {
        let _ = writeln!(text, "trip = {trip}");
    }
    if let Some(dwell) = change.dwell_ms {
        let _ = writeln!(text, "dwell_ms = {dwell}");
    }
}

/// As TOML writes text.
fn quoted(text: &str) -> String {
    let escaped: String = text
        .chars()
        .flat_map(|letter| {
            let plain = if letter.is_control() { ' ' } else { letter };
            let mark = matches!(plain, '"' | '\\').then_some('\\');
            mark.into_iter().chain([plain])
        })
        .collect();
    format!("\"{escaped}\"")
}
