//! Those who mean it harm, or have gone: they are refused or dropped, and everybody else is answered meanwhile.

use super::client::{self, Server, Socket};
use super::{SERVER, origin};
use serde_json::{Value, json};
use std::io::{Read as _, Write as _};
use std::net::{Ipv4Addr, TcpStream};
use std::time::{Duration, Instant};

/// Opened further, nobody acts or sees anything of a pack without the token of the printed address; and only this machine may be meant.
#[test]
fn opened_further_it_wants_its_token() {
    let server = Server::listening("welded-positive.toml", Ipv4Addr::UNSPECIFIED, Some("dock.example"));
    let token = server.token.clone().expect("the printed address has one");
    assert_eq!(SERVER.token, None, "on the loopback there is none");
    let wrong =
        [String::new(), "?token=".into(), format!("?token={}", "0".repeat(32)), format!("?token={token}0")];
    for query in &wrong {
        assert_eq!(server.post(&format!("/api/session{query}"), "", "").0, 401, "{query}");
        assert_eq!(server.get(&format!("/api/lists{query}")).0, 401, "{query}");
        assert_eq!(
            Socket::open(&server, &format!("/api/live{query}"), Some(&origin(&server))).err(),
            Some(401),
            "{query}"
        );
    }
    // Right in the address or as a header; then as on the loopback.
    assert_eq!(server.get(&format!("/api/lists?token={token}")).0, 200);
    assert_eq!(server.post("/api/session", "", &format!("x-token: {token}\r\n")).0, 200);
    let live = format!("/api/live?token={token}");
    assert!(Socket::open(&server, &live, Some(&origin(&server))).is_ok());
    assert_eq!(Socket::open(&server, &live, Some("http://evil.example")).err(), Some(403));
    let (_, port) = server.host.split_once(':').unwrap();
    let asked = |host: &str| {
        server
            .say(&format!(
                "GET /api/lists?token={token} HTTP/1.1\r\nhost: {host}\r\nconnection: close\r\n\r\n"
            ))
            .0
    };
    assert_eq!(asked(&format!("dock.example:{port}")), 200);
    assert_eq!(asked(&format!("evil.example:{port}")), 421);
    // The page itself holds nothing secret.
    assert_eq!(server.get("/").0, 200);
}

/// Whatever is not for this page is refused, and everybody else is answered meanwhile.
#[test]
fn hostile_requests_are_refused() {
    let (session, host) = (SERVER.session(), &SERVER.host);
    let look = r#"{"do":"look"}"#;
    let asked = |request: &str| SERVER.say(request).0;
    // Another host that was made to point here, or none.
    assert_eq!(asked("GET / HTTP/1.1\r\nhost: evil.example\r\nconnection: close\r\n\r\n"), 421);
    assert_eq!(asked("GET / HTTP/1.0\r\nconnection: close\r\n\r\n"), 421);
    // Another page.
    for other in ["http://evil.example", "null", "https://127.0.0.1"] {
        assert_eq!(SERVER.post(&session, look, &format!("origin: {other}\r\n")).0, 403, "{other}");
        assert_eq!(Socket::open(&SERVER, "/api/live", Some(other)).err(), Some(403), "{other}");
    }
    assert_eq!(Socket::open(&SERVER, "/api/live", None).err(), Some(403));
    // A form, which another page may send without asking.
    let form = format!(
        "POST {session} HTTP/1.1\r\nhost: {host}\r\ncontent-type: text/plain\r\ncontent-length: {}\r\nconnection: close\r\n\r\n{look}",
        look.len()
    );
    assert_eq!(asked(&form), 415);
    // Files that are not the page's.
    for path in [
        "/../Cargo.toml",
        "/%2e%2e/Cargo.toml",
        "/..%2f..%2fCargo.toml",
        "//etc/passwd",
        "/assets/../../mod.rs",
        "/vendor/..%5c..%5cmod.rs",
        "/%00",
    ] {
        let (status, body) = SERVER.get(path);
        assert!(status == 404 || status == 400, "{path}: {status}");
        assert!(!body.contains("workspace") && !body.contains("root:"), "{path}: {body}");
    }
    // Too large, said or not.
    let large = "x".repeat(300 * 1024);
    assert_eq!(SERVER.post(&session, &large, "").0, 413);
    assert_eq!(asked(&format!("GET /{} HTTP/1.1\r\nhost: {host}\r\n\r\n", "y".repeat(900_000))) / 100, 4);
    // No HTTP at all, and no JSON.
    assert!(asked("\u{16}\u{3}\u{1}\0\0\r\n\r\n") == 400);
    assert_eq!(SERVER.post(&session, "{\"do\":\"look\"", "").0, 422);
    assert_eq!(SERVER.post(&session, &"[".repeat(100_000), "").0, 422);
    assert_eq!(SERVER.post("/api/session/0", look, "").0, 404);
    // Still there.
    assert_eq!(SERVER.post(&session, look, "").0, 200);
}

/// A socket that sends what is no command is told so; one that sends too much or too fast is closed.
#[test]
fn hostile_sockets_are_closed() {
    let open = || {
        let mut socket = Socket::open(&SERVER, "/api/live", Some(&origin(&SERVER))).ok().unwrap();
        assert!(socket.next().unwrap().contains("session"));
        socket
    };
    let mut socket = open();
    socket.send(0x81, b"no json").unwrap();
    assert!(socket.next().unwrap().contains("refused"));
    socket.send(0x82, &[0, 1, 2]).unwrap();
    assert!(socket.next().unwrap().contains("accepted is JSON as text"));
    socket.send(0x81, &[0xff, 0xfe]).unwrap();
    assert_eq!(socket.next(), None, "what is no UTF-8 is no text");
    let mut socket = open();
    let _closed_meanwhile = socket.send(0x81, &vec![b' '; 300 * 1024]);
    assert_eq!(socket.next(), None);
    let mut socket = open();
    let mut answers = 0;
    for _ in 0..3_000 {
        if socket.send(0x81, br#"{"do":"pause"}"#).is_err() {
            break;
        }
    }
    while socket.next().is_some() {
        answers += 1;
    }
    assert!(answers < 3_000, "{answers}");
}

/// A thousand connections that say nothing, or half a request, do not keep a browser from its page; nor do as many that a browser leaves
/// behind.
#[test]
fn a_thousand_connections_are_in_nobodys_way() {
    let server = Server::of("welded-positive.toml");
    let mut socket = Socket::open(&server, "/api/live", Some(&origin(&server))).ok().unwrap();
    assert!(socket.next().unwrap().contains("session"));
    let mut idle: Vec<TcpStream> = Vec::new();
    for number in 0..1_000 {
        let Ok(mut stream) = TcpStream::connect(&server.host) else { continue };
        if number % 2 == 0 {
            let _gone = stream.write_all(b"GET / HTTP/1.1\r\nhost: ");
        }
        idle.push(stream);
        if number % 100 == 0 {
            let clock = Instant::now();
            assert_eq!(socket.ask(&json!({ "do": "look" }))["kind"], "view");
            assert!(clock.elapsed() < Duration::from_secs(2), "{:?}", clock.elapsed());
        }
    }
    assert!(idle.len() > 900, "{}", idle.len());
    let (status, body) = server.get("/");
    assert!(status == 200 && body.contains("<title>"), "{status}");
    assert_eq!(socket.ask(&json!({ "do": "look" }))["kind"], "view");
    // Most of them had to make room.
    let has_ended = |stream: &mut TcpStream| {
        stream.set_read_timeout(Some(Duration::from_millis(1))).unwrap();
        match stream.read(&mut [0]) {
            Ok(read) => read == 0,
            Err(error) => error.kind() == std::io::ErrorKind::ConnectionReset,
        }
    };
    let ended = idle.iter_mut().map(has_ended).filter(|ended| *ended).count();
    assert!(ended > 600, "{ended}");
}

/// A browser that asks and does not read its answers is dropped after 10 s, and is in nobody's way until then.
#[test]
fn a_slow_browser_costs_nothing() {
    let mut slow = Socket::open(&SERVER, "/api/live", Some(&origin(&SERVER))).ok().unwrap();
    // More than the buffers between two sockets hold, and no more than may come at once.
    for _ in 0..550 {
        slow.send(0x81, br#"{"do":"series"}"#).unwrap();
    }
    let (session, clock) = (SERVER.session(), Instant::now());
    while slow.send(0x81, br#"{"do":"pause"}"#).is_ok() {
        assert!(clock.elapsed() < Duration::from_mins(1), "it is still waited for");
        let look = Instant::now();
        SERVER.act(&session, &json!({ "do": "look" }));
        assert!(look.elapsed() < Duration::from_secs(2), "{:?}", look.elapsed());
        std::thread::sleep(Duration::from_millis(500));
    }
    assert!(clock.elapsed() > Duration::from_secs(9), "{:?}: it was not given its time", clock.elapsed());
}

/// A story of a day, which takes its time to be played.
fn day() -> Value {
    let text = std::fs::read_to_string(format!("{}/welded-positive.toml", client::CASES)).unwrap();
    let duration = text.lines().find(|line| line.starts_with("duration_s")).unwrap();
    json!({ "do": "load", "text": text.replace(duration, "duration_s = 86_400") })
}

/// The session is answered soon, and stands where it stood.
fn is_free(session: &str) {
    let clock = Instant::now();
    let look = SERVER.act(session, &json!({ "do": "look" }));
    assert!(clock.elapsed() < Duration::from_secs(5), "{:?}", clock.elapsed());
    assert_eq!(look["case"], "welded-positive.toml", "it stands where it stood");
}

/// Of a browser that vanishes while a long case is played for it nothing is played any further.
#[test]
fn a_vanished_browser_costs_nothing() {
    let mut socket = Socket::open(&SERVER, "/api/live", Some(&origin(&SERVER))).ok().unwrap();
    let name: Value = serde_json::from_str(&socket.next().unwrap()).unwrap();
    socket.send(0x81, day().to_string().as_bytes()).unwrap();
    std::thread::sleep(Duration::from_millis(500));
    drop(socket);
    is_free(&format!("/api/session/{}", name["name"].as_str().unwrap()));
}

/// Nor for those that ask without a page and go, however many they are.
#[test]
fn requests_of_the_vanished_cost_nothing() {
    let (session, body) = (SERVER.session(), day().to_string());
    for _ in 0..5 {
        let mut stream = SERVER.connect();
        let request = format!(
            "POST {session} HTTP/1.1\r\nhost: {}\r\ncontent-type: application/json\r\ncontent-length: {}\r\n\r\n{body}",
            SERVER.host,
            body.len()
        );
        stream.write_all(request.as_bytes()).unwrap();
        std::thread::sleep(Duration::from_millis(100));
    }
    is_free(&session);
}
