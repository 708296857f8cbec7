//! Pretend days: glucose made of meals, doses, drifts, flats and falls, and whatever may happen beside it, all drawn
//! from a seed. Draws only, and judges nothing.

use super::lives::{DAY, Dice, random_settings};
use super::record::{Given, HOUR, In, MIN, Ms, Note, Range, Record, Settings, Side};

/// Length of a pretend day.
const HOURS: i64 = 30;

struct Day {
    dice: Dice,
    settings: Settings,
    given: Vec<Given>,
    from: Ms,
    until: Ms,
    lines: u32,
}

/// One pretend day.
pub(crate) fn day(seed: u64) -> Record {
    let mut dice = Dice::new(seed);
    let mut settings = random_settings(&mut dice);
    settings.signals = if dice.percent(12) { 2 } else { 1 };
    settings.cadence = if dice.percent(8) { 15 * MIN } else { 5 * MIN };
    let from = DAY + dice.below(24) * HOUR;
    let mut day = Day { dice, settings, given: Vec::new(), from, until: from + HOURS * HOUR, lines: 1 };
    day.given.push(Given { at: from, what: In::Started });
    let curve = day.curve();
    day.readings(&curve);
    if seed % 4 != 3 {
        day.notes(&curve);
    }
    // One in four is a day on which nobody does anything.
    if seed % 4 != 3 {
        day.life();
    }
    day.trouble();
    day.given.sort_by_key(|given| given.at);
    Record {
        name: format!("pretend day {seed}"),
        settings: day.settings,
        given: day.given,
        out: Vec::new(),
        stopped: None,
        from: day.from,
        until: day.until,
    }
}

impl Day {
    fn any_time(&mut self) -> Ms {
        self.from + self.dice.below((self.until - self.from) / MIN - 60) * MIN
    }

    /// Values each minute: stretches that begin where the one before them ended.
    fn curve(&mut self) -> Vec<f64> {
        let minutes = HOURS * 60;
        let mut curve: Vec<f64> = Vec::new();
        let mut value = 110.0;
        while i64::try_from(curve.len()).unwrap_or(0) < minutes {
            let length = self.dice.between(30, 240);
            let target = match self.dice.below(14) {
                0 => 40.0,
                1 => self.draw(40, 53),
                2 | 3 => self.draw(54, 69),
                4 => self.draw(70, 79),
                5 | 6 => self.draw(80, 179),
                7 | 8 => self.draw(181, 249),
                9 => 250.0,
                10 | 11 => self.draw(251, 330),
                12 => self.draw(331, 450),
                _ => value,
            };
            // On the way for a while, and then flat, wavy or drifting.
            let way = self.dice.between(15, 90).min(length);
            let drift = self.draw(-30, 30) / 100.0 * if self.dice.percent(40) { 1.0 } else { 0.0 };
            let wave = if self.dice.percent(50) { 2.0 } else { 0.0 };
            let start = value;
            for minute in 0..length {
                let part = (as_f64(minute) / as_f64(way)).min(1.0);
                let after = as_f64((minute - way).max(0));
                let noise = if wave > 0.0 { self.draw(-10, 10) / 10.0 * wave } else { 0.0 };
                value = (start + (target - start) * part + drift * after).clamp(39.0, 480.0);
                curve.push((value + noise).clamp(39.0, 480.0));
            }
        }
        curve
    }

    fn draw(&mut self, from: i64, to: i64) -> f64 {
        as_f64(self.dice.between(from, to))
    }

    fn readings(&mut self, curve: &[f64]) {
        let cadence = self.settings.cadence / MIN;
        // Stretches without a signal, some of which come late as a batch.
        let mut holes: Vec<(i64, i64, bool)> = Vec::new();
        while self.dice.percent(45) {
            let start = self.dice.below(HOURS * 60 - 60);
            let length = if self.dice.percent(15) { self.dice.between(240, 900) } else { self.dice.between(20, 130) };
            holes.push((start, start + length, self.dice.percent(50)));
        }
        if self.dice.percent(6) {
            // A sensor with holes all day.
            holes.extend((0..HOURS).map(|hour| (hour * 60 + 10, hour * 60 + 50, false)));
        }
        for minute in (0..HOURS * 60).step_by(usize::try_from(cadence).unwrap_or(5)) {
            let value = curve[usize::try_from(minute).unwrap_or(0)];
            let measured = self.from + minute * MIN;
            let hole = holes.iter().find(|(from, to, _)| (*from..*to).contains(&minute));
            let at = match hole {
                None => measured,
                Some((_, to, true)) => self.from + ((to + cadence - 1) / cadence) * cadence * MIN,
                Some(_) => continue,
            };
            self.reading(at, measured, value, 0);
            if self.settings.signals > 1 && minute > 8 * 60 && minute < 12 * 60 {
                let other = if value > 150.0 { value - 90.0 } else { value + 80.0 };
                self.reading(at + 2 * MIN, measured + 2 * MIN, other, 1);
            }
        }
    }

    fn reading(&mut self, at: Ms, measured: Ms, value: f64, signal: u16) {
        let range = if value < 40.0 {
            Range::Below
        } else if value > 400.0 {
            Range::Above
        } else {
            Range::Number
        };
        let value = match range {
            Range::Below => 3_900,
            Range::Above => 40_100,
            Range::Number => hundredths(value),
        };
        if at <= self.until {
            self.given.push(Given { at, what: In::Reading { measured, value, range, signal } });
        }
    }

    fn line(&mut self, noted: Ms, at: Ms, note: Note) {
        let line = self.lines;
        self.lines += 1;
        self.given.push(Given { at: noted, what: In::Line { line, at, note } });
        // Some lines are amended or deleted later.
        let later = noted + self.dice.between(3, 90) * MIN;
        match self.dice.below(100) {
            0..8 => self.given.push(Given { at: later, what: In::Deleted { line } }),
            8..14 => {
                let (to, note) = (at - self.dice.between(5, 60) * MIN, self.note_of(line));
                if let Some(note) = note {
                    self.given.push(Given { at: later, what: In::Amended { line, at: to, note } });
                }
            }
            _ => {}
        }
    }

    fn note_of(&self, wanted: u32) -> Option<Note> {
        self.given.iter().find_map(|given| match &given.what {
            In::Line { line, note, .. } if *line == wanted => Some(note.clone()),
            _ => None,
        })
    }

    /// Notes that fit what the curve does, and some that do not.
    fn notes(&mut self, curve: &[f64]) {
        for _ in 0..self.dice.between(3, 16) {
            let at = self.any_time();
            let value = curve[usize::try_from((at - self.from) / MIN).unwrap_or(0)];
            let units = i32::try_from(self.dice.between(1, 9) * 100).unwrap_or(100);
            let ketones = [10, 30, 50, 60, 90, 150, 160, 270, 300, 450, 1_200];
            let meter = hundredths((value + self.draw(-60, 80)).clamp(40.0, 400.0));
            let symptoms = ["vomiting", "stomach pain", "fast breathing", "drowsy", "shaky"];
            let note = match self.dice.below(20) {
                0..2 => Note::Carbohydrate(Some(4_000)),
                2..5 => Note::Insulin(Some(units)),
                5 => Note::Insulin(Some(if self.dice.percent(50) { 40_000 } else { 3_000 })),
                6 => Note::LongActing(Some(1_400)),
                7..9 => Note::Meter(meter),
                9..12 => Note::Ketones(self.dice.one_of(&ketones)),
                12 => Note::Urine(self.dice.one_of(&["negative", "trace", "moderate", "large"])),
                13..15 => Note::Symptoms(self.dice.one_of(&symptoms)),
                15 => Note::Exercise,
                16 => Note::Site,
                17 => Note::Treated(if value < 100.0 { Side::Low } else { Side::High }),
                18 if self.dice.percent(20) => Note::SensorOff,
                18 if self.dice.percent(20) => Note::SensorOn,
                _ => Note::Insulin(None),
            };
            // Most are noted at once, some with an earlier time of their own.
            let late = if self.dice.percent(15) { self.dice.between(5, 400) } else { 0 };
            let own = (at - late * MIN).max(self.from);
            self.line(at, own, note);
        }
        self.after_the_curve(curve);
        // Whoever is told of two signals pricks a finger.
        if self.settings.signals > 1 {
            for minute in [600, 680] {
                let at = self.from + minute * MIN + 3 * MIN;
                let value = curve[usize::try_from(minute).unwrap_or(0)];
                let other = if value > 150.0 { value - 90.0 } else { value + 80.0 };
                let meter = self.dice.one_of(&[value, other]) + self.draw(-6, 6);
                self.line(at, at, Note::Meter(hundredths(meter.max(40.0))));
            }
        }
    }

    /// Treatments where it is low or high, again and again.
    fn after_the_curve(&mut self, curve: &[f64]) {
        let eager = self.dice.between(0, 60);
        let mut minute = 20;
        while minute < HOURS * 60 - 60 {
            let value = curve[usize::try_from(minute).unwrap_or(0)];
            let at = self.from + minute * MIN;
            let mut step = 15;
            if value < 70.0 && self.dice.percent(eager) {
                let note = self.dice.one_of(&[
                    Note::Treated(Side::Low),
                    Note::Treated(Side::Low),
                    Note::Carbohydrate(Some(1_500)),
                ]);
                let own = if self.dice.percent(6) {
                    (at - self.dice.between(60, 300) * MIN).max(self.from)
                } else {
                    at - self.dice.below(2) * 7 * MIN
                };
                self.line(at, own, note);
                if value < 54.0 && self.dice.percent(8) {
                    // Two finger-pricks that deny it, a quarter of an hour apart.
                    for later in [3, 20] {
                        self.line(at + later * MIN, at + later * MIN, Note::Meter(hundredths(value + 45.0)));
                    }
                    step = 90;
                } else if self.dice.percent(20) {
                    self.line(at + 4 * MIN, at + 4 * MIN, Note::Meter(hundredths(value + 35.0)));
                }
            } else if value >= 230.0 && self.dice.percent(eager) {
                if self.dice.percent(35) {
                    self.line(at - 5 * MIN, at - 5 * MIN, Note::Carbohydrate(Some(5_000)));
                }
                let note = self.dice.one_of(&[Note::Treated(Side::High), Note::Insulin(Some(300))]);
                self.line(at, at, note);
                step = 60;
            }
            minute += step + self.dice.below(10);
        }
    }

    /// Answers out of the blue, modes, mutes.
    fn life(&mut self) {
        for _ in 0..self.dice.below(4) {
            let at = self.any_time();
            let mode = self.dice.one_of(&["driving", "exercise", "alcohol", "sick", "sick", "doubted"]);
            let until = at + self.dice.between(1, 10) * HOUR;
            self.given.push(Given { at, what: In::Mode { mode, until } });
            if self.dice.percent(25) {
                let off = at + self.dice.between(20, 200) * MIN;
                self.given.push(Given { at: off, what: In::ModeOff { mode } });
            }
        }
        if self.settings.has("pregnancy") || self.settings.has("ketone_prone") {
            let at = self.from + self.dice.between(60, 600) * MIN;
            self.given.push(Given { at, what: In::Mode { mode: "sick", until: at + 11 * HOUR } });
        }
        for _ in 0..self.dice.below(4) {
            let at = self.any_time();
            let condition = self.dice.one_of(&["low", "very_low", "high", "very_high", "recheck_high", "unnoted_rise"]);
            let until = at + self.dice.between(20, 240) * MIN;
            self.given.push(Given { at, what: In::Mute { condition: Some(condition), until } });
        }
        for _ in 0..self.dice.below(6) {
            let at = self.any_time();
            self.given.push(Given { at, what: In::Seen { by: None } });
        }
    }

    /// Channels that flap, a computer that sleeps, clocks that are set.
    fn trouble(&mut self) {
        if self.dice.percent(15) {
            let mut at = self.any_time();
            for _ in 0..self.dice.between(2, 10) {
                self.given.push(Given { at, what: In::Channels { working: 1, failing: 1 } });
                let back = at + self.dice.between(2, 12) * MIN;
                self.given.push(Given { at: back, what: In::Channels { working: 2, failing: 0 } });
                at = back + self.dice.between(2, 15) * MIN;
            }
        }
        if self.dice.percent(15) {
            let from = self.any_time();
            let to = (from + self.dice.between(15, 240) * MIN).min(self.until - 10 * MIN);
            let slept = self.dice.percent(60);
            // What came in between is taken in when watching goes on; what a person did is not lost.
            for given in &mut self.given {
                if given.at > from && given.at <= to {
                    given.at = to + 1_000;
                }
            }
            // A wish that would be over by then is none.
            self.given.retain(|given| match given.what {
                In::Mode { until, .. } | In::Mute { until, .. } => until > given.at + MIN,
                _ => true,
            });
            self.given.push(Given { at: to, what: In::Unwatched { from, slept } });
        }
        if self.dice.percent(5) {
            let at = self.any_time();
            let by = self.dice.between(-12, 12) * MIN;
            self.given.push(Given { at, what: In::ClockStepped { by } });
        }
    }
}

fn as_f64(number: i64) -> f64 {
    f64::from(i32::try_from(number).unwrap_or(0))
}

#[expect(clippy::cast_possible_truncation, reason = "a glucose is a small number")]
fn hundredths(value: f64) -> i32 {
    (value.round() * 100.0) as i32
}
