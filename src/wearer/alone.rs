//! A pretend wearer alone with the real engine: readings go in, decisions come out, the wearer answers by their
//! habits, and that changes the body. Pretend time only; the same seed, habits and settings give the same life.
//!
//! Decisions are known by their condition and by what they are, never by their words.

use super::chance::{Chance, Purpose, whole};
use super::habits::{HIGH_MMOL_L, Habits, LOW_MMOL_L, Looks, feels_low, see_high, treat_low};
use super::life::{Deed, Life, SLEEPS_FROM_MIN, Why};
use super::person::{Means, Person};
use super::sensor::DAY_MIN;
use crate::domain::diary::{Amount, Kind, Note};
use crate::domain::glucose::Glucose;
use crate::domain::local::Zone;
use crate::domain::reading::{Reading, SourceId};
use crate::domain::time::{Span, Timestamp};
use crate::engine::Engine;
use crate::engine::effect::{Condition, Decision, Side, What};
use crate::engine::event::Event;
use crate::engine::policy::{Policy, SourceKind, SourcePolicy, Therapy};

/// Every life begins at 2026-01-05T00:00Z, a Monday.
pub const START: Timestamp = Timestamp::from_seconds(1_767_571_200);

/// A person looks at their sensor once before they lie down.
const BEDTIME_MIN: i32 = SLEEPS_FROM_MIN - 15;

/// Below this a bite is eaten before sleep, mmol/L (108 mg/dL; high risk of a low by night below 122: Diabetes Ther
/// 2020 11:915).
const BEDTIME_BITE_MMOL_L: f64 = 6.0;

/// What happened in a life.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Lived {
    /// Blood glucose every five minutes, mmol/L.
    pub blood: Vec<f64>,
    /// What the sensor said, and when.
    pub readings: Vec<(i32, Glucose)>,
    /// Rings for the wearer that ask for something: when, about what, and what they are.
    pub rings: Vec<(i32, Condition, What)>,
    /// Rings of the wearer's own hourly clock.
    pub hourly: Vec<i32>,
    /// What the wearer did.
    pub deeds: Vec<(i32, Deed)>,
}

/// A wearer and an engine.
pub struct Alone {
    life: Life,
    habits: Habits,
    engine: Option<Engine>,
    lived: Lived,
    /// When a high, or a low, will be looked at that was rung for.
    sees_high_at: Option<i32>,
    sees_low_at: Option<i32>,
    hourly_at: Option<i32>,
    told: usize,
}

/// The default settings for such a person.
#[must_use]
pub fn usual_policy(means: Means) -> Policy {
    let mut policy = Policy::new(Zone::UTC);
    policy.therapy = match means {
        Means::Pens => Therapy::Injections,
        Means::Pump => Therapy::Pump,
    };
    policy.sources = vec![SourcePolicy::new("sensor", SourceKind::Streaming)];
    policy
}

impl Alone {
    /// Begins at a midnight.
    #[must_use]
    pub fn new(person: Person, habits: Habits, policy: Policy) -> Self {
        let mut alone = Self {
            life: Life::new(person),
            habits,
            engine: habits.alerts.then(|| Engine::new(policy)),
            lived: Lived::default(),
            sees_high_at: None,
            sees_low_at: None,
            hourly_at: None,
            told: 0,
        };
        alone.happens(&Event::Started);
        alone
    }

    /// Lives so many days, and tells what happened in them.
    #[must_use]
    pub fn days(mut self, days: i32) -> Lived {
        for _ in 0..days * DAY_MIN {
            self.minute();
        }
        self.lived.deeds = self.life.deeds().to_vec();
        self.lived
    }

    fn minute(&mut self) {
        let minute = self.life.minute();
        if minute % super::sensor::CADENCE_MIN == 0 {
            self.lived.blood.push(self.life.blood_mmol_l());
        }
        let now = at(minute);
        while let Some(due) = self.engine.as_ref().and_then(Engine::next_deadline).filter(|due| *due < now) {
            self.happens_at(&Event::Tick, due);
        }
        if let Some(glucose) = self.life.reading() {
            self.lived.readings.push((minute, glucose));
            let rows = vec![Reading { source: SourceId(0), measured: now, glucose }];
            self.happens(&Event::Readings { rows, first_sight: false });
        } else {
            self.happens(&Event::Tick);
        }
        let mut chance = self.chance();
        self.look_unasked(&mut chance);
        self.look_hourly(&mut chance);
        self.answer(&mut chance);
        self.life.pass();
        self.tell(&mut chance);
    }

    /// The same minute draws the same numbers whatever happened before.
    fn chance(&self) -> Chance {
        Chance::of(self.life.person().seed, Purpose::Habits, self.life.minute().unsigned_abs().into())
    }

    /// What people do without being asked.
    fn look_unasked(&mut self, chance: &mut Chance) {
        let glances = chance.happens(self.habits.glances) && !self.life.asleep();
        let at_bedtime = self.life.minute().rem_euclid(DAY_MIN) == BEDTIME_MIN;
        if glances || at_bedtime {
            see_high(&mut self.life, &self.habits, chance);
            let low = if at_bedtime { BEDTIME_BITE_MMOL_L } else { LOW_MMOL_L };
            if let Some(seen) = self.life.seen_mmol_l().filter(|seen| *seen < low) {
                if seen < LOW_MMOL_L {
                    self.treat_low(chance);
                } else {
                    self.life.bite(15.0);
                }
            }
        }
        if feels_low(&self.life, chance) && self.treat_low(chance) {
            self.note(Kind::Symptoms);
        }
    }

    fn look_hourly(&mut self, chance: &mut Chance) {
        if self.hourly_at.is_none_or(|due| due > self.life.minute()) {
            return;
        }
        self.hourly_at = None;
        if self.life.seen_mmol_l().is_some_and(|seen| seen <= HIGH_MMOL_L) {
            return;
        }
        self.hourly_at = Some(self.life.minute() + 60);
        if !self.life.asleep() {
            self.lived.hourly.push(self.life.minute());
            if let Some(delay) = self.habits.hears(false, chance) {
                self.sees_high_at.get_or_insert(self.life.minute() + delay);
            }
        }
    }

    /// What was rung for is looked at.
    fn answer(&mut self, chance: &mut Chance) {
        let minute = self.life.minute();
        if self.sees_low_at.take_if(|due| *due <= minute).is_some() {
            // One that is foreseen is treated while it is near.
            if self.life.seen_mmol_l().is_some_and(|seen| seen < LOW_MMOL_L + 0.5) {
                self.treat_low(chance);
            }
            self.happens(&Event::Seen { which: None, until: None, by: None });
        }
        if self.sees_high_at.take_if(|due| *due <= minute).is_some() {
            see_high(&mut self.life, &self.habits, chance);
            self.happens(&Event::Seen { which: None, until: None, by: None });
        }
    }

    fn treat_low(&mut self, chance: &mut Chance) -> bool {
        let last = self.life.deeds().iter().rev().find(|(_, deed)| matches!(deed, Deed::Sugar(_))).map(|(at, _)| *at);
        treat_low(&mut self.life, last, chance)
    }

    /// What was done in this minute is noted, or not.
    fn tell(&mut self, chance: &mut Chance) {
        let new = self.life.deeds().get(self.told..).unwrap_or_default().to_vec();
        self.told += new.len();
        for (_, deed) in new {
            if !chance.happens(self.habits.notes) {
                continue;
            }
            match deed {
                Deed::Dosed(dose) => self.note(Kind::Insulin(Some(Amount(whole(dose.units * 100.0))))),
                Deed::Ate(grams) | Deed::Sugar(grams) => {
                    self.note(Kind::Carbohydrate(Some(Amount(whole(grams) * 100))));
                }
                Deed::Site => self.note(Kind::Site),
                Deed::Exercised => self.note(Kind::Exercise),
                Deed::Sensor => self.note(Kind::SensorStart(None)),
            }
        }
    }

    fn note(&mut self, kind: Kind) {
        let at = at(self.life.minute());
        self.happens(&Event::Noted(Note { at, kind, words: String::new() }));
    }

    fn happens(&mut self, event: &Event) {
        self.happens_at(event, at(self.life.minute()));
    }

    fn happens_at(&mut self, event: &Event, now: Timestamp) {
        let Some(engine) = &mut self.engine else { return };
        for decision in engine.handle(event, now) {
            self.hear(&decision);
        }
    }

    fn hear(&mut self, decision: &Decision) {
        let asks = matches!(decision.what, What::Raised | What::Repeated | What::Prompt | What::Escalated);
        if !asks || !decision.rings || !decision.to.is_wearer() {
            return;
        }
        let minute = self.life.minute();
        self.lived.rings.push((minute, decision.condition, decision.what));
        let is_look = decision.what == What::Prompt && decision.condition.side() != Some(Side::Low);
        if matches!(decision.condition, Condition::High | Condition::VeryHigh) && self.habits.looks == Looks::Hourly {
            self.hourly_at.get_or_insert(minute + 60);
        }
        if is_look && self.habits.looks != Looks::Heeded {
            return;
        }
        // One number for each condition of the minute, so that a ring is heard or not whatever else rings.
        let number = minute.unsigned_abs() * 64 + decision.condition as u32;
        let mut chance = Chance::of(self.life.person().seed, Purpose::Ears, number.into());
        let Some(delay) = self.habits.hears(self.life.asleep(), &mut chance) else { return };
        let due = match decision.condition.side() {
            Some(Side::Low) => &mut self.sees_low_at,
            Some(Side::High) => &mut self.sees_high_at,
            None if is_look => &mut self.sees_high_at,
            None => return,
        };
        due.get_or_insert(minute + delay);
    }
}

impl Lived {
    /// Doses for highs.
    pub fn for_highs(&self) -> impl Iterator<Item = i32> {
        self.deeds.iter().filter_map(|(at, deed)| match deed {
            Deed::Dosed(dose) if dose.why == Why::High => Some(*at),
            _ => None,
        })
    }
}

/// The instant of a minute of a life.
#[must_use]
pub fn at(minute: i32) -> Timestamp {
    START + Span::minutes(minute.into())
}
