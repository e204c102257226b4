//! Which numbers does chance give, so that the same seed gives the same scene
//! on every machine and in every year?
//!
//! SplitMix64 for seeding and xoshiro256++ 1.0 (D. Blackman and S. Vigna,
//! 2019), written out here so that no release of a library changes a scene.

/// A named stream of random numbers.
#[derive(Clone, Debug)]
pub struct Random {
    state: [u64; 4],
}

impl Random {
    /// The stream called `stream` of `seed`. Streams of different names are
    /// independent, so adding a recorder does not change the others.
    #[must_use]
    pub fn new(seed: u64, stream: &str) -> Self {
        // FNV-1a, 64 bits: turns the name into a number.
        let name = stream
            .bytes()
            .fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
                (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
            });
        let mut mix = seed ^ name;
        Self {
            state: std::array::from_fn(|_| split_mix(&mut mix)),
        }
    }

    /// The next 64 random bits.
    pub fn bits(&mut self) -> u64 {
        let s = &mut self.state;
        let result = s[0].wrapping_add(s[3]).rotate_left(23).wrapping_add(s[0]);
        let t = s[1] << 17;
        s[2] ^= s[0];
        s[3] ^= s[1];
        s[1] ^= s[2];
        s[0] ^= s[3];
        s[2] ^= t;
        s[3] = s[3].rotate_left(45);
        result
    }

    /// Uniform in 0 to 1, 1 excluded, with 53 random bits.
    pub fn unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Uniform between `low` and `high`.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// A whole number below `count`; 0 when `count` is 0.
    pub fn below(&mut self, count: usize) -> usize {
        // The bias of the multiply is below 2^-40 for any count used here.
        ((u128::from(self.bits()) * count as u128) >> 64) as usize
    }

    /// Nearly normal, mean 0 and variance 1: the sum of four uniform numbers
    /// (Irwin and Hall), never beyond 3.47.
    pub fn normal(&mut self) -> f32 {
        let bits = self.bits();
        let sum: u64 = (0..4).map(|part| (bits >> (16 * part)) & 0xffff).sum();
        // Each part is uniform over 0..=65535: variance (65536^2 - 1) / 12.
        const MEAN: f32 = 4.0 * 65_535.0 / 2.0;
        const SCALE: f32 = 2.642_823e-5; // 1 / sqrt(4 * (65536^2 - 1) / 12)
        (sum as f32 - MEAN) * SCALE
    }

    /// Puts `items` in random order (Fisher and Yates).
    pub fn shuffle<T>(&mut self, items: &mut [T]) {
        for last in (1..items.len()).rev() {
            items.swap(last, self.below(last + 1));
        }
    }
}

fn split_mix(state: &mut u64) -> u64 {
    *state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let mut z = *state;
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

#[cfg(test)]
mod tests {
    use super::*;

    // First outputs of the authors' C programs for these states.
    #[test]
    fn the_generators_are_the_published_ones() {
        let mut mix = 1_234_567;
        let mixed: Vec<u64> = (0..3).map(|_| split_mix(&mut mix)).collect();
        assert_eq!(
            mixed,
            [
                6_457_827_717_110_365_317,
                3_203_168_211_198_807_973,
                9_817_491_932_198_370_423
            ]
        );
        let mut random = Random {
            state: [1, 2, 3, 4],
        };
        let drawn: Vec<u64> = (0..5).map(|_| random.bits()).collect();
        assert_eq!(
            drawn,
            [
                41_943_041,
                58_720_359,
                3_588_806_011_781_223,
                3_591_011_842_654_386,
                9_228_616_714_210_784_205
            ]
        );
    }

    #[test]
    fn normal_numbers_have_mean_0_and_variance_1() {
        let mut random = Random::new(7, "normal");
        let drawn: Vec<f64> = (0..200_000).map(|_| f64::from(random.normal())).collect();
        let mean = drawn.iter().sum::<f64>() / drawn.len() as f64;
        let power = drawn.iter().map(|x| x * x).sum::<f64>() / drawn.len() as f64;
        // Five standard errors: 5 / sqrt(n), and 5 * sqrt(1.7 / n) for the
        // variance (kurtosis of the sum of four: 2.7).
        assert!(mean.abs() < 0.0112, "{mean}");
        assert!((power - 1.0).abs() < 0.0146, "{power}");
    }

    #[test]
    fn streams_of_one_seed_differ() {
        assert_ne!(Random::new(1, "a").bits(), Random::new(1, "b").bits());
        assert_ne!(Random::new(1, "a").bits(), Random::new(2, "a").bits());
        assert_eq!(Random::new(1, "a").bits(), Random::new(1, "a").bits());
    }
}
