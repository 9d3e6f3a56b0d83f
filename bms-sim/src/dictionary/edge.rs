//! The rows of a question, and the edges between what is found and what is not.

use super::digits::rounded;
use super::twin::Twin;
use super::{Entry, Observation, Question, Row, Settings, Trouble};
use crate::world::spec::PackSpec;
use serde::{Deserialize, Serialize};
use std::sync::atomic::{AtomicBool, Ordering};

/// Severities from one to another, both tried and with the same outcome.
#[derive(Clone, Copy, Debug, Deserialize, PartialEq, Serialize)]
pub struct Span {
    /// The lowest.
    pub from: f64,
    /// The highest.
    pub to: f64,
}

/// An edge is known once its sides are less than this factor apart.
const RESOLUTION: f64 = 1.1;

/// Answers a question, or nothing when it was stopped.
pub(super) fn entry(
    twin: &Twin,
    question: &Question,
    settings: &Settings,
    stop: &AtomicBool,
) -> Result<Option<Entry>, Trouble> {
    let subject = question.subject;
    let mut rows = Vec::new();
    for severity in subject.severities(settings.severities, &PackSpec::trainer()) {
        if stop.load(Ordering::Relaxed) {
            return Ok(None);
        }
        rows.push(twin.row(subject, severity)?);
    }
    let mut undetected = Vec::new();
    if !subject.kind.unit().is_empty() {
        let tried: Vec<(f64, bool)> =
            rows.iter().map(|row: &Row| (row.severity, !row.faults.is_empty())).collect();
        let found =
            |severity| if stop.load(Ordering::Relaxed) { Ok(true) } else { twin.found(subject, severity) };
        undetected = spans(&tried, settings.edges, found)?;
        if stop.load(Ordering::Relaxed) {
            return Ok(None);
        }
    }
    let observation = Observation::ALL[question.observation].key.to_owned();
    Ok(Some(Entry { subject, observation, rows, undetected }))
}

/// The spans of severities that are not found, of those tried in rising order; with their edges searched if wished.
fn spans<E>(
    tried: &[(f64, bool)],
    edges: bool,
    mut found: impl FnMut(f64) -> Result<bool, E>,
) -> Result<Vec<Span>, E> {
    let mut spans: Vec<Span> = Vec::new();
    let mut before: Option<(f64, bool)> = None;
    for &(severity, is_found) in tried {
        let searched = match before {
            Some((other, was_found)) if edges && was_found != is_found => {
                Some(edge(other, severity, was_found, &mut found)?)
            }
            _ => None,
        };
        match (before, is_found) {
            (Some((_, false)), false) => {
                if let Some(span) = spans.last_mut() {
                    span.to = severity;
                }
            }
            (_, false) => spans.push(Span { from: searched.unwrap_or(severity), to: severity }),
            (Some((_, false)), true) => {
                if let (Some(span), Some(searched)) = (spans.last_mut(), searched) {
                    span.to = searched;
                }
            }
            (_, true) => {}
        }
        before = Some((severity, is_found));
    }
    Ok(spans)
}

/// Between two severities with different outcomes, the one nearest to the edge that is not found.
fn edge<E>(
    low: f64,
    high: f64,
    low_found: bool,
    found: &mut impl FnMut(f64) -> Result<bool, E>,
) -> Result<f64, E> {
    let (mut unfound, mut seen) = if low_found { (high, low) } else { (low, high) };
    // No log scale crosses zero.
    while unfound * seen > 0.0 && (unfound / seen).max(seen / unfound) > RESOLUTION {
        let middle = rounded(libm::sqrt(unfound * seen).copysign(unfound), 3);
        if found(middle)? {
            seen = middle;
        } else {
            unfound = middle;
        }
    }
    Ok(unfound)
}

#[cfg(test)]
mod tests {
    use super::*;
    use core::convert::Infallible;

    fn undetected(tried: &[f64], found: impl Fn(f64) -> bool) -> Vec<Span> {
        let outcomes: Vec<_> = tried.iter().map(|severity| (*severity, found(*severity))).collect();
        spans::<Infallible>(&outcomes, true, |severity| Ok(found(severity))).unwrap()
    }

    #[test]
    fn an_edge_is_met_within_a_tenth_on_both_sides_and_in_either_direction() {
        let tried = [0.1, 1.0, 10.0, 100.0];
        let below = undetected(&tried, |severity| severity > 3.0);
        assert!(below.len() == 1 && below[0].to <= 3.0 && below[0].to > 3.0 / 1.1, "{below:?}");
        let above = undetected(&tried, |severity| severity < 3.0);
        assert!(above.len() == 1 && above[0].from >= 3.0 && above[0].from < 3.3, "{above:?}");
        assert_eq!(undetected(&tried, |_| true), []);
        assert_eq!(undetected(&tried, |_| false), [Span { from: 0.1, to: 100.0 }]);
    }

    #[test]
    fn a_range_around_zero_has_an_edge_on_either_side() {
        let both = undetected(&[-100.0, -1.0, 1.0, 100.0], |severity| !(-20.0..30.0).contains(&severity));
        assert_eq!(both.len(), 1);
        assert!(
            both[0].from >= -20.0 && both[0].from < -18.0 && both[0].to < 30.0 && both[0].to > 27.0,
            "{both:?}"
        );
    }
}
