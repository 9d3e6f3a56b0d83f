//! # The page
//!
//! A live page on which a case is stepped, broken and mended. The server answers commands, and that is all it does: what a page shows is
//! the answer to its last command, the same that the [stepper](crate::recording::stepper) gives at a terminal. All sentences about what
//! happened come from [`words`](crate::explain::words). Each tab has a session of its own; none disturbs another.
//!
//! # The protocol
//!
//! `GET /api/live` becomes a WebSocket. The server first says `{"kind":"session","name":…}`; with `?session=NAME` a tab that was cut off
//! goes on in it. Then each text message is one command, answered by one message, in order. `POST /api/session` opens a session without
//! a WebSocket, `POST /api/session/NAME` takes the same commands and gives the same answers, so that
//!
//! ```text
//! curl -H 'content-type: application/json' -d '{"do":"step","ticks":100}' http://127.0.0.1:7096/api/session/NAME
//! ```
//!
//! | command | does |
//! | --- | --- |
//! | `{"do":"load","case":"loose-joint.toml"}` | plays a case of the folder; or of a `text`; with `seed`, `changes` and `played` it stands where an address says |
//! | `{"do":"story"}`, `{"do":"look"}` | tells of the case; shows where it stands |
//! | `{"do":"play","speed":10}`, `{"do":"pause"}` | time runs 0.1 to 100 times as fast as on a clock, or stands |
//! | `{"do":"frame"}` | goes on by the time since the last frame, and shows where it stands then |
//! | `{"do":"step","ticks":-1}` | so many ticks on, or back |
//! | `{"do":"next","what":"event","back":true}` | the next `event`, `stage`, `reaction`, `contactors` or `act` |
//! | `{"do":"to","seconds":12}` | to a time; or to a number of ticks, `played` |
//! | `{"do":"change","change":"inject","kind":"loose_joint_tap_above","place":37,"severity":4}` | a defect begins now; `grows_seconds` |
//! | `{"do":"change","change":"mend","defect":1}` | a defect ends |
//! | `{"do":"change","change":"repair","kind":"clean_joint","place":37}` | the workshop puts a new part in; `charge_percent` of a cell |
//! | `{"do":"change","change":"ask","ask":"close"}` | `close`, `open`, `clear` (`by` `panel` or `service`), `replace` (`part`: a cell, or a contactor), `lose-power` (`for_seconds`; `record` `kept`, `torn` or `lost`) |
//! | `{"do":"change","change":"disconnect","which":"service","out":true}` | pulls or puts in the `service` or the `auxiliary` disconnect |
//! | `{"do":"change","change":"duty","work":"hoist","amps":150}` | the crane does this from now on |
//! | `{"do":"change","change":"limit","fault":"cell_over_voltage","trip":3.7}` | or `release`, `dwell_ms`, `release_dwell_ms` |
//! | `{"do":"undo"}`, `{"do":"go","branch":"original"}` | back to before the last change; into another branch |
//! | `{"do":"show","what":"evidence"}` | this tick at length: `cells`, `temperatures`, `faults`, `limits`, `sequence`, `evidence`, `defects` |
//! | `{"do":"hide"}` | hides the case as it stands in this branch: `kind` `hidden`, with a `word` for `{"do":"load","hidden":WORD}` |
//! | `{"do":"diagnose","kind":"cell_leak","place":5,"dangerous":false}` | says what is wrong with a [hidden] case, which is not hidden any more then: `kind` `diagnosed` |
//! | `{"do":"meter","red":"L+","black":"chassis"}` | what a meter shows there, `kind` `metered`; without points, on a known source |
//! | `{"do":"dead"}` | whether the link is proven dead, and what was left out: `kind` `proven` |
//! | `{"do":"series","between":[10,20]}` | values over time, what held when, what happened; of a `branch`, or of the `twin` without defects |
//! | `{"do":"compare","one":"original","other":"branch-1"}` | where two branches part, and what happened in one only |
//! | `{"do":"why"}` | the chain of every fault that was Confirmed, or of one `fault`; who came near; the verdict |
//!
//! `GET /api/session/NAME/keep/FILE` gives the branch in which somebody stands as `case.toml`, `recording.mcap`, `ticks.csv` (ten rows a
//! second) or `events.csv`; not while a case is hidden.
//!
//! `GET /api/session/NAME/distances` has the `lines` of what would have changed what came out; it takes its time, and the session answers
//! others meanwhile.
//!
//! `POST /api/bench` makes one start on the [precharge bench](mod@bench), whatever a session does.
//!
//! Every change is a branch, from the tick in which somebody stands, and takes a tick. An answer has a `kind`: `story` to `load` and `story`, `why` to `why`, `lines` to `show` and `compare`, `series` to `series`, `view` to
//! everything else, and `refused` with what is `said` when nothing was done. The keys of a view say what they hold; the unit ends each that is
//! a number with one, `_of_1` is a share, and `stop` is what [`stop`](crate::explain::stop) describes. `GET /api/lists` and
//! `GET /api/session/NAME/lists` have what can be chosen.
//!
//! # Limits
//!
//! The loopback only, unless told otherwise; then every act needs the token of the printed address. `Host` and `Origin` are
//! checked. No file is read but the page's own and the cases of one folder, and none is written. A message has at most 256 KiB, a
//! session 64 branches; 32 sessions, 256 connections, 300 commands a second each. Whatever does not take its answers within 10 s is
//! dropped; nothing is ever queued for it, since nothing is sent that was not asked for.

mod asked;
pub mod bench;
pub mod command;
pub mod folder;
mod guard;
pub mod hidden;
pub mod kept;
mod lines;
mod lists;
pub mod meter;
mod series;
mod server;
pub mod session;
mod sessions;
mod view;

use crate::case::Case;
use folder::Folder;
use guard::Guard;
use lines::Lines;
use server::Served;
use sessions::Sessions;
use std::io;
use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;

/// What is served, and where.
#[derive(Clone, Debug)]
pub struct Page {
    /// The case that a tab begins with.
    pub first: Arc<Case>,
    /// The cases that it can choose from.
    pub folder: Folder,
    /// The address to listen at.
    pub listen: IpAddr,
    /// The port; 0 takes any that is free.
    pub port: u16,
    /// A name of this machine that is accepted besides its addresses, when it listens further than on the loopback.
    pub name: Option<String>,
}

impl Page {
    /// Serves until the program ends; `ready` is given the address to open.
    ///
    /// # Errors
    /// When the port is not free, or the machine has nothing to serve with.
    pub fn serve(self, ready: impl FnOnce(&str)) -> io::Result<()> {
        let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build()?;
        runtime.block_on(async {
            let listener = tokio::net::TcpListener::bind(SocketAddr::new(self.listen, self.port)).await?;
            let bound = listener.local_addr()?;
            let guard = Guard::of(bound, self.name).map_err(io::Error::other)?;
            let sessions = Sessions::new(self.first, Arc::new(self.folder));
            ready(&address(bound, guard.token()));
            let served = Arc::new(Served { sessions, guard });
            let early = Arc::clone(&served);
            // While the browser opens, the first case is played. Whoever asks is told if that cannot be.
            tokio::task::spawn_blocking(move || early.sessions.first().is_ok());
            server::serve(Lines::new(listener), served).await
        })
    }
}

/// The address that a browser opens.
fn address(bound: SocketAddr, token: Option<&str>) -> String {
    let token = token.map_or_else(String::new, |token| format!("?token={token}"));
    format!("http://{bound}/{token}")
}
