//! # Which setting is good enough, and which of those is best
//!
//! A setting keeps to what is wanted if the unfavourable end of each interval does: the upper end of its false alarms a year, or of the share
//! of sound packs accused, and the lower end of what is found before it is dangerous. Whoever looks at k settings and b bounds finds a lucky
//! one among them more easily; so each end is taken at a confidence of 1 − 0.05 / (b k), and all that is said holds together with 95 %
//! (Bonferroni). A bound counts to one side, so an end at that confidence is the end of the two-sided interval at twice the doubt.
//!
//! Of the settings that keep to it, the best finds 95 % of what it finds soonest; of equals, the one with fewer false alarms. A year of
//! operation is 8 766 hours under current or ready for it. What nothing was seen to break needs this much evidence, `doubt` = 0.05 / (b k):
//!
//! ```text
//! hours = −ln doubt / rate wanted            packs = ln doubt / ln(1 − share that may be accused or missed)
//! ```
//!
//! One false alarm a year needs 48 000 hours for six settings: more than a survey watches in an evening. What is so rare,
//! [`rare`](super::rare) reaches for a pack that stands; how often packs stand so, a survey says.

use super::row::Prefix;
use super::statistics::CONFIDENCE;
use super::statistics::proportion::Proportion;
use super::statistics::rate::Rate;
use super::summary::Summary;
use super::{Survey, Want};
use serde::Serialize;

/// Hours of a year of operation.
const HOURS_A_YEAR: f64 = 8_766.0;

/// What is recommended.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Recommended {
    /// How sure all of it together is.
    pub confidence: f64,
    /// At most so many false alarms in a year of operation were wanted, if that was.
    pub false_alarms_a_year: Option<f64>,
    /// At most so many per cent of sound packs accused were wanted, if that was.
    pub accused_percent: Option<f64>,
    /// At least so many per cent found before it is dangerous.
    pub before_hazard_percent: f64,
    /// How each setting stands, in their order.
    pub settings: Vec<Judged>,
    /// The best that keeps to it, from 1; nothing when none does.
    pub best: Option<usize>,
    /// Why there is none; empty otherwise.
    pub why_none: String,
}

/// How a setting stands against what is wanted.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Judged {
    /// The setting, from 1.
    pub setting: usize,
    /// False alarms in a year of operation: at most so many, at this confidence; nothing when nothing was watched.
    pub false_alarms_a_year_at_most: Option<f64>,
    /// Sound packs accused: at most so many per cent, at this confidence; nothing when there was none.
    pub accused_percent_at_most: Option<f64>,
    /// Found before it is dangerous: at least so many per cent; nothing when no run becomes dangerous.
    pub before_hazard_percent_at_least: Option<f64>,
    /// Whether it keeps to all that is wanted.
    pub keeps: bool,
}

impl Recommended {
    /// Among the settings of a survey that says what is wanted.
    #[must_use]
    pub fn of(survey: &Survey, prefixes: &[Prefix], summary: &Summary) -> Option<Self> {
        let want = survey.want?;
        #[expect(clippy::cast_precision_loss, reason = "a thousand")]
        let doubt = (1.0 - CONFIDENCE) / (want.bounds() * summary.settings.len() as f64);
        let settings: Vec<Judged> = (0..summary.settings.len())
            .map(|setting| judged(prefixes, summary, setting, want, 1.0 - 2.0 * doubt))
            .collect();
        let soonness = |judged: &&Judged| {
            let of = summary.settings.get(judged.setting - 1);
            let slow = of.and_then(|of| of.delay).map_or(f64::INFINITY, |delay| delay.percentile_95_seconds);
            (slow, judged.false_alarms_a_year_at_most.unwrap_or(f64::INFINITY))
        };
        let keeping = settings.iter().filter(|judged| judged.keeps);
        let best = keeping.min_by(|one, other| {
            let (one, other) = (soonness(one), soonness(other));
            one.0.total_cmp(&other.0).then(one.1.total_cmp(&other.1))
        });
        let best = best.map(|judged| judged.setting);
        Some(Self {
            confidence: CONFIDENCE,
            false_alarms_a_year: want.false_alarms_a_year,
            accused_percent: want.accused_percent,
            before_hazard_percent: want.before_hazard_percent,
            best,
            why_none: if best.is_some() { String::new() } else { why_none(&settings, want, summary, doubt) },
            settings,
        })
    }
}

impl Want {
    /// How many bounds it has.
    fn bounds(&self) -> f64 {
        [self.false_alarms_a_year, self.accused_percent].iter().flatten().map(|_| 1.0).sum::<f64>() + 1.0
    }
}

fn judged(prefixes: &[Prefix], summary: &Summary, setting: usize, want: Want, confidence: f64) -> Judged {
    let watched = summary.settings.get(setting).map(|of| of.false_alarms);
    let most = watched
        .and_then(|rate| Rate::with(rate.count, rate.hours, confidence).high_per_hour)
        .map(|high| high * HOURS_A_YEAR);
    let accused = summary.settings.get(setting).map(|of| of.accused).filter(|accused| accused.of > 0);
    let accused = accused.map(|of| 100.0 * Proportion::with(of.count, of.of, confidence).high);
    let before = super::summary::before_hazard(prefixes, setting);
    let dangerous: u64 = before.iter().map(|(_, of)| of).sum();
    let least = (dangerous > 0).then(|| 100.0 * Proportion::clustered_with(&before, confidence).low);
    let within = |most: Option<f64>, wanted: Option<f64>| {
        wanted.is_none_or(|wanted| most.is_some_and(|most| most <= wanted))
    };
    let keeps = within(most, want.false_alarms_a_year)
        && within(accused, want.accused_percent)
        && least.is_some_and(|least| least >= want.before_hazard_percent);
    Judged {
        setting: setting + 1,
        false_alarms_a_year_at_most: most,
        accused_percent_at_most: accused,
        before_hazard_percent_at_least: least,
        keeps,
    }
}

/// What stands in the way of every setting, and how much evidence could show more.
fn why_none(settings: &[Judged], want: Want, summary: &Summary, doubt: f64) -> String {
    let least = |of: fn(&Judged) -> Option<f64>| settings.iter().filter_map(of).reduce(f64::min);
    // So many runs of which none goes wrong show that no more than this share does.
    let runs = |share: f64| {
        let runs = libm::ceil(libm::log(doubt) / libm::log1p(-share));
        if runs.is_finite() { format!("{runs:.0}") } else { "no number of".to_owned() }
    };
    let mut why = Vec::new();
    if let Some(wanted) = want.false_alarms_a_year {
        let shown = least(|judged| judged.false_alarms_a_year_at_most).unwrap_or(f64::INFINITY);
        if shown > wanted {
            let hours = summary.settings.first().map_or(0.0, |of| of.false_alarms.hours);
            let quiet = -libm::log(doubt) * HOURS_A_YEAR / wanted;
            let digits = usize::from(quiet < 100.0);
            why.push(format!(
                "no setting is shown to have fewer than {shown:.3e} false alarms a year, wanted are {wanted}: {hours:.1} hours were watched, \
                 and without any alarm {quiet:.digits$} hours would show it, {:.2e} times as many",
                quiet / hours
            ));
        }
    }
    if let Some(wanted) = want.accused_percent {
        let shown = least(|judged| judged.accused_percent_at_most).unwrap_or(100.0);
        if shown > wanted {
            why.push(format!(
                "no setting is shown to accuse fewer than {shown:.2} % of sound packs, wanted are {wanted} %: {} sound packs none of which is \
                 accused would show it",
                runs(wanted / 100.0)
            ));
        }
    }
    let before = settings.iter().filter_map(|judged| judged.before_hazard_percent_at_least).reduce(f64::max);
    match before {
        None => why.push(
            "no run becomes dangerous as far as was looked, so nothing is known of what is found before"
                .to_owned(),
        ),
        Some(shown) if shown < want.before_hazard_percent => why.push(format!(
            "no setting is shown to find more than {shown:.2} % before the hazard, wanted are {} %: {} dangerous runs all found in time would \
             show it",
            want.before_hazard_percent,
            runs(1.0 - want.before_hazard_percent / 100.0)
        )),
        Some(_) => {}
    }
    if why.is_empty() {
        why.push("each bound is kept by some setting, but none keeps all".to_owned());
    }
    why.join("; ")
}

#[cfg(test)]
mod tests;
