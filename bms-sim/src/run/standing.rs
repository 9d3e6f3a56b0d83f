//! Whether a pack at rest stands still, so that larger steps lose nothing.

use crate::world::World;

/// What must not move while larger steps are taken.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Standing {
    seconds: f64,
    volts: [f64; 2],
    celsius: [f64; 2],
    link_volts: f64,
}

/// What moves more slowly stands still, a second: less than a fifth of what a fault looks for in volts a tick of its dwell, a thirtieth of
/// a temperature that rises fast, and a link that a divider empties.
const STILL: Moves = Moves { volts: 1e-3, celsius: 0.01, link_volts: 0.1 };

/// How much moves in a second.
struct Moves {
    volts: f64,
    celsius: f64,
    link_volts: f64,
}

impl Standing {
    pub(super) fn of<const CELLS: usize, const THERMISTORS: usize>(
        world: &World<CELLS, THERMISTORS>,
    ) -> Self {
        let ends = |values: &[f64]| {
            let least = values.iter().copied().fold(f64::INFINITY, f64::min);
            [least, values.iter().copied().fold(f64::NEG_INFINITY, f64::max)]
        };
        Self {
            seconds: world.seconds,
            volts: ends(&world.cells.volts),
            celsius: ends(&world.cells.celsius),
            link_volts: world.bus.link_volts,
        }
    }

    /// Whether nothing has moved faster than what stands still.
    pub(super) fn is_still_after(&self, before: &Self) -> bool {
        let seconds = self.seconds - before.seconds;
        let within = |now: f64, then: f64, a_second: f64| (now - then).abs() <= a_second * seconds;
        let both =
            |now: [f64; 2], then: [f64; 2], a_second| (0..2).all(|end| within(now[end], then[end], a_second));
        both(self.volts, before.volts, STILL.volts)
            && both(self.celsius, before.celsius, STILL.celsius)
            && within(self.link_volts, before.link_volts, STILL.link_volts)
    }
}

#[cfg(test)]
mod tests {
    use crate::case::Case;
    use crate::run::Loop;
    use std::sync::Arc;

    fn rested(defect: &str, rest: &str) -> Loop<16, 8> {
        let text = format!(
            "schema = 1\ntitle = \"\"\nstory = \"\"\npack = \"trainer\"\nseed = 3\nduration_s = 3000\n[start]\ncharge_percent = 60\n\
             celsius = 18\n[[surroundings]]\nat_s = 0\ncelsius = 5\n{defect}{rest}"
        );
        let mut played = Loop::new(&Arc::new(Case::parse(&text, "rest").unwrap())).unwrap();
        while !played.over() {
            played.advance(&mut ());
        }
        played
    }

    /// A cell that leaks while its surroundings cool it: steps of 10 s end where steps of 10 ms do, within 1e-6 of charge, 0.02 °C and
    /// 0.1 mV, and are a hundred times fewer.
    #[test]
    fn larger_steps_at_rest_end_where_small_ones_do() {
        let leak = "[[defect]]\nkind = \"cell_leak\"\ncell = 6\nohms = 20\nat_s = 100\n";
        let (short, long) = (rested(leak, ""), rested(leak, "[rest]\nstep_s = 10\n"));
        assert!(long.tick * 100 < short.tick, "{} of {}", long.tick, short.tick);
        let (one, other) = (&short.world, &long.world);
        assert!((one.seconds - other.seconds).abs() < 10.0);
        for cell in 0..16 {
            let apart = |a: &[f64; 16], b: &[f64; 16]| (a[cell] - b[cell]).abs();
            assert!(apart(&one.cells.charge, &other.cells.charge) < 1e-6, "charge of {cell}");
            assert!(apart(&one.cells.celsius, &other.cells.celsius) < 0.02, "temperature of {cell}");
            assert!(apart(&one.cells.volts, &other.cells.volts) < 1e-4, "voltage of {cell}");
        }
        assert_eq!(short.decision.unwrap().faults.confirmed, long.decision.unwrap().faults.confirmed);
    }

    /// A cell that suddenly heats is met at the tick again: no step is larger while it moves.
    #[test]
    fn what_moves_is_met_at_the_tick() {
        let heat = "[[defect]]\nkind = \"cell_heats_itself\"\ncell = 6\nwatts = 500\nat_s = 1000\n";
        let text = "[rest]\nstep_s = 10\n";
        let calm = rested("", text);
        let moved = rested(heat, text);
        assert!(moved.tick > calm.tick + 50_000, "{} against {}", moved.tick, calm.tick);
    }
}
