//! Cautions that belong to one act, said where somebody is about to do it, and those that belong to one part. All of them
//! beside [`CAUTIONS`](super::CAUTIONS).

use crate::defect::PlaceKind;

/// An act that is dangerous on a real pack, and what is said before it.
#[derive(Clone, Copy, Debug)]
pub struct Caution {
    /// The act.
    pub act: &'static str,
    /// What must be known.
    pub said: &'static str,
}

/// One for each act that a page offers.
pub const AT_ACTS: [Caution; 12] = [
    Caution {
        act: "measure",
        said: "Opening the contactors never makes the cells dead: each half of a pulled string still has half of its voltage, and a 51 V pack still delivers \
               kiloamps. Wait the labelled time, and again after any motor has turned. Rated gloves inspected before use, face shield, insulated tools, no \
               jewellery, a second person, barrier and sign; qualified people only. Never measure ohms on a live part, and never put an insulation tester \
               across a battery's measuring front end: its voltage destroys it.",
    },
    Caution {
        act: "repair",
        said: "Stop, lock out, wait, and prove dead at every pair of points before anything is touched; the cells stay live. After the work: torque, joint \
               milliohms, tools counted, insulation, sense wires in order.",
    },
    Caution {
        act: "swap_cell",
        said: "Before a cell is fitted: same type, right way round, charge matched to the pack first (balancing 10 Ah at 0.1 A takes 100 h). Afterwards tell \
               the firmware: it then knows nothing of the new cell's charge.",
    },
    Caution {
        act: "clear",
        said: "Clear only what is understood and mended. A cell that was charged while frozen, deeply discharged or reversed never returns to work by \
               clearing alone: quarantine, then a test. After heat, hiss, smell or swelling: leave, warn, ventilate from outside, do not open; vented gas is \
               poisonous and explosive, and it can start again hours later.",
    },
    Caution {
        act: "stop",
        said: "A hoist must hold its load on the mechanical brake before the contactors open.",
    },
    Caution {
        act: "inject",
        said: "Never put a defect into a real pack to see what it does. Here it costs nothing.",
    },
    Caution {
        act: "mend",
        said: "Nothing mends itself: a defect ends with work at a pack that was proven dead and whose cells stay live.",
    },
    Caution {
        act: "limits",
        said: "Limits are set by whoever answers for the pack, from the data of its cells: a wider one takes a protection away that nobody will miss \
               until it is needed.",
    },
    Caution {
        act: "lose_power",
        said: "Without the auxiliary supply the contactors drop whatever current flows: an arc wears or welds them, and a hoist must hold its load on \
               the mechanical brake. The cells stay live.",
    },
    Caution {
        act: "disconnect",
        said: "A disconnect is no switch: pulled under load it draws an arc. Stop first, pull, lock, wait the labelled time, and prove dead at every pair \
               of points. Each half of the string behind it is as live as before.",
    },
    Caution {
        act: "bench",
        said: "A link keeps its charge after a start that was given up, and a precharge resistor can burn whoever touches it: wait the labelled time, and \
               prove dead before anything behind the contactors is touched.",
    },
    Caution {
        act: "start",
        said: "Nobody may be at the pack or behind the contactors when they close: covers on, tools counted, lock-out taken off by whoever put it on.",
    },
];

/// What must be known before somebody comes near a part that may have a defect.
#[must_use]
pub const fn near(part: PlaceKind) -> &'static str {
    match part {
        PlaceKind::Cell | PlaceKind::Module => {
            "A cell stays live with all contactors open, and a tool across it burns and throws molten metal. Heat, hiss, smell or swelling: leave, \
             warn, ventilate from outside, do not open; vented gas is poisonous and explosive, and it can start again hours later."
        }
        PlaceKind::Joint => {
            "A joint sits between live cells, may be hot enough to burn, and draws an arc when it is parted under load: no current, rated gloves, face \
             shield, insulated tools, one joint at a time."
        }
        PlaceKind::Wire | PlaceKind::Thermistor => {
            "Sense wires are as live as the cells they lead to, and a thermistor sits on one: many of them have the pack's voltage against the chassis. \
             Plug and unplug them as the maker says, never under load, and never with an insulation tester connected."
        }
        PlaceKind::CurrentSensor | PlaceKind::Contactor => {
            "It sits in the main path: contacts that should be open may be welded, and their feedback may lie. Prove dead at each pair of points before \
             it is touched; the side of the pack is live all the same."
        }
        PlaceKind::FramePart | PlaceKind::Pack => {
            "What the firmware reads may lie: no display replaces proving dead at each pair of points, with the meter proven before and after. The cells \
             stay live whatever is open."
        }
    }
}
