//! Maps for one computation, whose keys are asked for by the thousand.

use std::collections::HashMap;
use std::hash::{BuildHasherDefault, Hasher};

/// A map by a quick hash. Somebody could choose keys that meet in it, so it is for no more
/// of them than one query or one event has.
pub(super) type QuickMap<K, V> = HashMap<K, V, BuildHasherDefault<Mixed>>;

/// Each eight bytes mixed in by the golden ratio (Knuth, The Art of Computer
/// Programming 3, 6.4).
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Mixed(u64);

impl Hasher for Mixed {
    fn finish(&self) -> u64 {
        self.0
    }

    fn write(&mut self, bytes: &[u8]) {
        for some in bytes.chunks(8) {
            let mut eight = [0; 8];
            eight[..some.len()].copy_from_slice(some);
            self.write_u64(u64::from_le_bytes(eight));
        }
    }

    fn write_u8(&mut self, number: u8) {
        self.write_u64(u64::from(number));
    }

    fn write_u64(&mut self, number: u64) {
        let mixed = (self.0.rotate_left(5) ^ number).wrapping_mul(0x9E37_79B9_7F4A_7C15);
        self.0 = mixed ^ (mixed >> 32);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::HashSet;
    use std::hash::Hash;

    #[test]
    fn words_and_numbers_hardly_meet() {
        let of = |key: &dyn Fn(&mut Mixed)| {
            let mut mixed = Mixed::default();
            key(&mut mixed);
            mixed.finish()
        };
        let mut met = HashSet::new();
        for n in 0..20_000_u64 {
            met.insert(of(&|mixed| n.hash(mixed)));
            met.insert(of(&|mixed| format!("word{n}").hash(mixed)));
        }
        assert_eq!(met.len(), 40_000);
        // The lowest bits choose the place in a map.
        let low: HashSet<u64> = met.iter().map(|hash| hash & 0xFFFF).collect();
        assert!(low.len() > 26_000, "{}", low.len());
    }
}
