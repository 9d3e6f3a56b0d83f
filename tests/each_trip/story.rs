//! Under which stories a defect is swept, and the text of each case.

use bms_sim::case::Case;
use bms_sim::defect::Kind;
use bms_sim::dictionary::Subject;

/// A short story of the trainer.
#[derive(Debug)]
pub(crate) struct Story {
    pub(crate) key: &'static str,
    /// When the defect begins, in seconds.
    onset: f64,
    text: &'static str,
    /// Words of the kinds of which it shows what the others do not; all of them where there is none.
    suits: &'static [&'static str],
}

pub(crate) const STORIES: [Story; 4] = [
    // What a start must find is there before it.
    Story {
        key: "start",
        onset: 0.5,
        text: "duration_s = 16\nstart = { charge_percent = 60, celsius = 18 }\n\
               act = [{ at_s = 1, ask = \"close\" }, { at_s = 6, ask = \"open\" }]\n\
               duty = [{ do = \"park\", for_s = 3 }, { do = \"hoist\", for_s = 2 }]",
        suits: &[],
    },
    // Load steps, either way.
    Story {
        key: "work",
        onset: 6.0,
        text: "duration_s = 56\nstart = { charge_percent = 70, celsius = 18 }\n\
               act = [{ at_s = 1, ask = \"close\" }, { at_s = 50, ask = \"open\" }]\n\
               duty = [{ do = \"park\", for_s = 5 }, { times = 3, phases = [{ do = \"hoist\", for_s = 5 }, \
               { do = \"hold\", for_s = 3 }, { do = \"fast-lower\", for_s = 4 }, { do = \"hold\", for_s = 3 }] }]",
        suits: &[],
    },
    // A charger, in the cold.
    Story {
        key: "cold",
        onset: 3.0,
        text: "duration_s = 50\nstart = { charge_percent = 40, celsius = -6 }\n\
               act = [{ at_s = 1, ask = \"close\" }]\n\
               duty = [{ do = \"park\", for_s = 5 }, { do = \"top-up\", for_s = 40 }]",
        suits: &["thermistor", "load", "leak", "moisture", "cell"],
    },
    // What only rest shows.
    Story {
        key: "rest",
        onset: 60.0,
        text: "duration_s = 14400\nstart = { charge_percent = 60, celsius = 18 }\nrest = { step_s = 10 }",
        suits: &["cell", "short", "bleed"],
    },
];

/// Defects of which nobody hears: they stand before and behind the swept one in its case, to be taken for the cause. With
/// them every reading is a little otherwise from its first tick on.
const OTHERS: [(Kind, usize, f64, f64); 2] =
    [(Kind::LostCapacity, 1, 20.0, 0.1), (Kind::CellChannelOffset, 14, 20.0, 0.2)];

/// The place of the swept defect among those of its case.
pub(crate) const SWEPT: usize = 1;

impl Story {
    /// Whether it shows anything of this kind that the others do not.
    pub(crate) fn suits(&self, kind: Kind) -> bool {
        self.suits.is_empty() || self.suits.iter().any(|word| kind.key().contains(word))
    }

    /// The case with this defect between the others.
    pub(crate) fn case(&self, subject: Subject, severity: f64) -> Case {
        let swept = table(subject.kind, subject.place, severity, self.onset);
        let [before, behind] =
            OTHERS.map(|(kind, place, severity, onset)| table(kind, place, severity, onset));
        self.parsed(&format!("{} at {severity}", subject.kind.key()), &(before + &swept + &behind))
    }

    /// The case with the others alone.
    pub(crate) fn without(&self) -> Case {
        let others = OTHERS.map(|(kind, place, severity, onset)| table(kind, place, severity, onset));
        self.parsed("the others", &others.concat())
    }

    fn parsed(&self, title: &str, defects: &str) -> Case {
        let Self { key, text, .. } = self;
        let text = format!(
            "schema = 1\ntitle = \"{key}, {title}\"\nstory = \"Told by the test.\"\npack = \"trainer\"\nseed = 5\n{text}\n{defects}"
        );
        Case::parse(&text, "sweep.toml").unwrap_or_else(|error| panic!("{error}\n{text}"))
    }
}

/// A defect as a case file has it.
fn table(kind: Kind, place: usize, severity: f64, onset: f64) -> String {
    let place = match (kind.place().key(), kind.place().names().get(place)) {
        (None, _) => String::new(),
        (Some(key), Some(name)) => format!("{key} = \"{name}\"\n"),
        (Some(key), None) => format!("{key} = {}\n", place + 1),
    };
    let severity = match severity_key(kind.unit()) {
        "" => String::new(),
        key => format!("{key} = {severity:?}\n"),
    };
    format!("[[defect]]\nkind = \"{}\"\n{place}{severity}at_s = {onset:?}\n", kind.key())
}

/// As the documentation of case files names them.
fn severity_key(unit: &str) -> &'static str {
    match unit {
        "mΩ" => "milliohms",
        "Ω" => "ohms",
        "kΩ" => "kiloohms",
        "Ah" => "ampere_hours",
        "%" => "percent",
        "W" => "watts",
        "mV" => "millivolts",
        "A" => "amps",
        "A/h" => "amps_per_hour",
        "°C" => "celsius",
        "ms" => "milliseconds",
        "1/min" => "per_minute",
        "edges" => "edges",
        "" => "",
        other => panic!("a unit without a key: {other}"),
    }
}
