//! What a survey found, as a page for people: Markdown, which a terminal shows as well.

use super::pictures::values;
use super::recommend::Recommended;
use super::statistics::paired::Paired;
use super::statistics::proportion::Proportion;
use super::summary::{SettingSummary, Summary};
use super::{Rule, Survey};
use std::fmt::Write as _;

/// The page.
#[must_use]
pub fn page(survey: &Survey, summary: &Summary) -> String {
    let mut page = format!("# {}\n\n{}\n\n", survey.title, survey.story);
    let counts: Vec<String> = survey.rules.iter().map(rule).collect();
    let counts = counts.join("; ");
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

/// Which faults count, and under which name where there are several rules.
fn rule(rule: &Rule) -> String {
    let counts: Vec<&str> = rule.counts.iter().map(bms_core::Fault::key).collect();
    let counts =
        if counts.len() == bms_core::Fault::COUNT { "any fault".to_owned() } else { counts.join(", ") };
    if rule.name.is_empty() { counts } else { format!("{counts} (rule “{}”)", rule.name) }
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
        let with = values(&curve.with, curve.rule.as_deref());
        let with = if with.is_empty() { with } else { format!(" at {with}") };
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
    let mut text = String::new();
    for of in &summary.against_first {
        let (Some(named), Some(accused)) = (summary.settings.get(of.setting - 1), of.accused) else {
            continue;
        };
        let found = of.found.map_or_else(|| "– | – ".to_owned(), difference);
        let _ = writeln!(text, "| {} | {found} | {} |", self::named(named), difference(accused));
    }
    if text.is_empty() {
        return text;
    }
    format!(
        "## Against the first setting, on the same packs\n\nIn each column: only it, only the first, difference of the shares. p is how likely \
         so uneven a count is if neither is better.\n\n| setting | found | p | sound packs accused | p |\n\
         | --- | --- | --- | --- | --- |\n{text}\n"
    )
}

/// The two cells of a comparison.
fn difference(paired: Paired) -> String {
    let [share, low, high] = [paired.difference, paired.low, paired.high].map(|part| 100.0 * part);
    let (it, first, p) = (paired.only_first, paired.only_second, paired.p_value);
    let p = if p < 0.001 { format!("{p:.0e}") } else { format!("{p:.3}") };
    format!("{it}, {first}, {share:+.1} % ({low:+.1} to {high:+.1}) | {p}")
}

fn recommended(summary: &Summary, of: &Recommended) -> String {
    let alarms =
        of.false_alarms_a_year.map(|most| format!("at most {most} false alarms in a year of operation"));
    let accused = of.accused_percent.map(|most| format!("at most {most} % of sound packs accused"));
    let before = format!("at least {} % found before it is dangerous", of.before_hazard_percent);
    let wanted: Vec<String> = alarms.into_iter().chain(accused).chain([before]).collect();
    let mut text = format!(
        "## Recommended\n\nWanted: {}. All of this holds together with 95 %.\n\n\
         | setting | false alarms a year, at most | sound packs accused, at most | before the hazard, at least | keeps to it |\n\
         | --- | --- | --- | --- | --- |\n",
        wanted.join(", ")
    );
    for (judged, row) in of.settings.iter().zip(&summary.settings) {
        let percent = |value: Option<f64>| {
            value.map_or_else(|| "not known".to_owned(), |value| format!("{value:.2} %"))
        };
        let most = judged.false_alarms_a_year_at_most.map_or_else(|| "not known".to_owned(), scientific);
        let (accused, least) =
            (percent(judged.accused_percent_at_most), percent(judged.before_hazard_percent_at_least));
        let keeps = if judged.keeps { "yes" } else { "no" };
        let _ = writeln!(text, "| {} | {most} | {accused} | {least} | {keeps} |", named(row));
    }
    let best = of.best.and_then(|best| summary.settings.get(best - 1));
    let _ = match best {
        Some(best) => writeln!(text, "\nThe best of them by its delay is setting {}.\n", named(best)),
        None => writeln!(text, "\nNone does: {}.\n", of.why_none),
    };
    text
}

fn named(of: &SettingSummary) -> String {
    match values(&of.values, of.rule.as_deref()) {
        values if values.is_empty() => "as the cases stand".to_owned(),
        values => format!("{}: {values}", of.setting),
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
