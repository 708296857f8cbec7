//! Stories, open traces and pretend days, each from a seed: what goes in. Draws only, and judges nothing.

use super::record::{Given, HOUR, In, KetoneTest, MIN, Ms, Note, Out, Person, Range, Record, Settings, Side, Therapy};

/// 2026-03-02 00:00 UTC, a Monday.
pub(crate) const DAY: Ms = 1_772_409_600_000;

/// Chance from a seed: `SplitMix64` (Steele 2014; in the public domain).
#[derive(Debug, Clone)]
pub(crate) struct Dice(u64);

impl Dice {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ 0x5851_f42d_4c95_7f2d)
    }

    pub(crate) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mixed = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// From 0 up to, and without, the bound.
    pub(crate) fn below(&mut self, bound: i64) -> i64 {
        let bound = u64::try_from(bound.max(1)).unwrap_or(1);
        i64::try_from(self.next() % bound).unwrap_or(0)
    }

    pub(crate) fn between(&mut self, from: i64, to: i64) -> i64 {
        from + self.below(to - from + 1)
    }

    pub(crate) fn percent(&mut self, chance: i64) -> bool {
        self.below(100) < chance
    }

    pub(crate) fn one_of<T: Clone>(&mut self, all: &[T]) -> T {
        let count = i64::try_from(all.len()).unwrap_or(1);
        all[usize::try_from(self.below(count)).unwrap_or(0)].clone()
    }

    /// Hundredths of a mg/dL.
    fn value(&mut self, from: i64, to: i64) -> i32 {
        i32::try_from(self.between(from, to) * 100).unwrap_or(10_000)
    }
}

/// A number that hangs on these and on nothing else.
fn hash(seed: u64, at: Ms, word: &str) -> Dice {
    let mut mixed = seed ^ u64::from_ne_bytes(at.to_ne_bytes()).rotate_left(17);
    for byte in word.bytes() {
        mixed = (mixed ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3);
    }
    Dice::new(mixed)
}

fn person(name: &str, first: bool, hours: Option<(i64, i64)>) -> Person {
    Person { name: name.to_owned(), hours, first }
}

fn reading(at: Ms, value: i32) -> Given {
    let range = if value <= 3_900 { Range::Below } else { Range::Number };
    Given { at, what: In::Reading { measured: at, value: value.max(3_900), range, signal: 0 } }
}

/// What may happen in a short story.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    VeryLow,
    Low,
    InRange,
    Exactly250,
    VeryHigh,
    Seen,
    TreatedLow,
    TreatedHigh,
    Prick,
    SilentHour,
    SameHour,
}

pub(crate) const KINDS: [Kind; 11] = [
    Kind::VeryLow,
    Kind::Low,
    Kind::InRange,
    Kind::Exactly250,
    Kind::VeryHigh,
    Kind::Seen,
    Kind::TreatedLow,
    Kind::TreatedHigh,
    Kind::Prick,
    Kind::SilentHour,
    Kind::SameHour,
];

/// How many stories of that length there are.
pub(crate) fn stories(length: u32) -> u64 {
    u64::try_from(KINDS.len()).unwrap_or(0).pow(length)
}

/// One of them by its number. Those who may be called, and how insulin is taken, hang on the number too.
pub(crate) fn story(number: u64, length: u32) -> Record {
    let mut settings = Settings::default();
    let kinds = u64::try_from(KINDS.len()).unwrap_or(1);
    if number.is_multiple_of(2) {
        settings.people = vec![person("Noor", false, None), person("Kim", false, None)];
    }
    if number.is_multiple_of(3) {
        settings.therapy = Therapy::Pump;
    }
    // From the night into the day, or by day.
    let from = DAY + if number % 5 < 2 { 5 * HOUR } else { 11 * HOUR };
    let mut given = vec![Given { at: from, what: In::Started }];
    let (mut at, mut value, mut rest) = (from, 11_000, number);
    given.push(reading(at, value));
    for place in 0..length {
        let kind = KINDS[usize::try_from(rest % kinds).unwrap_or(0)];
        rest /= kinds;
        match kind {
            Kind::SilentHour => at += HOUR,
            Kind::SameHour => {
                for _ in 0..12 {
                    at += 5 * MIN;
                    given.push(reading(at, value));
                }
            }
            Kind::Seen => given.push(Given { at: at + MIN, what: In::Seen { by: None } }),
            Kind::TreatedLow | Kind::TreatedHigh => {
                let side = if kind == Kind::TreatedLow { Side::Low } else { Side::High };
                let what = In::Line { line: place, at: at + 2 * MIN, note: Note::Treated(side) };
                given.push(Given { at: at + 2 * MIN, what });
            }
            Kind::Prick => {
                let meter = [4_500, 6_200, 11_000, 16_000][usize::try_from(number % 4).unwrap_or(0)];
                given.push(Given {
                    at: at + 3 * MIN,
                    what: In::Line { line: place, at: at + 3 * MIN, note: Note::Meter(meter) },
                });
            }
            _ => {
                value = match kind {
                    Kind::VeryLow => 4_900,
                    Kind::Low => 6_200,
                    Kind::Exactly250 => 25_000,
                    Kind::VeryHigh => 30_500,
                    _ => 11_000,
                };
                at += 5 * MIN;
                given.push(reading(at, value));
            }
        }
    }
    given.sort_by_key(|given| given.at);
    Record {
        name: format!("story {number} of length {length}"),
        settings,
        given,
        out: Vec::new(),
        stopped: None,
        from,
        until: at + 30 * MIN,
    }
}

/// Who answers a ring, how, and when: drawn by the seed, the time and the condition, so that other rings change
/// nothing.
pub(crate) fn answers(seed: u64, night: bool, people: &[Person], out: &Out, next_line: &mut u32) -> Vec<Given> {
    if !out.rings || out.event == "answer" {
        return Vec::new();
    }
    let mut dice = hash(seed, out.at, &format!("{}{}", out.condition, out.to.is_some()));
    if let Some(to) = &out.to {
        if out.event != "called" || !dice.percent(40) {
            return Vec::new();
        }
        let at = out.at + dice.between(1, 9) * MIN;
        let by = to.clone();
        let what = if dice.percent(25) { In::With { by } } else { In::Seen { by: Some(by) } };
        return vec![Given { at, what }];
    }
    // 80 % by day and 54 % by night, after 1 to 10 minutes.
    if !dice.percent(if night { 54 } else { 80 }) || out.event == "ended" {
        return Vec::new();
    }
    let at = out.at + dice.between(1, 10) * MIN + dice.below(60) * 1_000;
    let low = out.condition.contains("low") || out.condition == "caution";
    let high = out.condition.contains("high");
    let line = *next_line;
    *next_line += 1;
    let draw = dice.below(100);
    let units = i32::try_from(dice.between(1, 6) * 100).unwrap_or(100);
    let note = match draw {
        0..30 if low => Note::Treated(Side::Low),
        30..42 if low => Note::Carbohydrate(Some(1_500)),
        42..50 if low => Note::Meter(dice.value(40, 110)),
        0..15 if high => Note::Treated(Side::High),
        15..35 if high => Note::Insulin(Some(units)),
        35..42 if high => Note::Ketones(dice.one_of(&[10, 30, 80, 110, 200, 350])),
        42..46 if high => Note::Meter(dice.value(150, 330)),
        _ if draw >= 96 && !people.is_empty() => {
            return vec![Given { at, what: In::Seen { by: Some(people[0].name.clone()) } }];
        }
        _ if draw >= 90 => {
            let conditions = ["low", "high", "very_high", "recheck_high", "recheck_low"];
            let condition = conditions.into_iter().find(|one| *one == out.condition);
            let until = at + dice.between(30, 180) * MIN;
            return vec![Given { at, what: In::Mute { condition, until } }];
        }
        _ => return vec![Given { at, what: In::Seen { by: None } }],
    };
    vec![Given { at, what: In::Line { line, at, note } }]
}

/// A part of an open trace, as if each value had come when it was measured.
pub(crate) fn trace(name: &str, rows: &[(Ms, i32)], seed: u64) -> Record {
    let mut dice = hash(seed, rows[0].0, name);
    let mut settings = random_settings(&mut dice);
    let mut steps: Vec<Ms> = rows.windows(2).map(|pair| pair[1].0 - pair[0].0).collect();
    steps.sort_unstable();
    settings.cadence = steps.get(steps.len() / 2).copied().unwrap_or(5 * MIN).clamp(MIN, 15 * MIN);
    settings.signals = 1;
    let from = rows[0].0;
    let mut given = vec![Given { at: from, what: In::Started }];
    given.extend(rows.iter().map(|(at, value)| reading(*at, *value)));
    let until = rows[rows.len() - 1].0;
    Record {
        name: format!("{name} from {from} seed {seed}"),
        settings,
        given,
        out: Vec::new(),
        stopped: None,
        from,
        until,
    }
}

/// Whose watch it is, drawn.
pub(crate) fn random_settings(dice: &mut Dice) -> Settings {
    let mut people = Vec::new();
    if dice.percent(60) {
        people.push(person("Noor", dice.percent(25), None));
        if dice.percent(50) {
            let hours = dice.percent(30).then_some((8 * 60, 22 * 60));
            people.push(person("Kim", false, hours));
        }
    }
    let mut profiles = Vec::new();
    for (profile, chance) in [("pregnancy", 8), ("impaired_awareness", 12), ("child", 8), ("ketone_prone", 6)] {
        if dice.percent(chance) {
            profiles.push(profile);
        }
    }
    let therapies = [
        Therapy::Injections,
        Therapy::Injections,
        Therapy::Pump,
        Therapy::Pump,
        Therapy::SelfAdjusting,
        Therapy::Unknown,
    ];
    Settings {
        therapy: dice.one_of(&therapies),
        ketone_test: dice.one_of(&[
            KetoneTest::Blood,
            KetoneTest::Blood,
            KetoneTest::Blood,
            KetoneTest::Urine,
            KetoneTest::None,
        ]),
        people,
        quiet_hours: dice.percent(15).then_some((13 * 60, 15 * 60)),
        profiles,
        ..Settings::default()
    }
}
