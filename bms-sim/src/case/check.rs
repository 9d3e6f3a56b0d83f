//! From what is typed to what it means: every value is held against its bounds here, once.

use super::act::{Act, Ask, PowerLoss, RecordFate};
use super::duty::{Phase, Surrounding, Work};
use super::error::{Accepted, CaseError, Problem};
use super::file::{ActTable, AskTable, CaseFile, DutyTable, ExpectTable, PhaseTable};
use super::place::{Path, Source};
use super::{Bound, Case, Expect, Pack, Start, changes, defects, limits, repairs, safe, start};
use crate::defect::PlaceKind;
use bms_core::frame::{Clearance, Contactor, Replaced};
use bms_core::{Fault, Step};
use std::time::Duration;

/// Longest story and latest instant: 60 days, so that milliseconds since the start fit the core's uptime many times over.
pub(super) const MOST_SECONDS: f64 = 5_184_000.0;
/// Lengths of a story or a phase, in seconds.
pub(super) const DURATION_SECONDS: (f64, f64) = (0.01, MOST_SECONDS);
/// The largest whole number that a TOML file can hold.
pub(crate) const MOST_SEED: u64 = i64::MAX as u64;
/// Temperatures that the thermistor tables cover, in °C.
pub(super) const CELSIUS: (f64, f64) = (-40.0, 85.0);
/// Largest strength of a phase, in C: beyond what any limit allows, short of a short circuit.
pub(super) const MOST_RATE: f64 = 6.0;
/// Most phases after unrolling what is repeated: a week of the shortest usual ones.
pub(super) const MOST_PHASES: usize = 100_000;
/// The step when nothing is said, in milliseconds.
pub(super) const USUAL_TICK_MS: u64 = 10;
/// Steps of the closed loop: a precharge time constant of 49 ms must hold at least three, and a half to spare.
pub(super) const TICK_MS: (u64, u64) = (1, 10);
/// Steps at rest, in seconds: the world's formulas are meant for up to a minute.
pub(super) const REST_SECONDS: (f64, f64) = (0.1, 60.0);

/// The checked case.
pub(super) fn checked(source: &Source<'_>, file: &CaseFile) -> Result<Case, CaseError> {
    let top = Path::TOP;
    source.whole(&top.key("schema"), file.schema, 1, 1)?;
    let packs = Pack::ALL.map(Pack::name);
    let pack = Pack::ALL[source.word(&top.key("pack"), &file.pack, &packs)?];
    let duration_seconds = source.number(&top.key("duration_s"), file.duration_s, DURATION_SECONDS, "s")?;
    let tick_ms = file.tick_ms.unwrap_or(USUAL_TICK_MS);
    source.whole(&top.key("tick_ms"), tick_ms, TICK_MS.0, TICK_MS.1)?;
    let rest_ms = match &file.rest {
        Some(rest) => Some(milliseconds(source.number(
            &top.key("rest").key("step_s"),
            rest.step_s,
            REST_SECONDS,
            "s",
        )?)),
        None => None,
    };
    let start = start::checked(source, &file.start, pack)?;
    let limits = limits::changes(source, &Path::TOP.key("limits"), &file.limits, pack, tick_ms)?;
    let case = Case {
        name: file_name(source.file),
        digest: super::digest(source.text),
        text: source.text.into(),
        title: file.title.clone(),
        story: file.story.clone(),
        pack,
        seed: source.whole(&top.key("seed"), file.seed, 0, MOST_SEED)?,
        duration_seconds,
        tick_ms,
        rest_ms,
        surroundings: surroundings(source, file, &start)?,
        start,
        duty: duty(source, &file.duty, pack)?,
        acts: acts(source, &file.act, pack, duration_seconds, rest_ms.unwrap_or(tick_ms))?,
        defects: defects::checked(source, &file.defect, pack, duration_seconds)?,
        repairs: repairs::checked(source, &file.repair, pack, duration_seconds)?,
        config: limits::configuration(source, &limits, pack, tick_ms)?,
        changes: Vec::new(),
        later_limits: Vec::new(),
        safe: safe::bounds(source, &file.safe, pack)?,
        taken_out: Vec::new(),
        limits,
        expect: file
            .expect
            .as_ref()
            .map(|expect| expectation(source, expect, pack, duration_seconds))
            .transpose()?,
    };
    changes::made(source, file, case)
}

fn surroundings(source: &Source<'_>, file: &CaseFile, start: &Start) -> Result<Vec<Surrounding>, CaseError> {
    let mut points: Vec<Surrounding> = Vec::new();
    for (item, typed) in file.surroundings.iter().enumerate() {
        let path = Path::TOP.key("surroundings").item(item);
        let at_seconds = source.number(&path.key("at_s"), typed.at_s, (0.0, MOST_SECONDS), "s")?;
        if let Some(before) = points.last().filter(|before| before.at_seconds >= at_seconds) {
            let after = "at_s of the entry before".to_owned();
            return Err(
                source.refuse(&path.key("at_s"), Problem::NotAfter { after, limit: before.at_seconds })
            );
        }
        let celsius = source.number(&path.key("celsius"), typed.celsius, CELSIUS, "°C")?;
        points.push(Surrounding { at_seconds, celsius });
    }
    if points.is_empty() {
        points.push(Surrounding { at_seconds: 0.0, celsius: start.celsius });
    }
    Ok(points)
}

fn duty(source: &Source<'_>, tables: &[DutyTable], pack: Pack) -> Result<Vec<Phase>, CaseError> {
    let mut phases: Vec<Phase> = Vec::new();
    for (item, typed) in tables.iter().enumerate() {
        let path = Path::TOP.key("duty").item(item);
        match (&typed.r#do, &typed.phases) {
            (Some(work), None) => {
                let single = PhaseTable { r#do: work.clone(), for_s: typed.for_s, rate_c: typed.rate_c };
                if typed.times.is_some() {
                    let problem =
                        Problem::NotBeside { beside: "do".to_owned(), accepted: words(&["for_s", "rate_c"]) };
                    return Err(source.refuse_key(&path.key("times"), problem));
                }
                append(source, &path, &mut phases, &[phase(source, &path, &single, pack)?])?;
            }
            (None, Some(repeated)) => {
                for (key, there) in [("for_s", typed.for_s.is_some()), ("rate_c", typed.rate_c.is_some())] {
                    if there {
                        let problem =
                            Problem::NotBeside { beside: "phases".to_owned(), accepted: words(&["times"]) };
                        return Err(source.refuse_key(&path.key(key), problem));
                    }
                }
                let path = path.key("phases");
                let round = repeated
                    .iter()
                    .enumerate()
                    .map(|(place, typed)| phase(source, &path.item(place), typed, pack));
                let round = round.collect::<Result<Vec<_>, _>>()?;
                let most = MOST_PHASES as u64;
                let times = Path::TOP.key("duty").item(item).key("times");
                for _ in 0..source.whole(&times, typed.times.unwrap_or(1), 1, most)? {
                    append(source, &path, &mut phases, &round)?;
                }
            }
            (Some(_), Some(_)) => {
                let problem =
                    Problem::NotBeside { beside: "do".to_owned(), accepted: words(&["for_s", "rate_c"]) };
                return Err(source.refuse_key(&path.key("phases"), problem));
            }
            (None, None) => return Err(source.missing(&path, "do", accepted_work())),
        }
    }
    Ok(phases)
}

/// One phase; when it begins is settled by [`append`].
fn phase(source: &Source<'_>, path: &Path, typed: &PhaseTable, pack: Pack) -> Result<Phase, CaseError> {
    let work = Work::ALL[source.word(&path.key("do"), &typed.r#do, &Work::ALL.map(Work::name))?];
    let seconds = typed.for_s.unwrap_or(work.usual_seconds());
    source.number(&path.key("for_s"), seconds, DURATION_SECONDS, "s")?;
    let rate = rate(source, path, work, typed.rate_c, &["for_s"])?;
    Ok(Phase { work, from_seconds: 0.0, seconds, amps: rate * pack.ampere_hours() })
}

/// The strength of a work in C, positive when it charges the pack; `beside` are the other keys that are accepted there.
pub(super) fn rate(
    source: &Source<'_>,
    path: &Path,
    work: Work,
    typed: Option<f64>,
    beside: &[&str],
) -> Result<f64, CaseError> {
    let usual = work.usual_rate();
    match typed {
        None => Ok(usual),
        Some(_) if usual == 0.0 => {
            let accepted = words(beside);
            let problem = Problem::NotBeside { beside: format!("do = \"{}\"", work.name()), accepted };
            Err(source.refuse_key(&path.key("rate_c"), problem))
        }
        Some(rate) => Ok(source.number(&path.key("rate_c"), rate, (0.0, MOST_RATE), "C")?.copysign(usual)),
    }
}

fn append(
    source: &Source<'_>,
    path: &Path,
    phases: &mut Vec<Phase>,
    round: &[Phase],
) -> Result<(), CaseError> {
    if phases.len() + round.len() > MOST_PHASES {
        let problem = Problem::TooMany { found: phases.len() + round.len(), most: MOST_PHASES };
        return Err(source.refuse_key(path, problem));
    }
    for phase in round {
        let from_seconds = phases.last().map_or(0.0, |last| last.from_seconds + last.seconds);
        phases.push(Phase { from_seconds, ..*phase });
    }
    Ok(())
}

fn acts(
    source: &Source<'_>,
    tables: &[ActTable],
    pack: Pack,
    most_seconds: f64,
    step_ms: u64,
) -> Result<Vec<Act>, CaseError> {
    let mut acts: Vec<Act> = Vec::new();
    for (item, typed) in tables.iter().enumerate() {
        let path = Path::TOP.key("act").item(item);
        let at_ms = milliseconds(source.number(&path.key("at_s"), typed.at_s, (0.0, most_seconds), "s")?);
        let ask = asked(source, &path, &Asking::at(typed), pack)?;
        let near = |act: &&Act| act.ask.name() == ask.name() && act.at_ms.abs_diff(at_ms) < step_ms;
        if ask.is_brief() && acts.iter().find(near).is_some() {
            let accepted =
                Accepted::Said("one of this kind in each step of time (tick_ms, or step_s under [rest])");
            return Err(source.refuse(&path.key("at_s"), Problem::NotAccepted { accepted }));
        }
        acts.push(Act { at_ms, ask });
    }
    acts.sort_by_key(|act| act.at_ms);
    Ok(acts)
}

/// What is asked for, as it is typed: in an act of its own, or as a change.
pub(super) struct Asking<'a> {
    ask: &'a str,
    by: Option<&'a str>,
    cell: Option<u64>,
    contactor: Option<&'a str>,
    for_s: Option<f64>,
    record: Option<&'a str>,
    clock: Option<bool>,
    /// The other key that is accepted beside it.
    time: Option<&'static str>,
}

impl<'a> Asking<'a> {
    fn at(typed: &'a ActTable) -> Self {
        let (by, contactor, record) =
            (typed.by.as_deref(), typed.contactor.as_deref(), typed.record.as_deref());
        let &ActTable { cell, for_s, clock, .. } = typed;
        Self { ask: &typed.ask, by, cell, contactor, for_s, record, clock, time: Some("at_s") }
    }
}

impl<'a> From<&'a AskTable> for Asking<'a> {
    fn from(typed: &'a AskTable) -> Self {
        let (by, contactor, record) =
            (typed.by.as_deref(), typed.contactor.as_deref(), typed.record.as_deref());
        let &AskTable { cell, for_s, clock, .. } = typed;
        Self { ask: &typed.ask, by, cell, contactor, for_s, record, clock, time: None }
    }
}

pub(super) fn asked(
    source: &Source<'_>,
    path: &Path,
    typed: &Asking<'_>,
    pack: Pack,
) -> Result<Ask, CaseError> {
    let which =
        source.word(&path.key("ask"), typed.ask, &["close", "open", "clear", "replace", "lose-power"])?;
    let ask = match which {
        0 => Ask::Close,
        1 => Ask::Open,
        2 => {
            let may = [Clearance::Panel, Clearance::Service];
            Ask::Clear(may[source.word(&path.key("by"), typed.by.unwrap_or("panel"), &["panel", "service"])?])
        }
        3 => Ask::Replace(replaced(source, path, typed, pack)?),
        _ => Ask::LosePower(power_loss(source, path, typed)?),
    };
    let beside: &[&str] = match ask {
        Ask::Close | Ask::Open => &[],
        Ask::Clear(_) => &["by"],
        Ask::Replace(_) => &["cell", "contactor"],
        Ask::LosePower(_) => &["for_s", "record", "clock"],
    };
    let typed_keys = [
        ("by", typed.by.is_some()),
        ("cell", typed.cell.is_some()),
        ("contactor", typed.contactor.is_some()),
        ("for_s", typed.for_s.is_some()),
        ("record", typed.record.is_some()),
        ("clock", typed.clock.is_some()),
    ];
    match typed_keys.iter().find(|(key, there)| *there && !beside.contains(key)) {
        None => Ok(ask),
        Some((key, _)) => {
            let accepted: Vec<&str> = typed.time.into_iter().chain(beside.iter().copied()).collect();
            let beside = format!("ask = \"{}\"", typed.ask);
            Err(source.refuse_key(&path.key(key), Problem::NotBeside { beside, accepted: words(&accepted) }))
        }
    }
}

/// For how long the supply is gone, and what is left of what was stored.
fn power_loss(source: &Source<'_>, path: &Path, typed: &Asking<'_>) -> Result<PowerLoss, CaseError> {
    /// A dip that is long enough for a reset, and short enough for a link to stay charged.
    const USUAL_SECONDS: f64 = 1.0;
    let names = RecordFate::ALL.map(RecordFate::name);
    let usual = RecordFate::Kept.name();
    let seconds = typed.for_s.unwrap_or(USUAL_SECONDS);
    let seconds = source.number(&path.key("for_s"), seconds, DURATION_SECONDS, "s")?;
    let record = RecordFate::ALL[source.word(&path.key("record"), typed.record.unwrap_or(usual), &names)?];
    Ok(PowerLoss { for_ms: milliseconds(seconds), record, clock: typed.clock.unwrap_or(true) })
}

/// What the workshop reports as replaced: a cell or a contactor.
fn replaced(source: &Source<'_>, path: &Path, typed: &Asking<'_>, pack: Pack) -> Result<Replaced, CaseError> {
    match (typed.cell, typed.contactor) {
        (Some(cell), None) => {
            let place = place(source, &path.key("cell"), cell, pack.cells())?;
            Ok(Replaced::Cell(u8::try_from(place).unwrap_or(u8::MAX)))
        }
        (None, Some(name)) => Ok(Replaced::Contactor(contactor(source, &path.key("contactor"), name)?)),
        (Some(_), Some(_)) => {
            let accepted: Vec<&str> = typed.time.into_iter().collect();
            let problem = Problem::NotBeside { beside: "cell".to_owned(), accepted: words(&accepted) };
            Err(source.refuse_key(&path.key("contactor"), problem))
        }
        (None, None) => {
            let accepted = Accepted::Said("the number of the cell that was replaced, or contactor instead");
            Err(source.missing(path, "cell", accepted))
        }
    }
}

fn expectation(
    source: &Source<'_>,
    typed: &ExpectTable,
    pack: Pack,
    most_seconds: f64,
) -> Result<Expect, CaseError> {
    let path = Path::TOP.key("expect");
    let mut faults = Vec::new();
    for (item, name) in typed.faults.iter().enumerate() {
        let path = path.key("faults").item(item);
        let fault = Fault::ALL[source.word(&path, name, &Fault::ALL.map(Fault::key))?];
        if faults.contains(&fault) {
            return Err(source.refuse(&path, Problem::Twice));
        }
        faults.push(fault);
    }
    let mut within = Vec::new();
    for (name, seconds) in &typed.within_s {
        let path = path.key("within_s").key(name);
        let Some(fault) = faults.iter().find(|fault| fault.key() == name) else {
            let accepted: Vec<_> = typed.faults.clone();
            return Err(source.refuse_key(&path, Problem::UnknownKey { suggestion: None, accepted }));
        };
        within.push(Bound {
            fault: *fault,
            seconds: source.number(&path, *seconds, (0.0, most_seconds), "s")?,
        });
    }
    let ends = match &typed.ends {
        None => None,
        Some(name) => {
            let names = Step::ALL.map(|step| format!("{step:?}"));
            Some(Step::ALL[source.word(&path.key("ends"), name, &names.each_ref().map(String::as_str))?])
        }
    };
    if let Some(spread) = typed.spread_ah {
        source.number(&path.key("spread_ah"), spread, (0.0, pack.ampere_hours()), "Ah")?;
    }
    Ok(Expect {
        faults,
        ends,
        critical: typed.critical,
        cooling: typed.cooling,
        spread_ampere_hours: typed.spread_ah,
        within,
    })
}

/// The name of a file without the folders before it: a recording of a case must not depend on where the case lay.
fn file_name(path: &str) -> String {
    let name = std::path::Path::new(path).file_name().and_then(std::ffi::OsStr::to_str);
    name.unwrap_or(path).to_owned()
}

/// A place as people count it, from 1, turned into one counted from 0.
pub(super) fn place(source: &Source<'_>, path: &Path, found: u64, count: u64) -> Result<usize, CaseError> {
    let found = source.whole(path, found, 1, count)?;
    Ok(usize::try_from(found - 1).unwrap_or(usize::MAX))
}

/// A contactor by its name.
pub(super) fn contactor(source: &Source<'_>, path: &Path, name: &str) -> Result<Contactor, CaseError> {
    let contactors = [Contactor::Negative, Contactor::Precharge, Contactor::Positive];
    Ok(contactors[source.word(path, name, PlaceKind::Contactor.names())?])
}

/// Seconds as whole milliseconds; what a file may hold is neither negative nor endless.
pub(super) fn milliseconds(seconds: f64) -> u64 {
    let time = Duration::try_from_secs_f64(seconds).unwrap_or_default();
    u64::try_from(time.as_millis()).unwrap_or(u64::MAX)
}

pub(super) fn words(words: &[&str]) -> Vec<String> {
    words.iter().map(|word| (*word).to_owned()).collect()
}

fn accepted_work() -> Accepted {
    Accepted::Words(words(&Work::ALL.map(Work::name)))
}
