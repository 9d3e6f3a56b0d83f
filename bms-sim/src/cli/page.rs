//! `page`: a live page on which a case is stepped, broken and mended.

use super::{Ended, complain, read, show};
use crate::case::Case;
use crate::page::Page;
use crate::page::folder::Folder;
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
    /// Open the page in a browser
    #[arg(long)]
    open: bool,
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

    fn serve(&self, first: Arc<Case>) -> Ended {
        let (listen, port, name) = (self.listen, self.port, self.name.clone());
        let page = Page { first, folder: self.folder(), listen, port, name };
        let served = page.serve(|address| {
            let _printed = show(&format!("{address}\n"), Ended::AsExpected);
            eprintln!("open this address in a browser; Ctrl+C ends it");
            if self.open
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
