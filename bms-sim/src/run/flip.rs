//! A bit of the configuration that flips in memory.
//!
//! The configuration is written as a tree of whole numbers, the fixed-point bits of its quantities; the seed chooses one of them and a bit
//! of it, and the tree is read back. A bit that makes no value of its type gives way to the next lower one. Words, such as a
//! reaction or a wiring, are left alone: a bit of them seldom makes another word.

use bms_core::Config;
use serde_json::Value;

/// The configuration with one bit changed, which one the seed says.
pub(super) fn flipped(config: &Config, seed: u64) -> Config {
    /// Bits of the narrowest of the wide numbers, without its sign.
    const BITS: u64 = 31;
    /// 2⁶⁴ over the golden section: neighbouring seeds choose bits far apart.
    const SPREAD: u64 = 0x9E37_79B9_7F4A_7C15;
    let Ok(mut tree) = serde_json::to_value(config) else { return *config };
    let count = leaves(&mut tree).len() as u64;
    let drawn = seed.wrapping_mul(SPREAD) >> 20;
    let (leaf, bit) = (drawn % count.max(1), drawn / count.max(1) % BITS);
    let chosen = usize::try_from(leaf).unwrap_or(0);
    let whole = leaves(&mut tree).get(chosen).and_then(|leaf| leaf.as_i64());
    let Some(whole) = whole else { return *config };
    let read = (0..=bit).rev().find_map(|bit| {
        if let Some(leaf) = leaves(&mut tree).get_mut(chosen) {
            **leaf = Value::from(whole ^ (1 << bit));
        }
        serde_json::from_value(tree.clone()).ok()
    });
    read.unwrap_or(*config)
}

/// All whole numbers of a tree, in its order.
fn leaves(tree: &mut Value) -> Vec<&mut Value> {
    match tree {
        Value::Object(table) => table.values_mut().flat_map(leaves).collect(),
        Value::Array(list) => list.iter_mut().flat_map(leaves).collect(),
        Value::Number(number) if number.is_i64() || number.is_u64() => vec![tree],
        Value::Number(_) | Value::Null | Value::Bool(_) | Value::String(_) => Vec::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Exactly one bit of one number: undoing it is flipping it again.
    #[test]
    fn one_bit_of_one_number_differs() {
        let config = Config::crane();
        let numbers = |config: &Config| -> Vec<i64> {
            let mut tree = serde_json::to_value(config).unwrap();
            leaves(&mut tree).iter().map(|leaf| leaf.as_i64().unwrap()).collect()
        };
        let before = numbers(&config);
        assert!(before.len() > 250, "{}", before.len());
        for seed in 0..2_000 {
            let after = numbers(&flipped(&config, seed));
            let bits: u32 = before.iter().zip(&after).map(|(one, other)| (one ^ other).count_ones()).sum();
            assert_eq!((before.len(), bits), (after.len(), 1), "seed {seed}");
        }
    }
}
