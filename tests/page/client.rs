//! A client of the page that says exactly what it is told to say, well-formed or not.

use bms_sim::case::Case;
use bms_sim::page::Page;
use bms_sim::page::folder::Folder;
use serde_json::Value;
use std::io::{Read as _, Write as _};
use std::net::{IpAddr, Ipv4Addr, TcpStream};
use std::path::Path;
use std::sync::{Arc, mpsc};
use std::time::Duration;

/// The shipped cases.
pub(crate) const CASES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../examples/cases");

/// A server of its own for a test.
pub(crate) struct Server {
    /// Host and port.
    pub(crate) host: String,
    /// The word that it wants to be shown, if it listens further than on the loopback.
    pub(crate) token: Option<String>,
}

/// A case from the shipped ones.
pub(crate) fn case(name: &str) -> Case {
    Case::read(&Path::new(CASES).join(name)).unwrap()
}

impl Server {
    /// Begins with a shipped case.
    pub(crate) fn of(name: &str) -> Self {
        Self::listening(name, Ipv4Addr::LOCALHOST, None)
    }

    /// At an address, and with a name of the machine.
    pub(crate) fn listening(name: &str, listen: Ipv4Addr, machine: Option<&str>) -> Self {
        let (ready, address) = mpsc::channel();
        let page = Page {
            first: Arc::new(case(name)),
            folder: Folder::of(Some(Path::new(CASES))),
            listen: IpAddr::V4(listen),
            port: 0,
            name: machine.map(str::to_owned),
        };
        std::thread::spawn(move || page.serve(|address| ready.send(address.to_owned()).unwrap()));
        let address = address.recv_timeout(Duration::from_secs(20)).unwrap();
        let (host, query) = address.trim_start_matches("http://").split_once('/').unwrap();
        let token = query.strip_prefix("?token=").map(str::to_owned);
        // Every address of the machine is not one that can be meant.
        Self { host: host.replace("0.0.0.0", "127.0.0.1"), token }
    }

    pub(crate) fn connect(&self) -> TcpStream {
        let stream = TcpStream::connect(&self.host).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(30))).unwrap();
        stream
    }

    /// Says a request as it stands and reads all of the answer: status, and all after the head.
    pub(crate) fn say(&self, request: &str) -> (u16, String) {
        let mut stream = self.connect();
        // One that has heard enough may close before all was said.
        let _cut = stream.write_all(request.as_bytes());
        let mut answer = Vec::new();
        let _cut = stream.read_to_end(&mut answer);
        let answer = String::from_utf8_lossy(&answer).into_owned();
        let (head, body) = answer.split_once("\r\n\r\n").unwrap_or((&answer, ""));
        let status = head.split_whitespace().nth(1).and_then(|status| status.parse().ok());
        (status.unwrap_or(0), body.to_owned())
    }

    pub(crate) fn get(&self, path: &str) -> (u16, String) {
        self.say(&format!("GET {path} HTTP/1.1\r\nhost: {}\r\nconnection: close\r\n\r\n", self.host))
    }

    /// Posts JSON, with further lines in the head.
    pub(crate) fn post(&self, path: &str, body: &str, more: &str) -> (u16, String) {
        self.say(&format!(
            "POST {path} HTTP/1.1\r\nhost: {}\r\ncontent-type: application/json\r\ncontent-length: {}\r\nconnection: close\r\n{more}\r\n{body}",
            self.host,
            body.len()
        ))
    }

    /// Opens a session; gives its path.
    pub(crate) fn session(&self) -> String {
        let (status, body) = self.post("/api/session", "", "");
        assert_eq!(status, 200, "{body}");
        let name = serde_json::from_str::<Value>(&body).unwrap()["name"].as_str().unwrap().to_owned();
        format!("/api/session/{name}")
    }

    /// Does something that is done.
    pub(crate) fn act(&self, session: &str, command: &Value) -> Value {
        let (status, body) = self.post(session, &command.to_string(), "");
        assert_eq!(status, 200, "{command}: {body}");
        serde_json::from_str(&body).unwrap()
    }
}

/// A WebSocket, byte by byte (RFC 6455).
pub(crate) struct Socket(TcpStream);

impl Socket {
    /// Opens one; gives the status when it is refused.
    pub(crate) fn open(server: &Server, path: &str, origin: Option<&str>) -> Result<Self, u16> {
        let mut stream = server.connect();
        let origin = origin.map_or_else(String::new, |origin| format!("origin: {origin}\r\n"));
        let request = format!(
            "GET {path} HTTP/1.1\r\nhost: {}\r\nupgrade: websocket\r\nconnection: Upgrade\r\nsec-websocket-version: 13\r\nsec-websocket-key: dGhlIHNhbXBsZSBub25jZQ==\r\n{origin}\r\n",
            server.host
        );
        stream.write_all(request.as_bytes()).unwrap();
        let (mut head, mut byte) = (Vec::new(), [0]);
        while !head.ends_with(b"\r\n\r\n") && stream.read(&mut byte).is_ok_and(|read| read == 1) {
            head.push(byte[0]);
        }
        let head = String::from_utf8_lossy(&head).into_owned();
        let status = head.split_whitespace().nth(1).and_then(|status| status.parse().ok()).unwrap_or(0);
        // The answer to the sample key of RFC 6455, section 1.3.
        if status == 101 && head.contains("s3pPLMBiTxaQ9kYGzzhZRbK+xOo=") {
            Ok(Self(stream))
        } else {
            Err(status)
        }
    }

    /// Sends a frame: its first byte has the kind, 0x81 for all of a text.
    pub(crate) fn send(&mut self, kind: u8, bytes: &[u8]) -> std::io::Result<()> {
        let mut frame = vec![kind];
        match u16::try_from(bytes.len()) {
            Ok(short) if short < 126 => frame.push(0x80 | u8::try_from(short).unwrap()),
            Ok(long) => {
                frame.push(0x80 + 126);
                frame.extend(long.to_be_bytes());
            }
            Err(_) => {
                frame.push(0x80 + 127);
                frame.extend((bytes.len() as u64).to_be_bytes());
            }
        }
        // A mask of nothing is one, too.
        frame.extend([0; 4]);
        frame.extend(bytes);
        self.0.write_all(&frame)
    }

    /// The next text; nothing when the line was closed.
    pub(crate) fn next(&mut self) -> Option<String> {
        let mut head = [0; 2];
        self.0.read_exact(&mut head).ok()?;
        let length = match head[1] & 0x7f {
            126 => {
                let mut long = [0; 2];
                self.0.read_exact(&mut long).ok()?;
                u64::from(u16::from_be_bytes(long))
            }
            127 => {
                let mut longer = [0; 8];
                self.0.read_exact(&mut longer).ok()?;
                u64::from_be_bytes(longer)
            }
            short => u64::from(short),
        };
        let mut body = vec![0; usize::try_from(length).unwrap()];
        self.0.read_exact(&mut body).ok()?;
        (head[0] == 0x81).then(|| String::from_utf8(body).unwrap())
    }

    /// Asks and gives the answer.
    pub(crate) fn ask(&mut self, command: &Value) -> Value {
        self.send(0x81, command.to_string().as_bytes()).unwrap();
        serde_json::from_str(&self.next().unwrap()).unwrap()
    }
}
