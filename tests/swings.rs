//! Made-up glucose that swings about, for tests that want many lows and highs; the dice are seeded.

/// So many readings between 40 and 320.
pub(crate) fn swings(seed: u64, readings: usize) -> Vec<i32> {
    let mut dice = seed;
    let mut roll = |sides: u64| {
        dice = dice.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        i32::try_from((dice >> 33) % sides).unwrap()
    };
    let (mut value, mut aim) = (120, 120);
    (0..readings)
        .map(|_| {
            if roll(10) == 0 {
                aim = 40 + roll(280);
            }
            value += (aim - value) / 4 + roll(9) - 4;
            value.clamp(40, 320)
        })
        .collect()
}
