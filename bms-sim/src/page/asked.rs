//! # Whoever asked
//!
//! Work that takes its time is done on a thread of its own, while whoever asked waits for it. They may go: a tab is closed, a line is
//! cut. Then nobody wants the answer, and the work is told to stop.

use crate::explain::distance::Course;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use tokio::task::{JoinError, spawn_blocking};

/// Held by whoever waits.
struct Waits(Arc<Course>);

impl Drop for Waits {
    fn drop(&mut self) {
        self.0.stop.store(true, Ordering::Relaxed);
    }
}

/// Does the work and gives what came of it. It is told to stop when the future is dropped.
///
/// # Errors
/// When the work broke.
pub(super) async fn while_asked<T: Send + 'static>(
    work: impl FnOnce(&Course) -> T + Send + 'static,
) -> Result<T, JoinError> {
    let waits = Waits(Arc::default());
    let course = Arc::clone(&waits.0);
    let done = spawn_blocking(move || work(&course)).await;
    drop(waits);
    done
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::future::Future;
    use std::pin::pin;
    use std::sync::mpsc;
    use std::task::{Context, Waker};
    use std::time::Duration;

    fn runtime() -> tokio::runtime::Runtime {
        tokio::runtime::Builder::new_multi_thread().build().unwrap()
    }

    #[test]
    fn work_is_done_for_whoever_waits() {
        let stopped = runtime().block_on(while_asked(|course| course.stop.load(Ordering::Relaxed)));
        assert!(!stopped.unwrap());
    }

    #[test]
    fn work_for_nobody_is_told_to_stop() {
        let runtime = runtime();
        let _here = runtime.enter();
        let (begins, first) = mpsc::channel();
        let (ends, last) = mpsc::channel();
        {
            let mut asked = pin!(while_asked(move |course| {
                begins.send(()).unwrap();
                while !course.stop.load(Ordering::Relaxed) {
                    std::thread::sleep(Duration::from_millis(1));
                }
                ends.send(()).unwrap();
            }));
            assert!(asked.as_mut().poll(&mut Context::from_waker(Waker::noop())).is_pending());
            first.recv_timeout(Duration::from_secs(10)).expect("it begins");
            assert!(last.try_recv().is_err(), "it is still waited for");
        }
        last.recv_timeout(Duration::from_secs(10)).expect("it ends once it was dropped");
    }
}
