//! The server: files of the page, one WebSocket a tab, and the same commands by `POST`.

use super::asked::while_asked;
use super::bench::{self, Asking};
use super::command::Command;
use super::guard::{Guard, Unheard, hexadecimal};
use super::kept::Kept;
use super::lines::{Line, Lines};
use super::lists::{Lists, OfCase};
use super::sessions::{Seat, Sessions};
use super::view::{self, RefusedShown};
use axum::Router;
use axum::body::{Body, Bytes};
use axum::extract::connect_info::Connected;
use axum::extract::ws::{CloseFrame, Message, WebSocket, WebSocketUpgrade, close_code};
use axum::extract::{ConnectInfo, DefaultBodyLimit, Path, Query, Request, State};
use axum::http::{HeaderMap, StatusCode, Uri, header};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use axum::serve::IncomingStream;
use rust_embed::RustEmbed;
use std::collections::{HashMap, VecDeque};
use std::future::poll_fn;
use std::pin::pin;
use std::sync::Arc;
use std::task::Poll;
use std::time::Duration;
use tokio::sync::Semaphore;
use tokio::time::timeout;

/// The longest message that is read, in bytes: a case file of some size.
pub(super) const MOST_BYTES: usize = 256 * 1024;

/// How long a browser may take to accept an answer.
const SLOW: Duration = Duration::from_secs(10);

/// A page that says nothing is asked for a sign of life after so long, and is given up when none comes in the same time again.
const SIGN: Duration = Duration::from_secs(20);

/// What a browser may do with the page: nothing from elsewhere, nothing inline, no frame around it.
const POLICY: &str = "default-src 'self'; img-src 'self' data: blob:; object-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/// The files of the page: in the program, or read from disk while it is developed.
#[derive(RustEmbed)]
#[folder = "src/page/assets"]
struct Files;

/// What every answer needs.
pub(super) struct Served {
    pub(super) sessions: Sessions,
    pub(super) guard: Guard,
}

/// The connection that a request came by.
#[derive(Clone)]
struct By(Arc<Line>);

impl Connected<IncomingStream<'_, Lines>> for By {
    fn connect_info(stream: IncomingStream<'_, Lines>) -> Self {
        Self(Arc::clone(&stream.io().line))
    }
}

/// Serves until the program ends.
pub(super) async fn serve(lines: Lines, served: Arc<Served>) -> std::io::Result<()> {
    let acts = Router::new()
        .route("/lists", get(lists))
        .route("/bench", post(on_bench))
        .route("/session", post(open))
        .route("/session/{name}", post(act))
        .route("/session/{name}/lists", get(lists_of_case))
        .route("/session/{name}/distances", get(distances))
        .route("/session/{name}/keep/{file}", get(keep))
        .route("/live", get(live))
        .layer(middleware::from_fn_with_state(Arc::clone(&served), admitted));
    let app = Router::new()
        .nest("/api", acts)
        .fallback(get(file))
        .layer(DefaultBodyLimit::max(MOST_BYTES))
        .layer(middleware::from_fn_with_state(Arc::clone(&served), guarded))
        .with_state(served);
    axum::serve(lines, app.into_make_service_with_connect_info::<By>()).await
}

/// Nobody is answered who means another host or comes from another page; what is answered is kept in this page.
async fn guarded(State(served): State<Arc<Served>>, request: Request, next: Next) -> Response {
    let headers = request.headers();
    let heard = served.guard.host(headers).and_then(|()| Guard::origin(headers, false));
    let mut response = match heard {
        Ok(()) => next.run(request).await,
        Err(unheard) => unheard.into_response(),
    };
    let set = [
        (header::CONTENT_SECURITY_POLICY, POLICY),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "no-referrer"),
    ];
    for (name, value) in set {
        response.headers_mut().insert(name, header::HeaderValue::from_static(value));
    }
    response
}

/// Opened further, nobody acts without the token.
async fn admitted(State(served): State<Arc<Served>>, request: Request, next: Next) -> Response {
    match served.guard.admits(request.headers(), request.uri()) {
        Ok(()) => next.run(request).await,
        Err(unheard) => unheard.into_response(),
    }
}

/// A file of the page.
async fn file(uri: Uri, headers: HeaderMap) -> Response {
    let path = match uri.path().trim_start_matches('/') {
        "" => "index.html",
        path => path,
    };
    let Some(file) = Files::get(path) else {
        return (StatusCode::NOT_FOUND, "there is no such file").into_response();
    };
    let tag = format!("\"{}\"", hexadecimal(&file.metadata.sha256_hash()));
    if headers.get(header::IF_NONE_MATCH).is_some_and(|known| known.as_bytes() == tag.as_bytes()) {
        return StatusCode::NOT_MODIFIED.into_response();
    }
    let kind = match path.rsplit_once('.').map_or("", |(_, ending)| ending) {
        "html" => "text/html; charset=utf-8",
        "css" => "text/css; charset=utf-8",
        "js" => "text/javascript; charset=utf-8",
        "json" => "application/json",
        "svg" => "image/svg+xml",
        _ => "text/plain; charset=utf-8",
    };
    let about =
        [(header::CONTENT_TYPE, kind), (header::CACHE_CONTROL, "no-cache"), (header::ETAG, tag.as_str())];
    (about, Body::from(file.data.into_owned())).into_response()
}

fn json(status: StatusCode, text: String) -> Response {
    (status, [(header::CONTENT_TYPE, "application/json"), (header::CACHE_CONTROL, "no-store")], text)
        .into_response()
}

fn refused(status: StatusCode, error: &impl ToString) -> Response {
    json(status, view::text(&RefusedShown::of(error)))
}

async fn lists(State(served): State<Arc<Served>>) -> Response {
    json(StatusCode::OK, view::text(&Lists::of(&served.sessions.folder)))
}

/// Opens a session for whoever has no WebSocket.
async fn open(State(served): State<Arc<Served>>) -> Response {
    match opened(served).await {
        Ok((name, _)) => {
            json(StatusCode::OK, serde_json::json!({ "kind": "session", "name": name }).to_string())
        }
        Err(said) => refused(StatusCode::SERVICE_UNAVAILABLE, &said),
    }
}

async fn opened(served: Arc<Served>) -> Result<(String, Arc<Seat>), String> {
    let opened =
        tokio::task::spawn_blocking(move || served.sessions.open().map_err(|error| error.to_string()));
    opened.await.unwrap_or_else(|error| Err(error.to_string()))
}

/// Starts that are worked out at once at most: each takes a part of a second.
static ON_BENCH: Semaphore = Semaphore::const_new(2);

/// One start on the bench.
async fn on_bench(headers: HeaderMap, body: Bytes) -> Response {
    if let Err((status, said)) = is_json(&headers) {
        return refused(status, &said);
    }
    let asking: Asking = match serde_json::from_slice(&body) {
        Ok(asking) => asking,
        Err(error) => return refused(StatusCode::UNPROCESSABLE_ENTITY, &format!("bench: {error}")),
    };
    let Ok(turn) = ON_BENCH.acquire().await else {
        return refused(StatusCode::SERVICE_UNAVAILABLE, &"the bench is closed");
    };
    let started = while_asked(move |_| {
        let _turn = turn;
        bench::start(&asking).map_err(|error| error.to_string())
    });
    match started.await.unwrap_or_else(|error| Err(error.to_string())) {
        Ok(start) => json(StatusCode::OK, view::text(&start)),
        Err(said) => refused(StatusCode::UNPROCESSABLE_ENTITY, &said),
    }
}

/// A form of another page could say anything else without asking first.
fn is_json(headers: &HeaderMap) -> Result<(), Unheard> {
    const WRONG: Unheard = (StatusCode::UNSUPPORTED_MEDIA_TYPE, "content-type: accepted is application/json");
    let kind = headers.get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok()).unwrap_or_default();
    if kind.starts_with("application/json") { Ok(()) } else { Err(WRONG) }
}

async fn lists_of_case(State(served): State<Arc<Served>>, Path(name): Path<String>) -> Response {
    let Some(seat) = served.sessions.get(&name) else {
        return refused(StatusCode::NOT_FOUND, &"there is no such session");
    };
    let listed = tokio::task::spawn_blocking(move || view::text(&OfCase::of(&seat.session().case()))).await;
    match listed {
        Ok(text) => json(StatusCode::OK, text),
        Err(error) => refused(StatusCode::INTERNAL_SERVER_ERROR, &error),
    }
}

/// Distances are worked out by one at a time: each plays a branch some dozen times.
static TURNING: Semaphore = Semaphore::const_new(1);

/// What would have changed what came out. The session answers others meanwhile.
async fn distances(
    State(served): State<Arc<Served>>,
    ConnectInfo(By(line)): ConnectInfo<By>,
    Path(name): Path<String>,
) -> Response {
    let Some(seat) = served.sessions.get(&name) else {
        return refused(StatusCode::NOT_FOUND, &"there is no such session");
    };
    let Ok(turn) = TURNING.try_acquire() else {
        return refused(
            StatusCode::TOO_MANY_REQUESTS,
            &"distances are worked out for somebody else: ask again in a moment",
        );
    };
    line.is_live();
    let found = while_asked(move |course| {
        // Until the work has ended, whoever waits for it.
        let _turn = turn;
        let work = seat.session().distances();
        work.and_then(|work| work(course)).map_err(|error| error.to_string())
    });
    match found.await.unwrap_or_else(|error| Err(error.to_string())) {
        Ok(text) => json(StatusCode::OK, text),
        Err(said) => refused(StatusCode::UNPROCESSABLE_ENTITY, &said),
    }
}

/// Files that are made at once at most: each plays its branch again.
static KEEPING: Semaphore = Semaphore::const_new(2);

/// The branch in which a session stands, as a file.
async fn keep(
    State(served): State<Arc<Served>>,
    ConnectInfo(By(line)): ConnectInfo<By>,
    Path((name, file)): Path<(String, String)>,
) -> Response {
    let (Some(seat), Some(kept)) = (served.sessions.get(&name), Kept::named(&file)) else {
        return refused(StatusCode::NOT_FOUND, &"there is no such session, or no such file");
    };
    let Ok(turn) = KEEPING.acquire().await else {
        return refused(StatusCode::SERVICE_UNAVAILABLE, &"nothing is kept any more");
    };
    line.is_live();
    let made = while_asked(move |course| {
        let _turn = turn;
        seat.session().keep(kept, &course.stop).map_err(|error| error.to_string())
    });
    match made.await.unwrap_or_else(|error| Err(error.to_string())) {
        Ok(bytes) => {
            let place = format!("attachment; filename=\"{file}\"");
            let about = [
                (header::CONTENT_TYPE, "application/octet-stream"),
                (header::CONTENT_DISPOSITION, place.as_str()),
            ];
            (about, bytes).into_response()
        }
        Err(said) => refused(StatusCode::UNPROCESSABLE_ENTITY, &said),
    }
}

/// One command by `POST`.
async fn act(
    State(served): State<Arc<Served>>,
    ConnectInfo(By(line)): ConnectInfo<By>,
    Path(name): Path<String>,
    headers: HeaderMap,
    body: Bytes,
) -> Response {
    if let Err((status, said)) = is_json(&headers) {
        return refused(status, &said);
    }
    let Some(seat) = served.sessions.get(&name) else {
        return refused(StatusCode::NOT_FOUND, &"there is no such session");
    };
    if !seat.takes() {
        return refused(StatusCode::TOO_MANY_REQUESTS, &"too many commands at once: wait a moment");
    }
    line.is_live();
    match answered(&seat, &body).await {
        Ok(text) => json(StatusCode::OK, text),
        Err(text) => json(StatusCode::UNPROCESSABLE_ENTITY, text),
    }
}

/// What a session answers, or why it does not.
async fn answered(seat: &Arc<Seat>, text: &[u8]) -> Result<String, String> {
    let command: Command = serde_json::from_slice(text)
        .map_err(|error| view::text(&RefusedShown::of(&format!("command: {error}"))))?;
    let seat = Arc::clone(seat);
    let done = while_asked(move |course| {
        let answer = seat.session().answer(&command, &course.stop);
        answer.map_err(|error| view::text(&RefusedShown::of(&error)))
    });
    done.await.unwrap_or_else(|error| Err(view::text(&RefusedShown::of(&error))))
}

/// A tab that stays.
async fn live(
    State(served): State<Arc<Served>>,
    ConnectInfo(By(line)): ConnectInfo<By>,
    Query(asked): Query<HashMap<String, String>>,
    headers: HeaderMap,
    upgrade: WebSocketUpgrade,
) -> Result<Response, Unheard> {
    Guard::origin(&headers, true)?;
    let known = asked.get("session").and_then(|name| Some((name.clone(), served.sessions.get(name)?)));
    let seat = match known {
        Some(known) => Ok(known),
        None => opened(served).await,
    };
    let Ok((name, seat)) = seat else {
        return Err((
            StatusCode::SERVICE_UNAVAILABLE,
            "as many pages are open as there may be: close one of them",
        ));
    };
    line.is_live();
    let upgrade = upgrade.max_message_size(MOST_BYTES).max_frame_size(MOST_BYTES);
    Ok(upgrade.on_upgrade(move |socket| async move { converse(socket, name, &seat).await }))
}

/// Answers one command after the other until the tab has gone.
async fn converse(mut socket: WebSocket, name: String, seat: &Arc<Seat>) {
    let welcome = serde_json::json!({ "kind": "session", "name": name }).to_string();
    if !sent(&mut socket, Message::text(welcome)).await {
        return;
    }
    let (mut asked, mut waiting) = (false, VecDeque::new());
    loop {
        let next = match waiting.pop_front() {
            Some(message) => Ok(Some(Ok(message))),
            None => timeout(SIGN, socket.recv()).await,
        };
        let message = match next {
            Ok(Some(Ok(message))) => message,
            Ok(Some(Err(_)) | None) => return,
            Err(_) if asked => return,
            Err(_) => {
                asked = true;
                if !sent(&mut socket, Message::Ping(Bytes::new())).await {
                    return;
                }
                continue;
            }
        };
        asked = false;
        let answer = match message {
            Message::Text(_) if !seat.takes() => {
                let reason = "too many commands at once".into();
                let _gone =
                    sent(&mut socket, Message::Close(Some(CloseFrame { code: close_code::POLICY, reason })))
                        .await;
                return;
            }
            Message::Text(text) => {
                let work = answered(seat, text.as_bytes());
                match while_it_stays(&mut socket, &mut waiting, work).await {
                    Some(answer) => answer,
                    None => return,
                }
            }
            Message::Binary(_) => Err(view::text(&RefusedShown::of(&"accepted is JSON as text"))),
            Message::Close(_) => return,
            Message::Ping(_) | Message::Pong(_) => continue,
        };
        if !sent(&mut socket, Message::text(answer.unwrap_or_else(|refused| refused))).await {
            return;
        }
    }
}

/// Messages that are taken while an answer is worked out; more of them stay on the line.
const MOST_WAITING: usize = 8;

/// The answer, unless the tab goes before there is one: then whatever is done for it is dropped. What comes meanwhile has to wait.
async fn while_it_stays(
    socket: &mut WebSocket,
    waiting: &mut VecDeque<Message>,
    work: impl Future<Output = Result<String, String>>,
) -> Option<Result<String, String>> {
    let mut work = pin!(work);
    poll_fn(|context| {
        if let Poll::Ready(answer) = work.as_mut().poll(context) {
            return Poll::Ready(Some(answer));
        }
        while waiting.len() < MOST_WAITING {
            match pin!(socket.recv()).poll(context) {
                Poll::Ready(Some(Ok(Message::Close(_)) | Err(_)) | None) => return Poll::Ready(None),
                Poll::Ready(Some(Ok(message))) => waiting.push_back(message),
                Poll::Pending => break,
            }
        }
        Poll::Pending
    })
    .await
}

/// Whether a browser has taken an answer in time.
async fn sent(socket: &mut WebSocket, message: Message) -> bool {
    timeout(SLOW, socket.send(message)).await.is_ok_and(|sent| sent.is_ok())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is not ours is what its maker published: the manifest beside it says which package, and the sum of each file.
    #[test]
    fn vendored_files_are_as_they_were_published() {
        let manifest = Files::get("vendor/manifest.json").unwrap();
        let manifest: serde_json::Value = serde_json::from_slice(&manifest.data).unwrap();
        let sums = manifest["files"].as_object().unwrap();
        for (name, about) in sums {
            let file = Files::get(&format!("vendor/{name}")).unwrap();
            assert_eq!(
                hexadecimal(&file.metadata.sha256_hash()),
                about["sha256"].as_str().unwrap(),
                "{name}"
            );
        }
        let there = Files::iter().filter(|path| path.starts_with("vendor/")).count();
        assert_eq!(there, sums.len() + 1, "a file that no sum vouches for");
    }

    /// Nothing is asked from elsewhere, and nothing stands inline that the policy would stop.
    #[test]
    fn the_page_needs_no_network() {
        for path in Files::iter().filter(|path| !path.starts_with("vendor/")) {
            let text = String::from_utf8(Files::get(&path).unwrap().data.into_owned()).unwrap();
            let text = text.replace("http://www.w3.org/2000/svg", "");
            for outside in ["http://", "https://", "//cdn", "<style", " style=\"", "onclick=\"", "eval("] {
                assert!(!text.contains(outside), "{path}: {outside}");
            }
        }
    }
}
