//! The cases that a page serves: those of one folder, by name, and nothing else.

use crate::case::{Case, CaseError, nearest};
use std::path::{Path, PathBuf};

/// A case file is not larger than this.
pub const MOST_BYTES: u64 = 256 * 1024;

/// A folder with cases.
#[derive(Clone, Debug)]
pub struct Folder {
    path: Option<PathBuf>,
}

/// What is not served.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum NotServed {
    /// No case of this name lies in the folder.
    #[error("case = {found}: there is none of this name{}", near.as_ref().map_or_else(String::new, |near| format!("; did you mean {near}?")))]
    Unknown {
        /// What was asked for.
        found: String,
        /// The most alike name.
        near: Option<String>,
    },
    /// It lies there, and is no case.
    #[error("{}", .0.excerpt(false))]
    Mistaken(#[from] CaseError),
}

impl Folder {
    /// Of the cases in this folder; of none when there is no folder.
    #[must_use]
    pub fn of(path: Option<&Path>) -> Self {
        Self { path: path.and_then(|path| path.canonicalize().ok()).filter(|path| path.is_dir()) }
    }

    /// The names of its cases, in order.
    #[must_use]
    pub fn names(&self) -> Vec<String> {
        let entries = self.path.as_ref().and_then(|path| path.read_dir().ok());
        let names =
            entries.into_iter().flatten().filter_map(|entry| entry.ok()?.file_name().into_string().ok());
        let mut names: Vec<String> = names.filter(|name| self.file(name).is_some()).collect();
        names.sort();
        names
    }

    /// The file of a case: a plain name that ends in .toml, of a file that lies in the folder itself.
    fn file(&self, name: &str) -> Option<PathBuf> {
        let folder = self.path.as_ref()?;
        let plain = |letter: char| letter.is_ascii_alphanumeric() || matches!(letter, '-' | '_' | '.');
        let is_toml = Path::new(name).extension().is_some_and(|ending| ending == "toml");
        if !is_toml || name.starts_with('.') || !name.chars().all(plain) {
            return None;
        }
        // A link that leads out of the folder is none of its files.
        let file = folder.join(name).canonicalize().ok()?;
        let small = file.metadata().is_ok_and(|about| about.is_file() && about.len() <= MOST_BYTES);
        (file.parent() == Some(folder.as_path()) && small).then_some(file)
    }

    /// A case by its name.
    ///
    /// # Errors
    /// When none of this name lies in the folder, or it is none.
    pub fn case(&self, name: &str) -> Result<Case, NotServed> {
        let Some(file) = self.file(name) else {
            let names = self.names();
            let near = nearest(name, names.iter().map(String::as_str)).map(str::to_owned);
            return Err(NotServed::Unknown { found: name.chars().take(80).collect(), near });
        };
        Ok(Case::read(&file)?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_outside_of_the_folder_is_served() {
        let around = tempfile::tempdir().unwrap();
        let folder = around.path().join("cases");
        std::fs::create_dir(&folder).unwrap();
        let case = include_str!("../../../examples/cases/open-thermistor.toml");
        std::fs::write(around.path().join("secret.toml"), case).unwrap();
        std::fs::write(folder.join("wire.toml"), case).unwrap();
        std::fs::write(folder.join("large.toml"), vec![b'#'; 300_000]).unwrap();
        #[cfg(unix)]
        std::os::unix::fs::symlink(around.path().join("secret.toml"), folder.join("link.toml")).unwrap();
        let served = Folder::of(Some(&folder));
        assert_eq!(served.names(), ["wire.toml"]);
        assert!(served.case("wire.toml").is_ok());
        for name in [
            "../secret.toml",
            "link.toml",
            "large.toml",
            "/etc/passwd",
            "..",
            "",
            "wire",
            "a/../wire.toml",
            ".toml",
            "w\0.toml",
        ] {
            assert!(matches!(served.case(name), Err(NotServed::Unknown { .. })), "{name}");
        }
    }
}
