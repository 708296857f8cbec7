//! Chance from a seed: the same seed gives the same numbers for ever, on every machine.
//!
//! The generator is xoshiro256++ 1.0 with its state filled by `SplitMix64` (Blackman and Vigna 2019, *Scrambled
//! linear pseudorandom number generators*; both are in the public domain). Written out, because a life must
//! not change with a dependency. Nothing here asks the platform for a logarithm or an exponential, whose last
//! digits differ between systems: sums, products and divisions are all there is.

/// A stream of chance.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Chance {
    state: [u64; 4],
}

/// One step of `SplitMix64`: the state after it, and what it gives.
const fn split_mix(state: u64) -> (u64, u64) {
    let state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let mixed = (state ^ (state >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    (state, mixed ^ (mixed >> 31))
}

impl Chance {
    /// The stream of a seed.
    #[must_use]
    pub const fn new(seed: u64) -> Self {
        let (seed, first) = split_mix(seed);
        let (seed, second) = split_mix(seed);
        let (seed, third) = split_mix(seed);
        let (_, fourth) = split_mix(seed);
        Self::from_state([first, second, third, fourth])
    }

    /// A stream of its own for one purpose and one number (a day, say) under the same seed. What is drawn from one
    /// does not move another: two lives of one seed have the same meals, whatever else they do.
    #[must_use]
    pub const fn of(seed: u64, purpose: Purpose, number: u64) -> Self {
        let (_, purpose) = split_mix(purpose as u64);
        let (_, number) = split_mix(number.wrapping_add(purpose));
        Self::new(seed ^ number)
    }

    /// A generator in a given state, which may not be all zeros.
    #[must_use]
    pub const fn from_state(state: [u64; 4]) -> Self {
        Self { state }
    }

    /// The next 64 bits.
    pub const fn bits(&mut self) -> u64 {
        let [first, second, third, fourth] = self.state;
        let out = first.wrapping_add(fourth).rotate_left(23).wrapping_add(first);
        let third = third ^ first;
        let fourth = fourth ^ second;
        self.state = [first ^ fourth, second ^ third, third ^ (second << 17), fourth.rotate_left(45)];
        out
    }

    /// A number from 0 up to 1, without 1, in steps of 2^-32.
    pub fn unit(&mut self) -> f64 {
        f64::from((self.bits() >> 32) as u32) / 4_294_967_296.0
    }

    /// A number between two.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// A whole number of minutes between two, both included.
    pub fn minutes(&mut self, low: i32, high: i32) -> i32 {
        whole(self.between(f64::from(low) - 0.5, f64::from(high) + 0.5)).clamp(low, high)
    }

    /// Does it happen, with that probability?
    pub fn happens(&mut self, probability: f64) -> bool {
        self.unit() < probability
    }

    /// Mean 0, standard deviation 1: twelve numbers added, less six. Its tails end at six, and beyond three they
    /// are thinner than those of a normal distribution; nothing here lives on such tails.
    pub fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.unit()).sum::<f64>() - 6.0
    }

    /// A factor around 1, log-normal with that standard deviation of its logarithm, and never further out than two
    /// of them.
    pub fn factor(&mut self, spread: f64) -> f64 {
        exp(spread * self.normal().clamp(-2.0, 2.0))
    }
}

/// What a stream is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Purpose {
    /// The parameters of a body, and who lives in it.
    Body = 1,
    /// What one day brings.
    Day = 2,
    /// The noise of the sensor.
    Noise = 3,
    /// What becomes of the sensor on one day.
    Sensor = 4,
    /// How the wearer takes what they see.
    Habits = 5,
    /// What the wearer hears.
    Ears = 6,
}

/// The exponential, to some fourteen digits, from products alone: a short series, squared eight times.
#[must_use]
pub fn exp(power: f64) -> f64 {
    let small = power / 256.0;
    let mut sum = 1.0;
    for term in (1..=9).rev() {
        sum = 1.0 + small / f64::from(term) * sum;
    }
    for _ in 0..8 {
        sum *= sum;
    }
    sum
}

/// The nearest whole number.
#[must_use]
#[expect(clippy::cast_possible_truncation, reason = "what is rounded here is small, and the cast saturates")]
pub fn whole(value: f64) -> i32 {
    value.round() as i32
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The first outputs of the reference program xoshiro256plusplus.c (prng.di.unimi.it) from state 1, 2, 3, 4, and
    /// of splitmix64.c from 1477776061723855037, as the tests of the crate `rand_xoshiro` keep them.
    #[test]
    fn gives_what_the_reference_gives() {
        let mut chance = Chance::from_state([1, 2, 3, 4]);
        let expected =
            [41_943_041, 58_720_359, 3_588_806_011_781_223, 3_591_011_842_654_386, 9_228_616_714_210_784_205];
        for bits in expected {
            assert_eq!(chance.bits(), bits);
        }
        let mut state = 1_477_776_061_723_855_037;
        for expected in [1_985_237_415_132_408_290, 2_979_275_885_539_914_483, 13_511_426_838_097_143_398] {
            let (next, out) = split_mix(state);
            assert_eq!(out, expected);
            state = next;
        }
    }

    #[test]
    fn exponentials_are_exact_enough() {
        for power in -40..=40 {
            let power = f64::from(power) / 10.0;
            assert!((exp(power) / power.exp() - 1.0).abs() < 1e-13, "{power}: {}", exp(power));
        }
    }

    #[test]
    fn normal_numbers_have_mean_zero_and_deviation_one() {
        let mut chance = Chance::new(1);
        let drawn: Vec<f64> = (0..20_000).map(|_| chance.normal()).collect();
        let count = f64::from(20_000);
        let mean = drawn.iter().sum::<f64>() / count;
        let variance = drawn.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / count;
        // Four standard errors: 4 / sqrt(20000) = 0.028, and 4 * sqrt(2 / 20000) = 0.04.
        assert!(mean.abs() < 0.028, "{mean}");
        assert!((variance - 1.0).abs() < 0.04, "{variance}");
    }
}
