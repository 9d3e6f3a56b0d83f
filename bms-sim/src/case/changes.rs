//! Changes as a case file writes them: each is one thing, with the keys of the section that it changes.

use super::check::{asked, place};
use super::error::{Accepted, CaseError, Problem};
use super::file::{CaseFile, ChangeTable, WorkTable};
use super::place::{Path, Source};
use super::{Case, Change, LimitChange, Unchanged, Work, check, defects, limits, repairs};
use crate::defect::MOST;

/// The case with all that is otherwise from some time on.
pub(super) fn made(source: &Source<'_>, file: &CaseFile, mut case: Case) -> Result<Case, CaseError> {
    let mut before_s = 0.0;
    for (item, typed) in file.change.iter().enumerate() {
        let path = Path::TOP.key("change").item(item);
        let at_s = source.number(&path.key("at_s"), typed.at_s, (0.0, case.duration_seconds), "s")?;
        if at_s < before_s {
            let before = "at_s of the change before".to_owned();
            return Err(source.refuse(&path.key("at_s"), Problem::Before { before, limit: before_s }));
        }
        before_s = at_s;
        let (key, change) = one(source, &path, typed, &case)?;
        case.change(check::milliseconds(at_s), &change)
            .map_err(|error| refused(source, &path.key(key), &change, &error))?;
    }
    Ok(case)
}

/// What one of them changes, and under which key.
fn one(
    source: &Source<'_>,
    path: &Path,
    typed: &ChangeTable,
    case: &Case,
) -> Result<(&'static str, Change), CaseError> {
    let said = [
        ("limits", typed.limits.is_some()),
        ("duty", typed.duty.is_some()),
        ("act", typed.act.is_some()),
        ("defect", typed.defect.is_some()),
        ("mend", typed.mend.is_some()),
        ("repair", typed.repair.is_some()),
    ];
    let mut said = said.into_iter().filter(|(_, there)| *there).map(|(key, _)| key);
    let Some(key) = said.next() else {
        return Err(source.missing(
            path,
            "limits",
            Accepted::Said("one of limits, duty, act, defect, mend and repair"),
        ));
    };
    if let Some(second) = said.next() {
        let accepted = check::words(&["at_s"]);
        return Err(
            source.refuse_key(&path.key(second), Problem::NotBeside { beside: key.to_owned(), accepted })
        );
    }
    let path = path.key(key);
    let pack = case.pack;
    let change = match typed {
        ChangeTable { limits: Some(tables), .. } => {
            Change::Limits(limits::changes(source, &path, tables, pack, case.tick_ms)?)
        }
        ChangeTable { duty: Some(duty), .. } => work(source, &path, duty)?,
        ChangeTable { act: Some(act), .. } => Change::Act(asked(source, &path, &act.into(), pack)?),
        ChangeTable { defect: Some(defect), .. } => {
            Change::Defect(defects::begun(source, &path, defect, pack, typed.at_s)?)
        }
        ChangeTable { repair: Some(repair), .. } => {
            Change::Repair(repairs::begun(source, &path, repair, pack)?)
        }
        ChangeTable { .. } if case.defects.is_empty() => {
            let accepted = Accepted::Said("none: nothing is wrong until then, nor will be");
            return Err(source.refuse(&path, Problem::NotAccepted { accepted }));
        }
        ChangeTable { mend, .. } => {
            Change::Mend(place(source, &path, mend.unwrap_or_default(), case.defects.len() as u64)?)
        }
    };
    Ok((key, change))
}

fn work(source: &Source<'_>, path: &Path, typed: &WorkTable) -> Result<Change, CaseError> {
    let work = Work::ALL[source.word(&path.key("do"), &typed.r#do, &Work::ALL.map(Work::name))?];
    let rate_c = check::rate(source, path, work, typed.rate_c, &[])?;
    Ok(Change::Duty { work, rate_c: rate_c.abs() })
}

/// The story cannot be changed so: what is left to refuse when each value is accepted by itself.
fn refused(source: &Source<'_>, path: &Path, change: &Change, error: &Unchanged) -> CaseError {
    match (change, error) {
        (Change::Limits(changes), Unchanged::Configuration(error)) => {
            let key = error.key().to_string();
            let named = |change: &&LimitChange| key.split('.').nth(1) == Some(change.fault.key());
            let culprit = changes.iter().find(named).or(changes.first()).copied();
            limits::refused(source, path, error, culprit)
        }
        (Change::Defect(_), Unchanged::Defect(_)) => {
            source.refuse_key(path, Problem::TooMany { found: MOST + 1, most: MOST })
        }
        _ => source.refuse(path, Problem::Unchanged(error.clone())),
    }
}
