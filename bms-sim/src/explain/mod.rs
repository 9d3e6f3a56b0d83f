//! # Why
//!
//! From recorded evidence and from truth: what happened, what led to what, and the sentences for all of it. Nothing here is
//! guessed: every figure is read from evidence or from the world.

pub mod chain;
pub mod story;
pub mod verdict;
pub mod words;

use crate::case::StartError;
use crate::recording::Recording;
use bms_core::Fault;
use chain::{Chain, LinkKind};

/// Why a fault was Confirmed, line by line: its chain, and the values it rests on; or how near it came.
///
/// # Errors
/// When the type has other counts than the case's pack.
pub fn why<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    fault: Fault,
) -> Result<String, StartError> {
    let mut text = format!("Why {}?\n", fault.words());
    let Some(chain) = Chain::of(recording, fault)? else {
        text += &words::never_suspected(recording.nearest.get(fault as usize).and_then(Option::as_ref));
        text.push('\n');
        return Ok(text);
    };
    let mut before = None;
    for link in &chain.links {
        let after = before
            .map_or_else(String::new, |before: f64| format!("+{}", words::seconds(link.seconds - before)));
        text += &format!(
            "{:>10}  {after:>9}  {}\n",
            words::clock(link.seconds),
            words::link(link, &recording.case)
        );
        before = Some(link.seconds);
    }
    let confirmed = chain.links.iter().any(|link| matches!(link.what, LinkKind::Confirmed(_)));
    if fault == Fault::CellResistanceHigh && confirmed {
        text += &words::load_steps(&recording.load_steps);
    }
    Ok(text)
}
