//! A story as the text of a case file.

use super::{Phase, REST_SECONDS, Story};
use crate::case::{LimitChange, edit};
use crate::defect::Defect;
use std::fmt::Write as _;
use toml_edit::Value;

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
        let (title, story) = (Value::from(title), Value::from(story));
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
    let said = edit::defect(begun).into_table();
    let _ = write!(text, "\n[[defect]]\nat_s = {}\n{said}", begun.onset_seconds);
}

fn limit(text: &mut String, change: &LimitChange) {
    let said = edit::limits(change).into_table();
    let _ = write!(text, "\n[limits.{}]\n{said}", change.fault.key());
}
