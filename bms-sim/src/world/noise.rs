//! Noise that depends on its address alone.
//!
//! Every draw is a pure function of (seed, stream, channel, tick): no stream state, so a copy of the world, a step
//! back, a second thread and a twin run with one defect less all meet the very same noise.
//!
//! Words: Philox 4×32-10, a counter-based generator (J. K. Salmon, M. A. Moraes, R. O. Dror, D. E. Shaw, "Parallel
//! random numbers: as easy as 1, 2, 3", SC11, 2011). Key = seed, counter = (block, stream, tick low, tick high).
//!
//! Normal draws: one word gives a sign bit and 31 bits of tail probability `u` in (0, ½); `z = Φ⁻¹(1 − u)` is read
//! from straight lines, sixteen to each octave of `u`, so that the tail is as well resolved as the middle (to 6.3 σ).
//! Largest error 0.0006 σ (tested against `erfc`). The segment number is simply the exponent and the first four
//! mantissa bits of `u` as an `f32`.

use std::sync::LazyLock;

/// What a draw is for; draws of different streams are independent.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
enum Stream {
    /// Noise of the cell voltages, channel = cell.
    Cells,
    /// Noise of the channels of which there is one each, then of the thermistors, then of the two poles.
    Others,
    /// What differs from part to part: capacities, resistances, pull-in times, calibration.
    Parts,
    /// What happens to a frame on its way.
    Transit,
    /// What a survey draws for each of its runs.
    Runs,
}

/// The source of all noise of one world: nothing but its key.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Noise {
    key: [u32; 2],
}

/// Channels of which there is one each, at most.
pub const SINGLE: usize = 8;
/// The two poles of the pack against the chassis.
pub const POLES: usize = 2;

/// Standard normal draws of one tick.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Draws<const CELLS: usize, const THERMISTORS: usize> {
    flat: [f32; GROUP * MOST_GROUPS],
}

impl<const CELLS: usize, const THERMISTORS: usize> Draws<CELLS, THERMISTORS> {
    /// Groups that hold the cells.
    const OF_CELLS: usize = CELLS.div_ceil(GROUP);
    /// Groups in use.
    const GROUPS: usize = {
        assert!(CELLS <= 128 && SINGLE + THERMISTORS + POLES <= 128);
        Self::OF_CELLS + (SINGLE + THERMISTORS + POLES).div_ceil(GROUP)
    };

    /// One for each cell voltage.
    #[must_use]
    pub fn cells(&self) -> &[f32] {
        &self.flat[..CELLS]
    }

    /// One for each single channel.
    #[must_use]
    pub fn single(&self) -> &[f32] {
        &self.flat[Self::OF_CELLS * GROUP..][..SINGLE]
    }

    /// One for each thermistor.
    #[must_use]
    pub fn thermistors(&self) -> &[f32] {
        &self.flat[Self::OF_CELLS * GROUP + SINGLE..][..THERMISTORS]
    }

    pub(super) fn cells_mut(&mut self) -> &mut [f32] {
        &mut self.flat[..CELLS]
    }

    pub(super) fn single_mut(&mut self) -> &mut [f32] {
        &mut self.flat[Self::OF_CELLS * GROUP..][..SINGLE]
    }

    pub(super) fn thermistors_mut(&mut self) -> &mut [f32] {
        &mut self.flat[Self::OF_CELLS * GROUP + SINGLE..][..THERMISTORS]
    }

    /// One for the negative pole, one for the positive.
    #[must_use]
    pub fn poles(&self) -> &[f32] {
        &self.flat[Self::OF_CELLS * GROUP + SINGLE + THERMISTORS..][..POLES]
    }
}

/// Blocks of four words that are worked out side by side, so that the loops over them become vector instructions (16
/// of them: measured, twice as fast as 8 or 32). They come from two groups of eight blocks, each with its own stream.
const LANES: usize = 16;
const GROUP_LANES: usize = LANES / 2;
/// Draws of one group.
const GROUP: usize = 4 * GROUP_LANES;
/// Most groups of a tick: 128 cells, and 118 thermistors.
const MOST_GROUPS: usize = 8;

/// Words of all lanes, each in the low half of 64 bits: the multiplication wants them so.
type Words = [[u64; LANES]; 4];

impl Noise {
    /// The noise of this seed.
    #[must_use]
    pub const fn new(seed: u64) -> Self {
        Self { key: [(seed & 0xffff_ffff) as u32, (seed >> 32) as u32] }
    }

    /// The draws of a tick. Channel `32 g + 8 w + l` of a stream is word `w` of block `8 g + l`.
    #[must_use]
    pub fn draws<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        tick: u64,
    ) -> Draws<CELLS, THERMISTORS> {
        let address = |group: usize| match group.checked_sub(Draws::<CELLS, THERMISTORS>::OF_CELLS) {
            None => (Stream::Cells, group),
            Some(group) => (Stream::Others, group),
        };
        let lines = &*LINES;
        let mut draws = Draws { flat: [0.0; GROUP * MOST_GROUPS] };
        let pairs = Draws::<CELLS, THERMISTORS>::GROUPS.div_ceil(2);
        for (pair, out) in draws.flat.as_chunks_mut::<{ 2 * GROUP }>().0.iter_mut().enumerate().take(pairs) {
            let words = self.words([address(2 * pair), address(2 * pair + 1)], tick);
            for half in 0..2 {
                for word in 0..4 {
                    for lane in 0..GROUP_LANES {
                        let random = (words[word][half * GROUP_LANES + lane] & 0xffff_ffff) as u32;
                        out[half * GROUP + word * GROUP_LANES + lane] = normal_of(lines, random);
                    }
                }
            }
        }
        draws
    }

    /// A draw that is equally likely everywhere in −1 … 1, for what differs from part to part.
    #[must_use]
    pub fn even(&self, part: u32) -> f64 {
        let words = philox([part, Stream::Parts as u32, 0, 0], self.key);
        f64::from(words[0]) / f64::from(1_u32 << 31) - 1.0
    }

    /// A draw of each tick for what happens to its frame, equally likely everywhere in 0 … 1.
    #[must_use]
    pub fn chance(&self, tick: u64) -> f64 {
        let low = (tick & 0xffff_ffff) as u32;
        let words = philox([0, Stream::Transit as u32, low, (tick >> 32) as u32], self.key);
        f64::from(words[0]) / 4_294_967_296.0
    }

    /// What a survey draws for one of its runs: 64 bits for each thing drawn, which has a number of its own.
    #[must_use]
    pub fn of_run(&self, run: u64, what: u32) -> u64 {
        let low = (run & 0xffff_ffff) as u32;
        let words = philox([what, Stream::Runs as u32, low, (run >> 32) as u32], self.key);
        u64::from(words[0]) << 32 | u64::from(words[1])
    }

    /// The words of two groups of a stream each.
    #[inline]
    fn words(self, groups: [(Stream, usize); 2], tick: u64) -> Words {
        let mut counter = [[0; LANES], [0; LANES], [tick & 0xffff_ffff; LANES], [tick >> 32; LANES]];
        for (half, (stream, group)) in groups.into_iter().enumerate() {
            for lane in 0..GROUP_LANES {
                counter[0][half * GROUP_LANES + lane] = (group * GROUP_LANES + lane) as u64;
                counter[1][half * GROUP_LANES + lane] = stream as u64;
            }
        }
        rounds(counter, self.key)
    }
}

const ROUNDS: usize = 10;
const MULTIPLIER: [u64; 2] = [0xD251_1F53, 0xCD9E_8D57];
const WEYL: [u32; 2] = [0x9E37_79B9, 0xBB67_AE85];

/// All rounds in all lanes. Only the low halves mean anything; what gathers in the high halves is never read.
#[inline]
fn rounds(mut counter: Words, mut key: [u32; 2]) -> Words {
    for _ in 0..ROUNDS {
        let [zero, one, two, three] = &mut counter;
        for lane in 0..LANES {
            let first = MULTIPLIER[0] * (zero[lane] & 0xffff_ffff);
            let second = MULTIPLIER[1] * (two[lane] & 0xffff_ffff);
            zero[lane] = (second >> 32) ^ one[lane] ^ u64::from(key[0]);
            two[lane] = (first >> 32) ^ three[lane] ^ u64::from(key[1]);
            one[lane] = second;
            three[lane] = first;
        }
        key = [key[0].wrapping_add(WEYL[0]), key[1].wrapping_add(WEYL[1])];
    }
    counter
}

/// One block by itself.
fn philox(counter: [u32; 4], key: [u32; 2]) -> [u32; 4] {
    rounds(counter.map(|word| [u64::from(word); LANES]), key).map(|word| (word[0] & 0xffff_ffff) as u32)
}

/// Segments an octave, and octaves of a 31-bit number (one more for what rounds up to 2³¹).
const SEGMENTS: usize = 16;
const OCTAVES: usize = 32;

/// `z = level + slope · m`, with `m = u · 2³²`.
#[derive(Clone, Copy)]
struct Line {
    level: f32,
    slope: f32,
}

static LINES: LazyLock<[Line; SEGMENTS * OCTAVES]> = LazyLock::new(|| {
    core::array::from_fn(|index| {
        let (octave, segment) = (index / SEGMENTS, index % SEGMENTS);
        let octave_start = libm::exp2(small(octave));
        let start = octave_start * (1.0 + small(segment) / small(SEGMENTS));
        let end = octave_start * (1.0 + small(segment + 1) / small(SEGMENTS));
        let (at_start, at_end) = (quantile(start), quantile(end));
        let slope = (at_end - at_start) / (end - start);
        // The curve is convex: the chord lies above it. Half of the gap in the middle is shared between middle and ends.
        let gap = 0.5 * (at_start + at_end) - quantile(0.5 * (start + end));
        #[expect(clippy::cast_possible_truncation, reason = "the draws are f32")]
        Line { level: (at_start - slope * start - 0.5 * gap) as f32, slope: slope as f32 }
    })
});

/// A number of the table as a float, exactly.
fn small(count: usize) -> f64 {
    f64::from(u32::try_from(count).unwrap_or(u32::MAX))
}

/// `z` with `½·erfc(z/√2) = m / 2³²`, by bisection.
fn quantile(m: f64) -> f64 {
    let tail = m / 4_294_967_296.0;
    if tail >= 0.5 {
        return 0.0;
    }
    let (mut low, mut high) = (0.0, 8.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if 0.5 * libm::erfc(middle * core::f64::consts::FRAC_1_SQRT_2) > tail {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

#[inline]
#[expect(clippy::cast_precision_loss, reason = "24 of 31 bits of the tail are ample")]
fn normal_of(lines: &[Line; SEGMENTS * OCTAVES], word: u32) -> f32 {
    // Odd numbers only: the middle of each pair, never zero.
    let magnitude = ((word & 0x7fff_ffff) | 1).cast_signed() as f32;
    // Exponent and first four mantissa bits, counted from 1.0 (exponent 127).
    let segment = (magnitude.to_bits() >> 19).wrapping_sub(127 << 4) as usize % (SEGMENTS * OCTAVES);
    let line = lines[segment];
    let z = line.level + line.slope * magnitude;
    f32::from_bits(z.to_bits() ^ (word & 0x8000_0000))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Known-answer vectors published with the generator (Random123, file `kat_vectors`, philox4x32 10).
    #[test]
    fn philox_gives_the_published_words() {
        assert_eq!(philox([0; 4], [0; 2]), [0x6627_e8d5, 0xe169_c58d, 0xbc57_ac4c, 0x9b00_dbd8]);
        assert_eq!(
            philox([u32::MAX; 4], [u32::MAX; 2]),
            [0x408f_276d, 0x41c8_3b0e, 0xa20b_c7c6, 0x6d54_51fd]
        );
        let pi = [0x243f_6a88, 0x85a3_08d3, 0x1319_8a2e, 0x0370_7344];
        let answer = [0xd16c_fe09, 0x94fd_cceb, 0x5001_e420, 0x2412_6ea1];
        assert_eq!(philox(pi, [0xa409_3822, 0x299f_31d0]), answer);
    }

    #[test]
    fn the_lanes_are_the_single_blocks() {
        let noise = Noise::new(0x1234_5678_9abc_def0);
        let words = noise.words([(Stream::Cells, 1), (Stream::Others, 2)], 77 << 32 | 5);
        for lane in 0..16_u32 {
            let (stream, block) =
                if lane < 8 { (Stream::Cells, 8 + lane) } else { (Stream::Others, 8 + lane) };
            let single = philox([block, stream as u32, 5, 77], [0x9abc_def0, 0x1234_5678]);
            assert_eq!(words.map(|word| (word[lane as usize] & 0xffff_ffff) as u32), single);
        }
    }

    /// `½·erfc(z/√2)` is the tail by definition; the lines must give it back.
    #[test]
    fn the_lines_stay_within_six_ten_thousandths_of_a_sigma() {
        let mut word = 1_u32;
        let mut worst: f64 = 0.0;
        while word < 0x7fff_0000 {
            let z = f64::from(normal_of(&LINES, word));
            worst = worst.max((z - quantile(f64::from(word | 1))).abs());
            word += 1 + word / 97;
        }
        assert!(worst < 6e-4, "{worst}");
    }

    /// Moments and tails of the normal distribution: kurtosis 3, P(|z| > 3) = 2.699 796e-3, P(|z| > 4) = 6.334 248e-5.
    #[test]
    fn moments_and_tails_are_those_of_the_normal_distribution() {
        let noise = Noise::new(1);
        let (mut count, mut sum, mut square, mut fourth, mut beyond3, mut beyond4) =
            (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
        for tick in 0..160_000 {
            let draws = noise.draws::<96, 24>(tick);
            for z in
                draws.cells().iter().chain(draws.thermistors()).chain(draws.single()).copied().map(f64::from)
            {
                count += 1.0;
                sum += z;
                square += z * z;
                fourth += z * z * z * z;
                beyond3 += f64::from(u8::from(z.abs() > 3.0));
                beyond4 += f64::from(u8::from(z.abs() > 4.0));
            }
        }
        let variance = square / count;
        assert!((sum / count).abs() < 1e-3, "mean {}", sum / count);
        assert!((variance - 1.0).abs() < 2e-3, "variance {variance}");
        let kurtosis = fourth / count / (variance * variance);
        assert!((kurtosis - 3.0).abs() < 0.03, "kurtosis {kurtosis}");
        assert!((beyond3 / count / 2.699_796e-3 - 1.0).abs() < 0.05, "beyond 3 {}", beyond3 / count);
        assert!((beyond4 / count / 6.334_248e-5 - 1.0).abs() < 0.05, "beyond 4 {}", beyond4 / count);
    }

    #[test]
    fn a_channel_keeps_its_draws_when_others_are_added() {
        let (few, many) = (Noise::new(9).draws::<5, 3>(3), Noise::new(9).draws::<100, 60>(3));
        assert_eq!(few.cells(), &many.cells()[..5]);
        assert_eq!(few.thermistors(), &many.thermistors()[..3]);
        assert_eq!(few.single(), many.single());
    }
}
