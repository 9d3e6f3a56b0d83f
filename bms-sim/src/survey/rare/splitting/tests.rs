use super::*;
use crate::survey::distribution::normal_value;

fn share(chance: u64) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "52 bits")]
    let share = ((chance >> 12) as f64 + 0.5) / 4_503_599_627_370_496.0;
    share
}

/// So many in a row, each with this probability.
#[derive(Clone)]
struct Run {
    likely: f64,
    so_far: u32,
}

impl Excursion for Run {
    fn begin(&mut self, chance: u64) -> (Progress, f64) {
        (self.step(chance), 1.0)
    }

    fn step(&mut self, chance: u64) -> Progress {
        if share(chance) >= self.likely {
            return Progress::Back;
        }
        self.so_far += 1;
        Progress::At(self.so_far)
    }
}

fn effort(levels: Vec<u32>) -> Effort {
    Effort { levels, begins: 1_000, copies: 1_000, repeats: 30, seed: 4 }
}

/// Eight in a row of 0.1 each: 1e-8; two of 0.00135 (three sigma): 1.8222e-6. The mean waiting times from Feller's formula,
/// vol. I, chapter XIII, (1 − pⁿ)/((1 − p) pⁿ), are 111 111 110 (n 8, p 0.1) and 549 520.57.
#[test]
fn runs_of_exceedances_are_as_likely_as_feller_says() {
    for (likely, in_a_row, copies, wait) in
        [(0.1, 8, 1_000, 111_111_110.0), (0.001_349_898, 2, 20_000, 549_520.57), (0.5, 5, 1_000, 62.0)]
    {
        let effort = Effort { begins: copies, copies, ..effort((1..=in_a_row).collect()) };
        let found = estimate(&Run { likely, so_far: 0 }, &effort);
        // A run begins at a try with probability p, unless it goes on from the try before: the wait is (1 − P)/((1 − p) P).
        let of = |probability: f64| (1.0 - probability) / ((1.0 - likely) * probability);
        assert!(of(found.high) <= wait && wait <= of(found.low), "{wait}: {found:?}");
        assert!(found.scatter.is_some_and(|scatter| scatter < 0.6), "{found:?}");
    }
}

/// A sum that is held down: one-sided CUSUM, k 0.5, h 3, of standard normal values. Its mean run length in control is 117.596 (SAS/QC
/// user's guide, figure 6.11), so a start from zero ends above h before it is zero again in a share that follows from it: with
/// L = 117.596 values to an alarm, each excursion from zero is (values it takes)/P long. Checked against that identity.
#[test]
fn a_cusum_reaches_its_limit_as_often_as_its_run_length_says() {
    #[derive(Clone)]
    struct Cusum {
        sum: f64,
    }
    impl Excursion for Cusum {
        fn begin(&mut self, chance: u64) -> (Progress, f64) {
            (self.step(chance), 1.0)
        }
        fn step(&mut self, chance: u64) -> Progress {
            self.sum = (self.sum + normal_value(share(chance)) - 0.5).max(0.0);
            if self.sum <= 0.0 {
                return Progress::Back;
            }
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "below the limit, in tenths"
            )]
            let tenths = (self.sum * 10.0).min(1e6) as u32;
            Progress::At(tenths)
        }
    }
    let start = Cusum { sum: 0.0 };
    let found = estimate(&start, &effort(vec![10, 20, 30]));
    // Values an excursion takes, to zero or beyond the limit, by plain sampling.
    let noise = Noise::new(8);
    let (mut values, mut excursions, mut reached, mut at) = (0.0, 0.0, 0.0, 0);
    while excursions < 20_000.0 {
        let mut cusum = start.clone();
        loop {
            at += 1;
            values += 1.0;
            match cusum.step(noise.of_run(at, 1)) {
                Progress::At(tenths) if tenths < 30 => {}
                Progress::Back => break,
                Progress::At(_) => {
                    reached += 1.0;
                    break;
                }
            }
        }
        excursions += 1.0;
    }
    // By renewal: run length = values an excursion / P(an excursion reaches the limit).
    let length = |probability: f64| values / excursions / probability;
    let plain = reached / excursions;
    assert!(
        length(found.high) * 0.97 <= 117.596 && 117.596 <= length(found.low) * 1.03,
        "{} {found:?}",
        length(found.probability)
    );
    assert!((plain / found.probability - 1.0).abs() < 0.25, "{plain} {found:?}");
}

/// The mean is right whatever the levels, and the interval holds it as often as it promises: three hundred surveys of 1e-4 with rough and
/// with fine levels. Three standard deviations of the share that holds are allowed (3.8 %), and of the mean.
#[test]
fn the_levels_do_not_bias_it_and_the_interval_holds() {
    let run = Run { likely: 0.1, so_far: 0 };
    for levels in [vec![2, 4], vec![1, 2, 3, 4]] {
        let (mut held, mut sum, mut squares) = (0, 0.0, 0.0);
        for seed in 0..300 {
            let effort = Effort { levels: levels.clone(), begins: 200, copies: 200, repeats: 12, seed };
            let found = estimate(&run, &effort);
            held += u32::from(found.low <= 1e-4 && 1e-4 <= found.high);
            sum += found.probability;
            squares += found.probability * found.probability;
        }
        let share = f64::from(held) / 300.0;
        assert!(share > 0.95 - 0.038, "{share} hold the truth with {levels:?}");
        let (mean, square) = (sum / 300.0, squares / 300.0);
        let error = libm::sqrt((square - mean * mean) / 300.0);
        assert!((mean - 1e-4).abs() < 3.0 * error && error < 2e-6, "{mean} ± {error} with {levels:?}");
    }
}

#[test]
fn what_never_comes_is_bounded_and_not_called_impossible() {
    let found = estimate(&Run { likely: 1e-5, so_far: 0 }, &effort(vec![1, 2, 3]));
    assert!(found.probability <= 0.0 && found.low <= 0.0 && found.high > 1e-5, "{found:?}");
}
