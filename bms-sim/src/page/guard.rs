//! # Who is answered
//!
//! A page on another site can make a browser ask us anything; it cannot choose what the browser says of itself. So:
//!
//! - `Host` names this machine by the loopback address or `localhost`, and the port: a foreign name that was made to point here is not
//!   answered. Opened further, it names an address and the port, or the name that was given for it.
//! - `Origin`, where there is one, is this page. A WebSocket must have one, which browsers always send.
//! - Opened further, every act needs the token of the address that was printed. Files of the page itself hold nothing secret.

use axum::http::{HeaderMap, StatusCode, Uri, header};
use std::net::{IpAddr, SocketAddr};

/// What is known of who may ask.
#[derive(Clone, Debug)]
pub(super) struct Guard {
    bound: SocketAddr,
    /// A name besides the address.
    name: Option<String>,
    token: Option<String>,
}

/// Why somebody is not answered.
pub(super) type Unheard = (StatusCode, &'static str);

/// Bytes of a token: as many as nobody guesses.
const TOKEN_BYTES: usize = 16;

/// Bytes as two digits each.
pub(super) fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |text, byte| text + &format!("{byte:02x}"))
}

/// A word that nobody guesses.
pub(super) fn secret() -> Result<String, getrandom::Error> {
    let mut bytes = [0; TOKEN_BYTES];
    getrandom::fill(&mut bytes)?;
    Ok(hexadecimal(&bytes))
}

impl Guard {
    /// Of a server that listens there. Beyond the loopback it has a token.
    pub(super) fn of(bound: SocketAddr, name: Option<String>) -> Result<Self, getrandom::Error> {
        let token = if bound.ip().is_loopback() { None } else { Some(secret()?) };
        Ok(Self { bound, name, token })
    }

    pub(super) fn token(&self) -> Option<&str> {
        self.token.as_deref()
    }

    /// Whether the host is this one.
    pub(super) fn host(&self, headers: &HeaderMap) -> Result<(), Unheard> {
        const WRONG: Unheard =
            (StatusCode::MISDIRECTED_REQUEST, "Host: accepted is the address that was printed");
        let host = headers.get(header::HOST).and_then(|host| host.to_str().ok()).ok_or(WRONG)?;
        let (name, port) = host.rsplit_once(':').ok_or(WRONG)?;
        let bare = name.trim_start_matches('[').trim_end_matches(']');
        let address: Option<IpAddr> = bare.parse().ok();
        let known = if self.bound.ip().is_loopback() {
            name == "localhost" || address.is_some_and(|address| address.is_loopback())
        } else {
            address.is_some() || self.name.as_deref() == Some(name)
        };
        if known && port.parse() == Ok(self.bound.port()) { Ok(()) } else { Err(WRONG) }
    }

    /// Whether whoever asks is this page, or no page at all.
    pub(super) fn origin(headers: &HeaderMap, needed: bool) -> Result<(), Unheard> {
        const WRONG: Unheard = (StatusCode::FORBIDDEN, "Origin: accepted is this page itself");
        let text = |name| headers.get(name).map(|value| value.to_str().unwrap_or("?"));
        match (text(header::ORIGIN), text(header::HOST)) {
            (None, _) if !needed => Ok(()),
            (Some(origin), Some(host)) if origin.strip_prefix("http://") == Some(host) => Ok(()),
            _ => Err(WRONG),
        }
    }

    /// Whether the token is there, if one is needed: in the address, or as a header.
    pub(super) fn admits(&self, headers: &HeaderMap, uri: &Uri) -> Result<(), Unheard> {
        let Some(token) = &self.token else { return Ok(()) };
        let header = headers.get("x-token").and_then(|value| value.to_str().ok());
        let mut pairs = uri.query().unwrap_or_default().split('&');
        let query = pairs.find_map(|pair| pair.strip_prefix("token="));
        let same = |given: &str| {
            // As long for every wrong one.
            let differ = given.bytes().zip(token.bytes()).fold(0, |differ, (a, b)| differ | (a ^ b));
            given.len() == token.len() && differ == 0
        };
        if header.or(query).is_some_and(same) {
            Ok(())
        } else {
            Err((StatusCode::UNAUTHORIZED, "token: accepted is the one of the address that was printed"))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn headers(all: &[(&'static str, &str)]) -> HeaderMap {
        all.iter().map(|(name, value)| (name.parse().unwrap(), value.parse().unwrap())).collect::<HeaderMap>()
    }

    fn guard(bound: &str) -> Guard {
        Guard::of(bound.parse().unwrap(), Some("dock.example".to_owned())).unwrap()
    }

    #[test]
    fn only_this_machine_is_meant_on_the_loopback() {
        let guard = guard("127.0.0.1:7096");
        for host in ["127.0.0.1:7096", "localhost:7096", "[::1]:7096"] {
            assert!(guard.host(&headers(&[("host", host)])).is_ok(), "{host}");
        }
        for host in [
            "127.0.0.1",
            "127.0.0.1:80",
            "evil.example:7096",
            "localhost.evil.example:7096",
            "192.0.2.1:7096",
            "",
            "dock.example:7096",
        ] {
            assert!(guard.host(&headers(&[("host", host)])).is_err(), "{host}");
        }
        assert!(guard.host(&headers(&[])).is_err());
        assert_eq!(guard.token(), None);
    }

    #[test]
    fn opened_further_it_wants_its_token() {
        let guard = guard("0.0.0.0:7096");
        assert!(guard.host(&headers(&[("host", "192.0.2.1:7096")])).is_ok());
        assert!(guard.host(&headers(&[("host", "dock.example:7096")])).is_ok());
        assert!(guard.host(&headers(&[("host", "evil.example:7096")])).is_err());
        let token = guard.token().unwrap().to_owned();
        assert_eq!(token.len(), 32);
        let asked = |query: &str| guard.admits(&headers(&[]), &format!("/live?{query}").parse().unwrap());
        assert!(asked(&format!("session=a&token={token}")).is_ok());
        assert!(guard.admits(&headers(&[("x-token", &token)]), &"/".parse().unwrap()).is_ok());
        for wrong in
            ["", "token=", "token=0", &format!("token={token}0"), "token=00000000000000000000000000000000"]
        {
            assert!(asked(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn another_page_is_not_heard() {
        let of = |all: &[(&'static str, &str)], needed| Guard::origin(&headers(all), needed).is_ok();
        let host = ("host", "127.0.0.1:7096");
        assert!(of(&[host, ("origin", "http://127.0.0.1:7096")], true));
        assert!(of(&[host], false) && !of(&[host], true));
        for other in [
            "http://evil.example",
            "https://127.0.0.1:7096",
            "http://127.0.0.1:7097",
            "null",
            "http://localhost:7096",
        ] {
            assert!(!of(&[host, ("origin", other)], false), "{other}");
        }
    }
}
