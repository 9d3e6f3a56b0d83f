//! Cautions that belong to one act, said where somebody is about to do it. All of them beside [`CAUTIONS`](super::CAUTIONS).

/// An act that is dangerous on a real pack, and what is said before it.
#[derive(Clone, Copy, Debug)]
pub struct Caution {
    /// The act.
    pub act: &'static str,
    /// What must be known.
    pub said: &'static str,
}

/// One for each act that a page offers.
pub const AT_ACTS: [Caution; 6] = [
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
        act: "start",
        said: "Nobody may be at the pack or behind the contactors when they close: covers on, tools counted, lock-out taken off by whoever put it on.",
    },
];
