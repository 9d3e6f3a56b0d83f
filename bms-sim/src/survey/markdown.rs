//! What a survey found, as a page for people: Markdown, which a terminal shows as well.

use super::Survey;
use super::pictures::values;
use super::recommend::Recommended;
use super::statistics::proportion::Proportion;
use super::summary::{SettingSummary, Summary};
use std::fmt::Write as _;

/// The page.
#[must_use]
pub fn page(survey: &Survey, summary: &Summary) -> String {
    let mut page = format!("# {}\n\n{}\n\n", survey.title, survey.story);
    let counts: Vec<&str> = survey.counts.iter().map(bms_core::Fault::key).collect();
    let counts =
        if counts.len() == bms_core::Fault::COUNT { "any fault".to_owned() } else { counts.join(", ") };
    let (runs, prefixes, seed) = (summary.runs, summary.prefixes, survey.seed);
    let _ = writeln!(
        page,
        "{runs} runs with a defect and {prefixes} sound packs, seed {seed}. Found means: {counts}. Intervals are 95 %: \
         Clopper–Pearson for shares, Garwood for rates.\n"
    );
    page += &found(summary);
    page += &alarms(summary);
    page += &curves(summary);
    page += &against(summary);
    page += &summary.recommended.as_ref().map_or_else(String::new, |of| recommended(summary, of));
    page
}

fn found(summary: &Summary) -> String {
    if summary.runs == 0 {
        return String::new();
    }
    let mut text = "## How well it detects\n\n".to_owned();
    text += "| setting | found | delay: median, 95 %, worst | before the hazard | taken for |\n| --- | --- | --- | --- | --- |\n";
    for of in &summary.settings {
        let delay = of.delay.map_or_else(
            || "–".to_owned(),
            |delay| {
                let (median, percentile, worst) =
                    (delay.median_seconds, delay.percentile_95_seconds, delay.worst_seconds);
                format!("{median:.2}, {percentile:.2}, {worst:.2} s")
            },
        );
        let hazard = of.hazard.map_or_else(
            || "not looked for".to_owned(),
            |hazard| {
                let margin = hazard.least_margin_seconds;
                let margin = margin.map_or_else(String::new, |least| format!(", least margin {least:.2} s"));
                format!("{}{margin}", share(&hazard.before))
            },
        );
        let _ = writeln!(
            text,
            "| {} | {} | {delay} | {hazard} | {} |",
            named(of),
            share(&of.found),
            counted(&of.confused)
        );
    }
    text + "\n"
}

fn alarms(summary: &Summary) -> String {
    let mut text = "## How rarely it cries wolf\n\n| setting | false alarms | in hours | an hour | accused of |\n| --- | --- | --- | --- | --- |\n".to_owned();
    for of in &summary.settings {
        let rate = of.false_alarms;
        let ends = match (rate.per_hour, rate.high_per_hour) {
            (Some(middle), Some(high)) => {
                format!("{} ({} to {})", scientific(middle), scientific(rate.low_per_hour), scientific(high))
            }
            _ => "nothing was watched".to_owned(),
        };
        let _ = writeln!(
            text,
            "| {} | {} | {:.2} | {ends} | {} |",
            named(of),
            rate.count,
            rate.hours,
            counted(&of.accused_of)
        );
    }
    text + "\n"
}

fn curves(summary: &Summary) -> String {
    let mut text = String::new();
    for curve in &summary.curves {
        let with = if curve.with.is_empty() { String::new() } else { format!(" at {}", values(&curve.with)) };
        let roc = &curve.roc;
        let _ = writeln!(
            text,
            "Area under the curve of detection against false alarms over the trip limits tried{with}: {:.4} ({:.4} to {:.4}).",
            roc.area, roc.low, roc.high
        );
    }
    if text.is_empty() { text } else { text + "\n" }
}

fn against(summary: &Summary) -> String {
    let rows = summary.against_first.iter().filter_map(|of| Some((of.setting, of.found?)));
    let mut text = String::new();
    for (setting, paired) in rows {
        let _ = writeln!(
            text,
            "| {setting} | {} | {} | {:+.2} % ({:+.2} to {:+.2}) | {:.2e} |",
            paired.only_first,
            paired.only_second,
            100.0 * paired.difference,
            100.0 * paired.low,
            100.0 * paired.high,
            paired.p_value
        );
    }
    if text.is_empty() {
        return text;
    }
    format!(
        "## Against the first setting, on the same runs\n\n| setting | only it finds | only the first finds | difference | p, if there were none |\n\
         | --- | --- | --- | --- | --- |\n{text}\n"
    )
}

fn recommended(summary: &Summary, of: &Recommended) -> String {
    let mut text = format!(
        "## Recommended\n\nWanted: at most {} false alarms in a year of operation, and at least {} % found before it is dangerous. \
         All of this holds together with 95 %.\n\n| setting | false alarms a year, at most | before the hazard, at least | keeps to it |\n\
         | --- | --- | --- | --- |\n",
        of.false_alarms_a_year, of.before_hazard_percent
    );
    for (judged, row) in of.settings.iter().zip(&summary.settings) {
        let most = judged.false_alarms_a_year_at_most.map_or_else(|| "not known".to_owned(), scientific);
        let least = judged.before_hazard_percent_at_least;
        let least = least.map_or_else(|| "not known".to_owned(), |least| format!("{least:.2} %"));
        let keeps = if judged.keeps { "yes" } else { "no" };
        let _ = writeln!(text, "| {} | {most} | {least} | {keeps} |", named(row));
    }
    let best = of.best.and_then(|best| summary.settings.get(best - 1));
    let _ = match best {
        Some(best) => writeln!(text, "\nThe best of them by its delay is setting {}.\n", named(best)),
        None => writeln!(text, "\nNone does: {}.\n", of.why_none),
    };
    text
}

fn named(of: &SettingSummary) -> String {
    if of.values.is_empty() {
        "as the cases stand".to_owned()
    } else {
        format!("{}: {}", of.setting, values(&of.values))
    }
}

fn share(of: &Proportion) -> String {
    match of.share {
        Some(share) => {
            format!(
                "{} of {}: {:.1} % ({:.1} to {:.1})",
                of.count,
                of.of,
                100.0 * share,
                100.0 * of.low,
                100.0 * of.high
            )
        }
        None => "none".to_owned(),
    }
}

fn counted(faults: &[(String, u64)]) -> String {
    let told: Vec<String> = faults.iter().map(|(fault, count)| format!("{fault} {count}")).collect();
    if told.is_empty() { "–".to_owned() } else { told.join(", ") }
}

/// A rate with three digits, whatever its size.
fn scientific(value: f64) -> String {
    if value == 0.0 { "0".to_owned() } else { format!("{value:.2e}") }
}
