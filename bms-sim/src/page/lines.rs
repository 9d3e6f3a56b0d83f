//! # Connections, and no more of them than a machine can bear
//!
//! Every connection is counted. When there are too many, the one that has been silent for longest has to go, one without a page
//! before one with a page: whoever opens a thousand of them loses their own, and a browser that comes afterwards is answered. A
//! connection from which nothing came for a while goes as well, so that a browser that has vanished, or speaks a letter a minute,
//! costs nothing.

use axum::serve::Listener;
use std::collections::HashMap;
use std::io;
use std::net::SocketAddr;
use std::pin::Pin;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::task::{Context, Poll, Waker};
use std::time::{Duration, Instant};
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::{TcpListener, TcpStream};

/// Connections at most.
pub(super) const MOST: usize = 256;

/// How long a connection with a page may be silent, which is asked for a sign of life meanwhile; and one without.
const SILENT: [Duration; 2] = [Duration::from_mins(1), Duration::from_secs(10)];

/// A listener that knows its connections.
pub(super) struct Lines {
    listener: TcpListener,
    known: Arc<Known>,
}

/// The connections that there are.
#[derive(Default)]
struct Known {
    next: AtomicU64,
    lines: Mutex<HashMap<u64, Arc<Line>>>,
}

/// What is known of a connection.
pub(super) struct Line {
    began: Instant,
    /// Milliseconds from its beginning until it was last heard.
    heard_ms: AtomicU64,
    /// Whether a page hangs on it, or somebody who is answered.
    live: AtomicBool,
    gone: AtomicBool,
    waits: Mutex<Option<Waker>>,
}

impl Line {
    fn new() -> Self {
        Self {
            began: Instant::now(),
            heard_ms: AtomicU64::new(0),
            live: AtomicBool::new(false),
            gone: AtomicBool::new(false),
            waits: Mutex::new(None),
        }
    }

    /// A page hangs on it from now on, or somebody who is answered.
    pub(super) fn is_live(&self) {
        self.live.store(true, Ordering::Relaxed);
    }

    fn silent(&self) -> Duration {
        let heard = Duration::from_millis(self.heard_ms.load(Ordering::Relaxed));
        self.began.elapsed().saturating_sub(heard)
    }

    fn heard(&self) {
        let now = u64::try_from(self.began.elapsed().as_millis()).unwrap_or(u64::MAX);
        self.heard_ms.store(now, Ordering::Relaxed);
    }

    /// Whether it has had its time.
    fn is_due(&self) -> bool {
        self.silent() > SILENT[usize::from(!self.live.load(Ordering::Relaxed))]
    }

    fn end(&self) {
        self.gone.store(true, Ordering::Relaxed);
        let waits = self.waits.lock().unwrap_or_else(PoisonError::into_inner).take();
        if let Some(waker) = waits {
            waker.wake();
        }
    }
}

impl Lines {
    pub(super) fn new(listener: TcpListener) -> Self {
        Self { listener, known: Arc::default() }
    }
}

impl Known {
    /// One more; of too many the one goes that can be missed best.
    fn add(&self) -> (u64, Arc<Line>) {
        let (number, line) = (self.next.fetch_add(1, Ordering::Relaxed), Arc::new(Line::new()));
        let mut lines = self.lines.lock().unwrap_or_else(PoisonError::into_inner);
        lines.values().filter(|line| line.is_due()).for_each(|line| line.end());
        lines.retain(|_, line| !line.gone.load(Ordering::Relaxed));
        if lines.len() >= MOST {
            let missed = |line: &Line| (!line.live.load(Ordering::Relaxed), line.silent());
            let first = lines.iter().max_by_key(|(_, line)| missed(line)).map(|(number, _)| *number);
            if let Some(line) = first.and_then(|first| lines.remove(&first)) {
                line.end();
            }
        }
        lines.insert(number, Arc::clone(&line));
        (number, line)
    }

    fn forget(&self, number: u64) {
        self.lines.lock().unwrap_or_else(PoisonError::into_inner).remove(&number);
    }
}

impl Listener for Lines {
    type Io = Connection;
    type Addr = SocketAddr;

    async fn accept(&mut self) -> (Connection, SocketAddr) {
        loop {
            match self.listener.accept().await {
                Ok((stream, address)) => {
                    // What is small goes at once; a picture that comes late is of no use.
                    let _as_it_is = stream.set_nodelay(true);
                    let (number, line) = self.known.add();
                    return (Connection { stream, number, line, known: Arc::clone(&self.known) }, address);
                }
                // Out of handles, or gone before it came: the next one may come.
                Err(_) => tokio::time::sleep(Duration::from_millis(20)).await,
            }
        }
    }

    fn local_addr(&self) -> io::Result<SocketAddr> {
        self.listener.local_addr()
    }
}

/// A connection that ends when it is told to.
pub(super) struct Connection {
    stream: TcpStream,
    number: u64,
    pub(super) line: Arc<Line>,
    known: Arc<Known>,
}

impl Drop for Connection {
    fn drop(&mut self) {
        self.known.forget(self.number);
    }
}

impl Connection {
    fn ended(&self) -> Option<io::Error> {
        let gone = self.line.gone.load(Ordering::Relaxed);
        gone.then(|| io::Error::new(io::ErrorKind::TimedOut, "this connection had to make room"))
    }
}

impl AsyncRead for Connection {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        *self.line.waits.lock().unwrap_or_else(PoisonError::into_inner) = Some(context.waker().clone());
        if let Some(error) = self.ended() {
            return Poll::Ready(Err(error));
        }
        let read = Pin::new(&mut self.stream).poll_read(context, buffer);
        if read.is_ready() {
            self.line.heard();
        }
        read
    }
}

impl AsyncWrite for Connection {
    fn poll_write(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        match self.ended() {
            Some(error) => Poll::Ready(Err(error)),
            None => Pin::new(&mut self.stream).poll_write(context, bytes),
        }
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(context)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(context)
    }
}
