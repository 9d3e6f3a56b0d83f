//! The words of the trade and our own, each said in a sentence or two, and where a text uses them.

/// A word and what it means.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Term {
    /// The word, as the list shows it.
    pub term: &'static str,
    /// The forms in which a text uses it, the longest first.
    pub forms: &'static [&'static str],
    /// What it means.
    pub means: &'static str,
}

impl Term {
    /// The word as part of an address: letters, digits and hyphens.
    #[must_use]
    pub fn anchor(&self) -> String {
        let letters = self.term.chars().map(|letter| if letter.is_alphanumeric() { letter } else { '-' });
        format!("term-{}", letters.collect::<String>().to_lowercase())
    }
}

impl Term {
    /// The word with what it means.
    #[must_use]
    pub fn told(&self) -> String {
        format!("{}: {}", self.term, self.means)
    }
}

/// The term that somebody means who types this: its name or any form of it, whatever the capitals.
#[must_use]
pub fn explained(typed: &str) -> Option<Term> {
    let typed = typed.to_lowercase();
    let named = |term: &&Term| term.term.to_lowercase() == typed;
    let used = |term: &&Term| term.forms.iter().any(|form| form.to_lowercase() == typed);
    GLOSSARY.iter().find(named).or_else(|| GLOSSARY.iter().find(used)).copied()
}

/// All words, in the order of the alphabet.
pub const GLOSSARY: &[Term] = &[
    term(
        "active test",
        &["active tests", "active test", "test current"],
        "A small current that the measuring board draws on purpose, on every second sense wire and then on the others, to find one that is open.",
    ),
    term(
        "balancing",
        &["balancing"],
        "Taking charge from the fullest cells through resistors until all cells hold the same.",
    ),
    term(
        "Barred",
        &["Barred"],
        "The step in which the firmware refuses to close until its memory is cleared.",
    ),
    term(
        "bleed",
        &["bleed resistor", "bleeding", "bleeds", "bleed", "bled"],
        "To take charge from one cell through its bleed resistor, so that it comes down to the others.",
    ),
    term(
        "breaking limit",
        &["breaking limit", "switching limit"],
        "The current above which a contactor must not be opened: the arc would harm it.",
    ),
    term(
        "case",
        &["case"],
        "One reproducible story: a pack, a duty, what the operator does, the defects and a seed.",
    ),
    term(
        "charge interval",
        &["charge interval"],
        "The least and the most charge that a cell can hold by all that was measured; the truth lies between.",
    ),
    term("chassis", &["chassis"], "The metal body around the pack, which must carry no voltage."),
    term("Clear", &["Clear"], "The stage of a fault of which nothing is seen."),
    term("Closed", &["Closed"], "The step in which the pack is connected to the link."),
    term(
        "ClosingNegative",
        &["ClosingNegative"],
        "The first step of a start: the negative contactor closes, and the voltages around it are looked at.",
    ),
    term(
        "ClosingPositive",
        &["ClosingPositive"],
        "The last step of a start: the link is charged, and the positive contactor closes.",
    ),
    term(
        "Confirmed",
        &["Confirmed"],
        "The stage of a fault whose limit was passed for its whole dwell: the reaction holds.",
    ),
    term(
        "contactor",
        &["contactors", "contactor"],
        "A large relay that connects the pack to the link, or opens that connection.",
    ),
    term(
        "critical",
        &["Not critical", "not critical", "Critical", "critical"],
        "Dangerous as it stands: in truth a safe bound is passed, or would be within half an hour if nothing reacted.",
    ),
    term(
        "cross voltage",
        &["cross voltages", "cross voltage", "behind negative", "behind positive"],
        "The voltage from one pole of the pack to the link's other side, across an open contactor: half the pack when all are open, so that a weld shows before anything closes.",
    ),
    term(
        "decision",
        &["decisions", "decision"],
        "All that the firmware answers in one tick: coils, current limits, cells to bleed, cooling.",
    ),
    term(
        "defect",
        &["defects", "defect"],
        "What is physically wrong in the pack. The firmware never sees it, only what it measures of it.",
    ),
    term("Derate", &["Derate"], "The reaction that cuts the current limits and lets the pack work on."),
    term("duty", &["duty"], "What is asked of the pack over time: lifting, travelling, holding, charging."),
    term(
        "dwell",
        &["dwell"],
        "How long a limit must stay passed until the fault is Confirmed, so that a moment's noise trips nothing.",
    ),
    term(
        "Easing",
        &["Easing"],
        "The step in which the firmware waits for the current to fall before it opens the contactors.",
    ),
    term(
        "fault",
        &["faults", "fault"],
        "What the firmware concludes from its measurements. It can be mistaken; a defect cannot.",
    ),
    term(
        "frame",
        &["frames", "frame"],
        "All that the firmware can measure in one tick, and what it is asked for.",
    ),
    term(
        "fuse",
        &["fuse"],
        "A wire that melts when far too much current flows, and so parts the string of cells.",
    ),
    term(
        "heat budget",
        &["heat budget"],
        "How much more heat fuse and cable can take before they are too hot, counted from the current that flowed.",
    ),
    term(
        "insulation resistance",
        &["insulation resistance", "insulation", "insulated"],
        "The resistance between the live parts and the chassis. Where it is low, touching one pole and the chassis is dangerous.",
    ),
    term(
        "interlock",
        &["interlock"],
        "A loop of wire through every plug and cover: it is broken before a live part can be touched.",
    ),
    term("joint", &["joints", "joint"], "The bolted or welded connection between one cell and the next."),
    term(
        "Latched",
        &["Latched"],
        "The stage of a fault whose condition has gone; its record stays until it is cleared.",
    ),
    term("limit", &["limits", "limit"], "The value beyond which the firmware suspects a fault."),
    term("link", &["link"], "The wires and the capacitor on the load side of the contactors."),
    term(
        "load step",
        &["load steps", "load step"],
        "A sudden change of current. What a cell's voltage changes by, divided by it, is the cell's resistance.",
    ),
    term(
        "median",
        &["median"],
        "The value in the middle when all are put in order: half of the cells lie above it.",
    ),
    term(
        "meter",
        &["meter"],
        "A voltmeter in somebody's hand, held to the points themselves: it shows what is true there, whatever the pack's own sensors say.",
    ),
    term("near miss", &["near misses", "near miss"], "A suspicion that ended before its dwell did."),
    term("onset", &["onset"], "The moment at which a defect begins."),
    term("Open", &["Open"], "The step in which all contactors are open and a start may be asked for."),
    term(
        "open-circuit voltage",
        &["open-circuit voltage", "OCV"],
        "The voltage of a rested cell without current. It tells the charge, but hardly so in the middle.",
    ),
    term("Opening", &["Opening"], "The step in which the contactors open, one after the other."),
    term(
        "OpenNow",
        &["OpenNow"],
        "The reaction that opens the contactors in the same tick, whatever current flows.",
    ),
    term(
        "OpenSoon",
        &["OpenSoon"],
        "The reaction that asks for no current first, and opens the contactors when it has fallen, or after a grace time.",
    ),
    term(
        "plating",
        &["plated", "plating"],
        "Metallic lithium on the electrode of a cell that is charged too cold. It never dissolves again, and can pierce the separator.",
    ),
    term("pole", &["poles", "pole"], "An end of the string of cells: the positive one or the negative one."),
    term(
        "precharge",
        &["precharge", "Precharging"],
        "Charging the link through a resistor first, so that the main contactor closes onto no difference.",
    ),
    term(
        "ProvingDead",
        &["ProvingDead"],
        "The step in which the firmware checks that the link has come down and that all contactors are open.",
    ),
    term(
        "quarantine",
        &["quarantine"],
        "The time for which a pack is watched after something that may still be going on inside it. Nothing closes until it was quiet for long enough.",
    ),
    term(
        "rail",
        &["rail"],
        "An end of what an input can read. A broken wire or a short circuit stands there.",
    ),
    term(
        "reaction",
        &["reaction", "reacted"],
        "What the firmware does about a Confirmed fault: Report, Derate, OpenSoon or OpenNow.",
    ),
    term(
        "release limit",
        &["release limit"],
        "The value on the good side of the limit at which a fault counts as gone. Between the two nothing changes, so that noise does not switch back and forth.",
    ),
    term("Report", &["Report"], "The reaction that records and warns, and changes nothing else."),
    term(
        "sense wire",
        &["sense wires", "sense wire"],
        "A thin wire from a point between two cells to the measuring board.",
    ),
    term(
        "service disconnect",
        &["service disconnect"],
        "A plug in the middle of the string of cells. Pulled, it parts the string, so that less voltage stands between any two points.",
    ),
    term(
        "severity",
        &["severity"],
        "How bad a defect is, in its own unit: milliohms of a loose joint, millivolts of a reading that is off.",
    ),
    term("state of charge", &["state of charge"], "How much of what a cell can hold is in it."),
    term(
        "Suspect",
        &["Suspect", "suspected"],
        "The stage of a fault whose limit is passed and whose dwell runs.",
    ),
    term("tacho", &["tacho"], "A counter of turns at the cooling fan: it tells whether the fan turns."),
    term(
        "thermistor",
        &["thermistors", "thermistor"],
        "A resistor that falls with temperature, by which temperature is measured.",
    ),
    term(
        "tick",
        &["ticks", "tick"],
        "One step of the firmware: it reads one frame of measurements and answers with one decision.",
    ),
    term(
        "twin",
        &["the same run without the defect", "the same run without the defects", "twin"],
        "The same pack, duty and noise without the defect: what differs is the defect's doing.",
    ),
    term(
        "vent",
        &["vents"],
        "A cell vents when the pressure inside opens it: hot gas comes out, which burns.",
    ),
    term(
        "weld",
        &["welded", "weld"],
        "Contacts of a contactor that have melted together and do not open any more.",
    ),
];

const fn term(term: &'static str, forms: &'static [&'static str], means: &'static str) -> Term {
    Term { term, forms, means }
}

/// A piece of a sentence.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Piece<'a> {
    /// Words as they are.
    Plain(&'a str),
    /// A form of a term, at its place in [`GLOSSARY`].
    Term(&'a str, usize),
}

/// A sentence in pieces, so that each term in it can be linked. Only whole words count, and the longest form wins.
#[must_use]
pub fn pieces(sentence: &str) -> Vec<Piece<'_>> {
    let (mut pieces, mut plain, mut at) = (Vec::new(), 0, 0);
    while at < sentence.len() {
        let rest = &sentence[at..];
        let begins = sentence[..at].chars().next_back().is_none_or(|before| !before.is_alphanumeric());
        let found = if begins { longest(rest) } else { None };
        if let Some((form, place)) = found {
            if plain < at {
                pieces.push(Piece::Plain(&sentence[plain..at]));
            }
            pieces.push(Piece::Term(form, place));
            at += form.len();
            plain = at;
        } else {
            at += rest.chars().next().map_or(1, char::len_utf8);
        }
    }
    if plain < sentence.len() {
        pieces.push(Piece::Plain(&sentence[plain..]));
    }
    pieces
}

/// The longest form of any term with which a text begins, as whole words, and the term's place.
fn longest(text: &str) -> Option<(&str, usize)> {
    let whole = |form: &str| {
        text.starts_with(form)
            && text[form.len()..].chars().next().is_none_or(|after| !after.is_alphanumeric())
    };
    let forms = GLOSSARY.iter().enumerate().flat_map(|(place, term)| {
        term.forms.iter().filter(|form| whole(form)).map(move |form| (form.len(), place))
    });
    forms.max_by_key(|(length, _)| *length).map(|(length, place)| (&text[..length], place))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn place(of: &str) -> usize {
        GLOSSARY.iter().position(|term| term.term == of).unwrap()
    }

    #[test]
    fn every_word_stands_once_in_order_with_its_own_anchor() {
        let names: Vec<String> = GLOSSARY.iter().map(|term| term.term.to_lowercase()).collect();
        assert!(names.is_sorted(), "{names:?}");
        let mut anchors: Vec<String> = GLOSSARY.iter().map(Term::anchor).collect();
        anchors.sort();
        anchors.dedup();
        assert_eq!(anchors.len(), GLOSSARY.len());
    }

    #[test]
    fn the_longest_whole_word_is_found() {
        use Piece::{Plain, Term};
        assert_eq!(
            pieces("truth departs from the same run without the defect at cell 2"),
            [
                Plain("truth departs from "),
                Term("the same run without the defect", place("twin")),
                Plain(" at cell 2")
            ]
        );
        assert_eq!(pieces("faulty, defective"), [Plain("faulty, defective")]);
        assert_eq!(pieces("Barred"), [Term("Barred", place("Barred"))]);
        assert_eq!(pieces("unlimited"), [Plain("unlimited")]);
    }

    proptest! {
        #[test]
        fn pieces_put_together_are_the_sentence(sentence in "(contactors?|é|limit|Ω| |,|near miss|x){0,12}") {
            let together: String = pieces(&sentence)
                .into_iter()
                .map(|piece| match piece { Piece::Plain(text) | Piece::Term(text, _) => text })
                .collect();
            prop_assert_eq!(together, sentence);
        }
    }
}
