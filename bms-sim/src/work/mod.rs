//! # Much work, many hands
//!
//! Long surveys are lists of independent pieces. [`spread`] plays them on several threads and hands over what comes out; every piece is a
//! pure function of its settings, so the outcome does not depend on how many threads there were or in which order they ended.
//! [`results`] keeps what is done, so that an interruption loses nothing but the pieces under way.

pub mod results;

use std::num::NonZeroUsize;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc;

/// As many threads as the machine has processors for.
#[must_use]
pub fn all_threads() -> NonZeroUsize {
    std::thread::available_parallelism().unwrap_or(NonZeroUsize::MIN)
}

/// Works through the pieces on several threads. `work` gives nothing for a piece that it broke off; `done` is called here, with each
/// piece's place in the list, in the order in which they come to an end, and says whether to go on. Pieces under way are waited for.
pub fn spread<Piece: Sync, Outcome: Send>(
    pieces: &[Piece],
    threads: NonZeroUsize,
    stop: &AtomicBool,
    work: impl Fn(&Piece) -> Option<Outcome> + Sync,
    mut done: impl FnMut(usize, Outcome) -> bool,
) {
    let next = AtomicUsize::new(0);
    let refused = AtomicBool::new(false);
    // Handed over one at a time: whoever receives says whether another one is wanted.
    let (hand_over, outcomes) = mpsc::sync_channel(0);
    std::thread::scope(|scope| {
        for _ in 0..threads.get() {
            let hand_over = hand_over.clone();
            scope.spawn(|| {
                let hand_over = hand_over;
                while !stop.load(Ordering::Relaxed) && !refused.load(Ordering::Relaxed) {
                    let place = next.fetch_add(1, Ordering::Relaxed);
                    let Some(outcome) = pieces.get(place).map(&work) else { break };
                    // The other end hangs up only when nothing more is wanted.
                    if outcome.is_some_and(|outcome| hand_over.send((place, outcome)).is_err()) {
                        break;
                    }
                }
            });
        }
        drop(hand_over);
        for (place, outcome) in outcomes {
            if !done(place, outcome) {
                refused.store(true, Ordering::Relaxed);
            }
        }
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_piece_is_done_once_on_any_number_of_threads() {
        let pieces: Vec<u64> = (0..100).collect();
        for threads in [1, 2, 7] {
            let mut found = vec![0; pieces.len()];
            let threads = NonZeroUsize::new(threads).unwrap();
            spread(
                &pieces,
                threads,
                &AtomicBool::new(false),
                |piece| Some(piece * piece),
                |place, square| {
                    found[place] += square;
                    true
                },
            );
            assert!(found.iter().zip(&pieces).all(|(found, piece)| *found == piece * piece));
        }
    }

    #[test]
    fn what_is_stopped_begins_no_further_piece() {
        let stop = AtomicBool::new(false);
        let mut ended = 0;
        spread(
            &[(); 100],
            NonZeroUsize::MIN,
            &stop,
            |()| Some(()),
            |_, ()| {
                ended += 1;
                false
            },
        );
        assert!(ended < 100);
        stop.store(true, Ordering::Relaxed);
        spread(&[(); 100], NonZeroUsize::MIN, &stop, |()| Some(()), |_, ()| panic!("nothing was to begin"));
    }
}
