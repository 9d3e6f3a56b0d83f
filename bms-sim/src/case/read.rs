//! From a text to typed tables, for every kind of file that people write: cases and surveys.

use super::error::{Accepted, CaseError, Mistake, Problem, nearest};
use super::place::{Path, Source};
use serde::de::DeserializeOwned;
use toml::de::DeTable;

/// What may stand at a place of a kind of file.
pub(crate) type AcceptedAt = fn(&Source<'_>, &Path) -> Accepted;

/// Parses the text and gives the typed file with the document in which places are looked up to `then`.
pub(crate) fn parse<Typed: DeserializeOwned, T>(
    text: &str,
    file: &str,
    accepted: AcceptedAt,
    then: impl FnOnce(&Source<'_>, &Typed) -> Result<T, CaseError>,
) -> Result<T, CaseError> {
    let not_toml = |error: &toml::de::Error| {
        let span = error.span().unwrap_or(0..0);
        let reason = error.message().lines().collect::<Vec<_>>().join(", ");
        let problem = Problem::NotToml { reason };
        CaseError::Mistaken(Box::new(Mistake::new(file, text, String::new(), span, false, problem)))
    };
    let top = DeTable::parse(text).map_err(|error| not_toml(&error))?;
    let source = Source { file, text, top: &top };
    // Asked first: a file of another schema would be full of keys that look like mistakes.
    if let Some(schema) = top.get_ref().get("schema").filter(|schema| schema.get_ref().is_integer()) {
        let written = schema.get_ref().as_integer().map(toml::de::DeInteger::as_str);
        if written != Some("1") {
            let path = Path::TOP.key("schema");
            let accepted = accepted(&source, &path);
            return Err(source.refuse(&path, Problem::NotAccepted { accepted }));
        }
    }
    let typed = serde_path_to_error::deserialize(toml::Deserializer::from(top.clone()))
        .map_err(|error| explained(&source, accepted, &(error.path().into()), error.inner().message()))?;
    then(&source, &typed)
}

/// The text of a file of this name.
pub(crate) fn text<'a>(bytes: &'a [u8], name: &str) -> Result<&'a str, CaseError> {
    std::str::from_utf8(bytes).map_err(|error| {
        let (from, text) = (error.valid_up_to(), String::from_utf8_lossy(bytes));
        let problem = Problem::NotText { from };
        let mistake = Mistake::new(name, &text, String::new(), from..from + 1, false, problem);
        CaseError::Mistaken(Box::new(mistake))
    })
}

/// A mistake that serde found, in our words. Serde gives only a sentence, in which backquotes stand around names.
fn explained(source: &Source<'_>, accepted_at: AcceptedAt, path: &Path, sentence: &str) -> CaseError {
    let names: Vec<&str> = sentence.split('`').skip(1).step_by(2).collect();
    match (names.as_slice(), sentence) {
        ([found, accepted @ ..], sentence) if sentence.starts_with("unknown field") => {
            let suggestion = nearest(found, accepted.iter().copied()).map(str::to_owned);
            let accepted = accepted.iter().map(|key| (*key).to_owned()).collect();
            // Depending on the table, serde's path ends at the table or at the unknown key.
            let path = if path.last_key() == *found { path.clone() } else { path.key(found) };
            source.refuse_key(&path, Problem::UnknownKey { suggestion, accepted })
        }
        ([key], sentence) if sentence.starts_with("missing field") => {
            source.missing(path, key, accepted_at(source, &path.key(key)))
        }
        _ => source.refuse(path, Problem::NotAccepted { accepted: accepted_at(source, path) }),
    }
}
