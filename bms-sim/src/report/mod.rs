//! # A report
//!
//! One HTML file that needs nothing beside itself: what happened, why, what would have changed it, how near the other faults came, pictures over time, the
//! cautions, the case to run it again, and the words it uses. It is read without scripts and without a network, and prints.
//!
//! It says what `run` and `why` say, in the same sentences. The pictures come from the same run, played again.

pub mod chart;
pub(crate) mod lanes;

use crate::case::StartError;
use crate::explain::chain::Chain;
use crate::explain::distance::Answer;
use crate::explain::words::glossary::{self, GLOSSARY, Piece};
use crate::explain::words::{column, heading};
use crate::explain::{Account, story, words};
use crate::recording::signals::{self, Series, Signals, Watched};
use crate::recording::{Recording, file};
use bms_core::Fault;
use chart::{Chart, DrawError, Line, Mark, Pane};
use maud::{DOCTYPE, Markup, PreEscaped, html};
use std::collections::BTreeSet;

const STYLE: &str = include_str!("page.css");

/// Moments that a picture shows: more than its pixels would not be seen.
const MOMENTS: u32 = 700;

/// Why a report cannot be made.
#[derive(Debug, thiserror::Error)]
pub enum ReportError {
    /// The run cannot be played again.
    #[error(transparent)]
    Start(#[from] StartError),
    /// A picture cannot be drawn.
    #[error(transparent)]
    Draw(#[from] DrawError),
}

/// The report on a played case; `complete` unless it comes from a file that was cut short.
///
/// # Errors
/// When the type has other counts than the case's pack, or a picture cannot be drawn.
pub fn html<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    account: &Account,
    answers: &[Answer],
    complete: bool,
) -> Result<String, ReportError> {
    let faults: Vec<Fault> = account.chains.iter().map(|chain| chain.fault).collect();
    let series = signals::series(recording, MOMENTS, &faults);
    let mut text = Text { used: BTreeSet::new() };
    let why = text.why(recording, account, &series)?;
    let body = html! {
        (text.opening(recording, account, complete))
        (why)
        (text.distances(recording, answers))
        (text.near(recording))
        (text.pictures(recording, account, &series)?)
        (text.happened(recording))
        (again(recording))
    };
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="generator" content=(file::GENERATOR);
                title { (recording.case.title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                main {
                    (body)
                    (text.glossary())
                }
                footer { p { (words::played(recording)) } }
            }
        }
    };
    Ok(page.into_string())
}

/// Writes sentences, and remembers which terms they used.
struct Text {
    used: BTreeSet<usize>,
}

impl Text {
    /// A sentence in which each term leads to its meaning.
    fn say(&mut self, sentence: &str) -> Markup {
        let pieces = glossary::pieces(sentence);
        html! {
            @for piece in pieces {
                @match piece {
                    Piece::Plain(plain) => (plain),
                    Piece::Term(form, place) => {
                        (self.remember(place))
                        a.term href=(format!("#{}", GLOSSARY[place].anchor())) { (form) }
                    }
                }
            }
        }
    }

    fn remember(&mut self, place: usize) -> &'static str {
        self.used.insert(place);
        ""
    }

    fn opening<const CELLS: usize, const THERMISTORS: usize>(
        &mut self,
        recording: &Recording<CELLS, THERMISTORS>,
        account: &Account,
        complete: bool,
    ) -> Markup {
        let case = &recording.case;
        let conclusion = story::conclusion(recording, account);
        let verdict = account.verdict_in_words(case);
        html! {
            h1 { (case.title) }
            p { (self.say(&case.story)) }
            @if !recording.end.over() {
                p { strong { (self.say(&words::cut_short(recording.end.seconds(), case.duration_seconds, complete))) } }
            }
            div.verdict {
                @for (place, sentence) in verdict.iter().enumerate() {
                    p { @if place == 0 { strong { (self.say(sentence)) } } @else { (self.say(sentence)) } }
                }
            }
            div.cautions { p { (self.say(words::CAUTIONS)) } }
            h2 { (heading::OUTCOME) }
            @for sentence in conclusion.iter().filter(|sentence| !verdict.contains(sentence)) {
                p { (self.say(sentence)) }
            }
        }
    }

    fn why<const CELLS: usize, const THERMISTORS: usize>(
        &mut self,
        recording: &Recording<CELLS, THERMISTORS>,
        account: &Account,
        series: &Series,
    ) -> Result<Markup, ReportError> {
        let (mut sections, clock) = (Vec::new(), Clock::of(recording.end.seconds()));
        for (chain, watched) in account.chains.iter().zip(&series.watched) {
            let marks = clock.marks(chain);
            let title = words::why(chain.fault);
            let picture = watched_picture(chain.fault, watched, clock, &marks)?;
            sections.push(html! {
                h2 { (title.trim_end()) }
                (self.chain(recording, chain, &marks))
                @for sentence in account.times_in_words(chain, &recording.case) {
                    p { (self.say(&sentence)) }
                }
                @if let Some(svg) = picture {
                    figure {
                        (PreEscaped(svg))
                        figcaption { (self.say(&words::watched_shows(chain.fault))) }
                    }
                }
            });
        }
        Ok(html! { @for section in sections { (section) } })
    }

    fn chain<const CELLS: usize, const THERMISTORS: usize>(
        &mut self,
        recording: &Recording<CELLS, THERMISTORS>,
        chain: &Chain,
        marks: &[Mark],
    ) -> Markup {
        let befores = std::iter::once(None).chain(chain.links.iter().map(|link| Some(link.seconds)));
        html! {
            table {
                thead { tr { th.letter scope="col" { (column::MARK) } th scope="col" { (column::TICK) } th scope="col" { (column::TIME) } th scope="col" { (column::AFTER) } th scope="col" { (column::CHAIN) } } }
                tbody {
                    @for ((link, mark), before) in chain.links.iter().zip(marks).zip(befores) {
                        tr {
                            td.letter { (mark.letter) }
                            td.time { (link.tick) }
                            td.time { (words::clock(link.seconds)) }
                            td.time { @if let Some(before) = before { "+" (words::seconds(link.seconds - before)) } }
                            td { (self.say(&words::link(link, &recording.case))) }
                        }
                    }
                }
            }
        }
    }

    fn distances<const CELLS: usize, const THERMISTORS: usize>(
        &mut self,
        recording: &Recording<CELLS, THERMISTORS>,
        answers: &[Answer],
    ) -> Markup {
        let told: Vec<Markup> = answers
            .iter()
            .map(|answer| {
                html! {
                    h3 { (self.say(&words::distances_heading(answer))) }
                    ul {
                        @for distance in &answer.distances {
                            li { (self.say(&words::distance(answer, distance, &recording.case))) }
                        }
                    }
                }
            })
            .collect();
        html! {
            h2 { (heading::DISTANCES) }
            @if answers.is_empty() { p { (self.say(&words::distances_not_asked())) } }
            @for told in told { (told) }
        }
    }

    fn near<const CELLS: usize, const THERMISTORS: usize>(
        &mut self,
        recording: &Recording<CELLS, THERMISTORS>,
    ) -> Markup {
        let near = story::near(recording);
        html! {
            @if !near.is_empty() {
                h2 { (words::nearest_heading().trim_end_matches(':')) }
                ul { @for near in &near { li { (self.say(&words::nearest(near))) } } }
            }
        }
    }

    fn pictures<const CELLS: usize, const THERMISTORS: usize>(
        &mut self,
        recording: &Recording<CELLS, THERMISTORS>,
        account: &Account,
        series: &Series,
    ) -> Result<Markup, ReportError> {
        let shown = account.chains.first();
        let clock = Clock::of(recording.end.seconds());
        let marks = shown.map(|chain| clock.marks(chain)).unwrap_or_default();
        let title = heading::RUN;
        let chart = Chart {
            title,
            description: &words::run_shows(),
            across: &clock.axis(),
            panes: panes(&series.signals, clock),
            marks: &marks,
        };
        let svg = chart.svg()?;
        let lanes = words::lanes_show();
        Ok(html! {
            h2 { (title) }
            figure {
                (lanes::picture(&recording.events, recording.end.seconds(), clock, (heading::LANES, &lanes)))
                figcaption { (self.say(&lanes)) }
            }
            @if let Some(svg) = svg {
                figure {
                    (PreEscaped(svg))
                    figcaption {
                        (self.say(&words::run_shows()))
                        @if let Some(chain) = shown { " " (self.say(&words::letters_of(chain.fault))) }
                    }
                }
            }
        })
    }

    fn happened<const CELLS: usize, const THERMISTORS: usize>(
        &mut self,
        recording: &Recording<CELLS, THERMISTORS>,
    ) -> Markup {
        let lines = story::lines(recording);
        html! {
            h2 { (heading::EVENTS) }
            table {
                thead { tr { th scope="col" { (column::TIME) } th scope="col" { (column::EVENT) } } }
                tbody {
                    @for (clock, sentence) in &lines {
                        tr { td.time { (clock) } td { (self.say(sentence)) } }
                    }
                }
            }
        }
    }

    /// The terms that were used, with the terms in their meanings.
    fn glossary(&mut self) -> Markup {
        let mut told = Vec::new();
        while let Some(place) = self.used.iter().copied().find(|place| !told.contains(place)) {
            told.push(place);
            self.say(GLOSSARY[place].means);
        }
        told.sort_unstable();
        html! {
            h2 { (heading::WORDS) }
            dl {
                @for term in told.into_iter().map(|place| GLOSSARY[place]) {
                    dt id=(term.anchor()) { (term.term) }
                    dd { (self.say(term.means)) }
                }
            }
        }
    }
}

/// The unit in which the pictures of a run count time.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Clock {
    unit: &'static str,
    seconds: f64,
}

impl Clock {
    /// The unit for a run that takes so many seconds.
    const fn of(seconds: f64) -> Self {
        if seconds > 10_000.0 {
            Self { unit: "h", seconds: 3_600.0 }
        } else if seconds > 1_000.0 {
            Self { unit: "min", seconds: 60.0 }
        } else {
            Self { unit: "s", seconds: 1.0 }
        }
    }

    fn axis(self) -> String {
        words::time_axis(self.unit)
    }

    /// A letter for each link of a chain.
    fn marks(self, chain: &Chain) -> Vec<Mark> {
        let links = chain.links.iter().zip('A'..);
        links.map(|(link, letter)| Mark { letter, at: link.seconds / self.seconds }).collect()
    }

    /// A value over time.
    fn line<T>(self, name: &str, of: &[T], when: fn(&T) -> f64, value: fn(&T) -> f64) -> Line {
        let points = of.iter().map(|now| (when(now) / self.seconds, value(now))).collect();
        Line { name: name.to_owned(), points }
    }
}

/// What a fault watched against its limit.
fn watched_picture(
    fault: Fault,
    watched: &[Watched],
    clock: Clock,
    marks: &[Mark],
) -> Result<Option<String>, DrawError> {
    let Some(first) = watched.first() else { return Ok(None) };
    let line = |name, of| clock.line(name, watched, |now| now.seconds, of);
    let lines = vec![line(column::READING, |now| now.observed), line(column::LIMIT, |now| now.limit)];
    let panes = vec![Pane { axis: first.unit.replace('_', " "), lines }];
    let (title, description, across) = (fault.words(), words::watched_shows(fault), clock.axis());
    Chart { title, description: &description, across: &across, panes, marks }.svg()
}

/// Current, cells, pack and temperatures over the whole run.
fn panes(signals: &[Signals], clock: Clock) -> Vec<Pane> {
    let line = |name, of| clock.line(name, signals, |now: &Signals| now.seconds, of);
    let pane = |axis: &str, lines| Pane { axis: axis.to_owned(), lines };
    let [current, charge, discharge] = column::CURRENTS;
    let [[highest, lowest], [of_pack, of_link], [warmest, coldest]] =
        [column::CELLS_EACH, column::VOLTAGES_EACH, column::WARMTH_EACH];
    vec![
        pane(
            column::CURRENT,
            vec![
                line(current, |now| now.current_amps),
                line(charge, |now| now.charge_limit_amps),
                line(discharge, |now| -now.discharge_limit_amps),
            ],
        ),
        pane(
            column::CELLS,
            vec![line(highest, |now| now.highest_cell_volts), line(lowest, |now| now.lowest_cell_volts)],
        ),
        pane(
            column::VOLTAGES,
            vec![line(of_pack, |now| now.pack_volts), line(of_link, |now| now.link_volts)],
        ),
        pane(
            column::WARMTH,
            vec![
                line(warmest, |now| now.true_warmest_cell_celsius),
                line(coldest, |now| now.true_coldest_cell_celsius),
            ],
        ),
    ]
}

/// The names of files in it are none of the terms.
fn again<const CELLS: usize, const THERMISTORS: usize>(recording: &Recording<CELLS, THERMISTORS>) -> Markup {
    html! {
        h2 { (heading::AGAIN) }
        p { (words::again(&recording.case.name)) }
        pre { code { (recording.case.text) } }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::case::Case;
    use crate::recording;
    use std::sync::Arc;

    fn report(text: &str) -> String {
        let case = Arc::new(Case::parse(text, "joint.toml").unwrap());
        let recording = recording::play::<16, 8>(&case, |_| true).unwrap();
        html(&recording, &Account::of(&recording).unwrap(), &[], true).unwrap()
    }

    const WIRE: &str = r#"
schema = 1
title = "A wire comes off & a < b"
story = "Nothing but a reading is lost."
pack = "trainer"
seed = 1
duration_s = 3
[start]
charge_percent = 60
celsius = 18
[[defect]]
kind = "thermistor_open"
thermistor = 3
at_s = 1
"#;

    /// What follows a mark in a text, up to the next quotation mark.
    fn after<'a>(text: &'a str, mark: &'a str) -> impl Iterator<Item = &'a str> {
        text.split(mark).skip(1).filter_map(|rest| rest.split('"').next())
    }

    #[test]
    fn it_needs_nothing_beside_itself() {
        let html = report(WIRE);
        assert!(after(&html, "href=\"").all(|address| address.starts_with('#')));
        assert!(after(&html, "url(").all(|address| address.starts_with('#')));
        for foreign in ["<script", " src=", "<link", "@import", "@font-face"] {
            assert!(!html.contains(foreign), "{foreign}");
        }
    }

    #[test]
    fn every_term_leads_to_its_meaning_and_every_meaning_stands_once() {
        let html = report(WIRE);
        let ids: Vec<&str> = after(&html, " id=\"").collect();
        assert!(ids.contains(&"term-thermistor"));
        for address in after(&html, "href=\"#") {
            assert_eq!(ids.iter().filter(|id| **id == address).count(), 1, "{address}");
        }
    }

    #[test]
    fn it_holds_story_chain_pictures_cautions_and_the_case() {
        let html = report(WIRE);
        let shown = [
            "A wire comes off &amp; a &lt; b",
            "Why thermistor open?",
            "the <a class=\"term\" href=\"#term-defect\">defect</a> begins",
            "Not critical",
            "A real pack is always live, also with its <a class=\"term\" href=\"#term-contactor\">contactors</a> open.",
            "prove, test, prove",
            "kind = &quot;thermistor_open&quot;",
            "joint.toml",
        ];
        for text in shown {
            assert!(html.contains(text), "{text}");
        }
        assert!(
            html.matches("<svg").count() >= 2
                && html.matches("<svg").count() == html.matches("<desc>").count()
        );
    }

    #[test]
    fn a_run_without_a_fault_has_a_report_too() {
        let html = report(&WIRE[..WIRE.find("[[defect]]").unwrap()]);
        assert!(html.contains("No <a class=\"term\" href=\"#term-fault\">fault</a> was"), "{html}");
    }

    /// WCAG 2.2, 1.4.3: at least 4.5 to 1 for text. Relative luminance as defined there.
    #[test]
    fn text_stands_out_from_what_it_stands_on() {
        let light = |hex: &str| {
            let digits: String = if hex.len() == 3 {
                hex.chars().flat_map(|digit| [digit, digit]).collect()
            } else {
                hex.to_owned()
            };
            let part = |from: usize| {
                let value = f64::from(u8::from_str_radix(&digits[from..from + 2], 16).unwrap()) / 255.0;
                if value <= 0.04045 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
            };
            0.2126 * part(0) + 0.7152 * part(2) + 0.0722 * part(4)
        };
        let contrast = |one: &str, other: &str| {
            let (a, b) = (light(one), light(other));
            (a.max(b) + 0.05) / (a.min(b) + 0.05)
        };
        // Black on white is 21 to 1, by the same source.
        assert!((contrast("000", "fff") - 21.0).abs() < 1e-9);
        let colours = |key: &str| -> Vec<&str> {
            let found =
                STYLE.split(key).skip(1).filter_map(|rest| rest.strip_prefix('#')?.split([';', ' ']).next());
            found.collect()
        };
        let (texts, grounds) = (colours(" color: "), colours("background: "));
        assert!(texts.len() >= 4 && grounds.len() >= 3, "{texts:?} {grounds:?}");
        for (text, ground) in texts.iter().flat_map(|text| grounds.iter().map(move |ground| (text, ground))) {
            assert!(contrast(text, ground) >= 4.5, "#{text} on #{ground}");
        }
    }
}
