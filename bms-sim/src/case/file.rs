//! The case file as it is typed: what may be written where. What it means is settled in `check`.

use serde::Deserialize;
use std::collections::BTreeMap;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct CaseFile {
    pub(super) schema: u64,
    pub(super) title: String,
    pub(super) story: String,
    pub(super) pack: String,
    pub(super) seed: u64,
    pub(super) duration_s: f64,
    pub(super) tick_ms: Option<u64>,
    pub(super) start: StartTable,
    #[serde(default)]
    pub(super) surroundings: Vec<SurroundingTable>,
    #[serde(default)]
    pub(super) duty: Vec<DutyTable>,
    #[serde(default)]
    pub(super) act: Vec<ActTable>,
    #[serde(default)]
    pub(super) defect: Vec<DefectTable>,
    #[serde(default)]
    pub(super) repair: Vec<RepairTable>,
    #[serde(default)]
    pub(super) change: Vec<ChangeTable>,
    pub(super) rest: Option<RestTable>,
    #[serde(default)]
    pub(super) safe: BTreeMap<String, f64>,
    #[serde(default)]
    pub(super) limits: BTreeMap<String, LimitTable>,
    pub(super) expect: Option<ExpectTable>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct StartTable {
    pub(super) charge_percent: f64,
    pub(super) celsius: f64,
    #[serde(default)]
    pub(super) cell: Vec<StartCellTable>,
    #[serde(default)]
    pub(super) contactor: Vec<StartContactorTable>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct StartCellTable {
    pub(super) cell: u64,
    pub(super) charge_percent: Option<f64>,
    pub(super) missing_ah: Option<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct StartContactorTable {
    pub(super) contactor: String,
    pub(super) worn_percent: f64,
    pub(super) counted_percent: Option<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct SurroundingTable {
    pub(super) at_s: f64,
    pub(super) celsius: f64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct DutyTable {
    pub(super) r#do: Option<String>,
    pub(super) for_s: Option<f64>,
    pub(super) rate_c: Option<f64>,
    pub(super) times: Option<u64>,
    pub(super) phases: Option<Vec<PhaseTable>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct PhaseTable {
    pub(super) r#do: String,
    pub(super) for_s: Option<f64>,
    pub(super) rate_c: Option<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct ActTable {
    pub(super) at_s: f64,
    pub(super) ask: String,
    pub(super) by: Option<String>,
    pub(super) cell: Option<u64>,
    pub(super) contactor: Option<String>,
    pub(super) for_s: Option<f64>,
    pub(super) record: Option<String>,
    pub(super) clock: Option<bool>,
}

/// Something is otherwise: one of these.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct ChangeTable {
    pub(super) at_s: f64,
    pub(super) limits: Option<BTreeMap<String, LimitTable>>,
    pub(super) duty: Option<WorkTable>,
    pub(super) act: Option<AskTable>,
    pub(super) defect: Option<DefectTable>,
    pub(super) mend: Option<u64>,
    pub(super) repair: Option<RepairTable>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct WorkTable {
    pub(super) r#do: String,
    pub(super) rate_c: Option<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct AskTable {
    pub(super) ask: String,
    pub(super) by: Option<String>,
    pub(super) cell: Option<u64>,
    pub(super) contactor: Option<String>,
    pub(super) for_s: Option<f64>,
    pub(super) record: Option<String>,
    pub(super) clock: Option<bool>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RepairTable {
    pub(super) kind: String,
    pub(super) at_s: Option<f64>,
    pub(super) cell: Option<u64>,
    pub(super) joint: Option<u64>,
    pub(super) wire: Option<u64>,
    pub(super) thermistor: Option<u64>,
    pub(super) current_sensor: Option<String>,
    pub(super) contactor: Option<String>,
    pub(super) charge_percent: Option<f64>,
    pub(super) capacity_percent: Option<f64>,
    pub(super) resistance_percent: Option<f64>,
    pub(super) celsius: Option<f64>,
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct DefectTable {
    pub(super) kind: String,
    pub(super) at_s: Option<f64>,
    pub(super) until_s: Option<f64>,
    pub(super) ramp_s: Option<f64>,
    pub(super) intermittent_period_s: Option<f64>,
    pub(super) intermittent_duty: Option<f64>,
    pub(super) cell: Option<u64>,
    pub(super) joint: Option<u64>,
    pub(super) wire: Option<u64>,
    pub(super) thermistor: Option<u64>,
    pub(super) module: Option<u64>,
    pub(super) current_sensor: Option<String>,
    pub(super) contactor: Option<String>,
    pub(super) part: Option<String>,
    pub(super) milliohms: Option<f64>,
    pub(super) ohms: Option<f64>,
    pub(super) kiloohms: Option<f64>,
    pub(super) ampere_hours: Option<f64>,
    pub(super) percent: Option<f64>,
    pub(super) watts: Option<f64>,
    pub(super) millivolts: Option<f64>,
    pub(super) amps: Option<f64>,
    pub(super) celsius: Option<f64>,
    pub(super) amps_per_hour: Option<f64>,
    pub(super) milliseconds: Option<f64>,
    pub(super) per_minute: Option<f64>,
    pub(super) edges: Option<f64>,
}

impl DefectTable {
    /// Each key that gives a severity, with the unit it stands for and what was written.
    pub(super) fn severities(&self) -> [(&'static str, &'static str, Option<f64>); 13] {
        [
            ("milliohms", "mΩ", self.milliohms),
            ("ohms", "Ω", self.ohms),
            ("kiloohms", "kΩ", self.kiloohms),
            ("ampere_hours", "Ah", self.ampere_hours),
            ("percent", "%", self.percent),
            ("watts", "W", self.watts),
            ("millivolts", "mV", self.millivolts),
            ("amps", "A", self.amps),
            ("amps_per_hour", "A/h", self.amps_per_hour),
            ("celsius", "°C", self.celsius),
            ("milliseconds", "ms", self.milliseconds),
            ("per_minute", "1/min", self.per_minute),
            ("edges", "edges", self.edges),
        ]
    }
}

/// The key by which a case file gives the severity of a defect in this unit, as `milliohms` for mΩ; nothing for one that is only present.
#[must_use]
pub fn severity_key(unit: &str) -> Option<&'static str> {
    let keys = DefectTable::default().severities();
    keys.into_iter().find(|(_, of, _)| *of == unit).map(|(key, _, _)| key)
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RestTable {
    pub(super) step_s: f64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct LimitTable {
    pub(super) trip: Option<f64>,
    pub(super) release: Option<f64>,
    pub(super) dwell_ms: Option<u64>,
    pub(super) release_dwell_ms: Option<u64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct ExpectTable {
    pub(super) faults: Vec<String>,
    pub(super) ends: Option<String>,
    pub(super) critical: Option<bool>,
    pub(super) cooling: Option<bool>,
    pub(super) spread_ah: Option<f64>,
    #[serde(default)]
    pub(super) within_s: BTreeMap<String, f64>,
}
