//! A file that is written aside and has its name only once it is complete, so that nobody ever sees half of it.

use crate::recording::file::FileError;
use std::fs::File;
use std::path::{Path, PathBuf};
use tempfile::NamedTempFile;

/// A file that is being written.
pub(super) struct Aside {
    to: NamedTempFile,
    path: PathBuf,
    force: bool,
}

impl Aside {
    /// Whether a file of this name may be written, which is settled before anything is played. `force` allows to write over one.
    pub(super) fn is_free(path: &Path, force: bool) -> Result<(), FileError> {
        let file = || path.display().to_string();
        match (path.exists(), path.is_file()) {
            (true, false) => Err(FileError::NotAFile { file: file() }),
            (true, true) if !force => Err(FileError::Exists { file: file() }),
            _ => Ok(()),
        }
    }

    /// Begins one beside where it will be.
    pub(super) fn begin(path: &Path, force: bool) -> Result<Self, FileError> {
        let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
        let mut builder = tempfile::Builder::new();
        // For whom the user's own files are readable, this one is too.
        #[cfg(unix)]
        builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
        let to = builder.tempfile_in(folder.unwrap_or(Path::new(".")));
        let to = to.map_err(|source| unreachable(path, source))?;
        Ok(Self { to, path: path.to_owned(), force })
    }

    /// Where to write.
    pub(super) fn file(&self) -> &File {
        self.to.as_file()
    }

    /// Gives it its name.
    pub(super) fn keep(self) -> Result<(), FileError> {
        let Self { to, path, force } = self;
        let kept = if force { to.persist(&path) } else { to.persist_noclobber(&path) };
        kept.map(|_| ()).map_err(|error| match error.error.kind() {
            std::io::ErrorKind::AlreadyExists => FileError::Exists { file: path.display().to_string() },
            _ => unreachable(&path, error.error),
        })
    }
}

fn unreachable(path: &Path, source: std::io::Error) -> FileError {
    FileError::Unreachable { file: path.display().to_string(), source }
}
