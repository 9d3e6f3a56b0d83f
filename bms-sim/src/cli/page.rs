//! `page`: a live page on which a case is stepped, broken and mended.

use super::{Ended, complain, read, show};
use crate::case::Case;
use crate::page::Page;
use crate::page::folder::Folder;
use std::ffi::OsString;
use std::io::IsTerminal as _;
use std::net::{IpAddr, Ipv4Addr};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// The case of a page that is told none: a sound pack at work.
const AT_WORK: (&str, &str) =
    ("healthy-shift.toml", include_str!("../../../examples/cases/healthy-shift.toml"));

/// Where the shipped cases lie.
const SHIPPED: &str = "examples/cases";

/// What `page` takes.
#[derive(Debug, clap::Args)]
pub(super) struct PageOf {
    /// The case to begin with; a sound pack at work when left out
    case: Option<PathBuf>,
    /// The folder whose cases can be chosen; the one of CASE, or examples/cases, when left out
    #[arg(long, value_name = "FOLDER")]
    cases: Option<PathBuf>,
    /// The port; 0 takes any that is free
    #[arg(long, default_value_t = 7096)]
    port: u16,
    /// Listen at this address of the machine instead of the loopback: whoever has the printed address with its token can then open it
    #[arg(long, value_name = "ADDRESS", default_value_t = IpAddr::V4(Ipv4Addr::LOCALHOST))]
    listen: IpAddr,
    /// A name of this machine that is accepted beside its addresses
    #[arg(long, value_name = "NAME", requires = "listen")]
    name: Option<String>,
    /// Open a browser also where nobody seems to sit at a screen
    #[arg(long)]
    open: bool,
    /// Open no browser; without either one is opened where this is typed at a terminal with a screen
    #[arg(long, conflicts_with = "open")]
    no_open: bool,
}

impl PageOf {
    pub(super) fn go(&self) -> Ended {
        match self.first() {
            Ok(first) => self.serve(Arc::new(first)),
            Err(ended) => ended,
        }
    }

    fn first(&self) -> Result<Case, Ended> {
        let Some(path) = &self.case else {
            let (name, text) = AT_WORK;
            return Case::parse(text, name).map_err(|error| {
                complain(&error);
                Ended::BadInput
            });
        };
        read(path)
    }

    fn folder(&self) -> Folder {
        let beside = self.case.as_deref().and_then(Path::parent);
        let beside = beside.map(|folder| if folder == Path::new("") { Path::new(".") } else { folder });
        Folder::of(self.cases.as_deref().or(beside).or(Some(Path::new(SHIPPED))))
    }

    /// Whether a browser is opened.
    fn opens(&self) -> bool {
        let by_itself = || std::io::stdout().is_terminal() && has_screen(|name| std::env::var_os(name));
        self.open || (!self.no_open && by_itself())
    }

    fn serve(&self, first: Arc<Case>) -> Ended {
        let (listen, port, name) = (self.listen, self.port, self.name.clone());
        let page = Page { first, folder: self.folder(), listen, port, name };
        let served = page.serve(|address| {
            let _printed = show(&format!("{address}\n"), Ended::AsExpected);
            if listen.is_unspecified() {
                eprintln!("from elsewhere {listen} in it is an address of this machine");
            }
            eprintln!("open this address in a browser; Ctrl+C ends it");
            if self.opens()
                && let Err(error) = open::that_detached(address)
            {
                complain(&format!("no browser could be opened: {error}"));
            }
        });
        match served {
            Ok(()) => Ended::AsExpected,
            Err(error) => {
                complain(&format!(
                    "{listen}:{port}: {error}; accepted is another --port, 0 for any that is free"
                ));
                Ended::NotWritten
            }
        }
    }
}

/// Whether whoever types here has a screen of this machine before them: a system whose terminals are windows, or a display that the
/// environment names; and nobody who came from elsewhere.
fn has_screen(variable: impl Fn(&str) -> Option<OsString>) -> bool {
    let set = |name| variable(name).is_some_and(|value| !value.is_empty());
    let display = cfg!(any(windows, target_os = "macos")) || set("WAYLAND_DISPLAY") || set("DISPLAY");
    display && !set("SSH_CONNECTION")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_browser_is_for_whoever_sits_at_the_screen() {
        let of = |set: &[(&str, &str)]| {
            has_screen(|name| set.iter().find(|(known, _)| *known == name).map(|(_, value)| value.into()))
        };
        let windows = cfg!(any(windows, target_os = "macos"));
        assert_eq!(of(&[]), windows);
        assert_eq!(of(&[("DISPLAY", "")]), windows);
        assert!(of(&[("DISPLAY", ":0")]) && of(&[("WAYLAND_DISPLAY", "wayland-0")]));
        assert!(!of(&[("DISPLAY", "localhost:10.0"), ("SSH_CONNECTION", "192.0.2.1 50000 192.0.2.2 22")]));
    }
}
