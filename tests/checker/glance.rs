//! What the promises mean by their words, minute by minute: fresh, rising, back, a stretch. Derived from what went in
//! and was known at that minute; judges nothing.

use super::record::{HOUR, In, MIN, Ms, Note, Range, Record, Side};
use super::trend::{rate, run_since, same_since, see_low, stretch};

/// What was known at one minute.
#[derive(Debug, Clone, Default)]
#[expect(clippy::struct_excessive_bools, reason = "each is a word of its own in the promises")]
pub(crate) struct Now {
    pub(crate) at: Ms,
    /// mg/dL of the newest reading; 0 before the first.
    pub(crate) value: f64,
    pub(crate) measured: Ms,
    pub(crate) signal: u16,
    /// The sensor could not give a number, or gave the lowest it has.
    pub(crate) floor: bool,
    pub(crate) fresh: bool,
    /// mg/dL a minute, fitted over the last 15 to 20 minutes of the same signal.
    pub(crate) rate: Option<f64>,
    /// Somebody watches, and at least one channel works.
    pub(crate) watched: bool,
    /// Since when it is below 70 and not back.
    pub(crate) low_since: Option<Ms>,
    /// When the last reading below 70 was measured.
    pub(crate) last_low: Ms,
    /// Since when it is back after the last low.
    pub(crate) back: Option<Ms>,
    /// Since when a stretch at 250 or more goes on.
    pub(crate) very_high_since: Option<Ms>,
    /// The same of 180.
    pub(crate) high_since: Option<Ms>,
    /// The same number, within 2, for so long.
    pub(crate) same_for: Ms,
    /// Within 0.5 a minute for 30 minutes.
    pub(crate) flat: bool,
    /// Since when readings below 54 go on.
    pub(crate) very_low_since: Option<Ms>,
}

impl Now {
    pub(crate) fn below(&self, limit: f64) -> bool {
        self.fresh && self.value < limit
    }

    pub(crate) fn between(&self, low: f64, high: f64) -> bool {
        self.fresh && self.value >= low && self.value < high
    }

    pub(crate) fn at_least(&self, limit: f64) -> bool {
        self.fresh && self.value >= limit
    }

    pub(crate) fn falls(&self, by: f64) -> bool {
        self.rate.is_some_and(|rate| rate <= -by)
    }

    pub(crate) fn rises(&self, by: f64) -> bool {
        self.rate.is_some_and(|rate| rate >= by)
    }
}

/// A line of the diary as it stood for a while.
#[derive(Debug, Clone)]
pub(crate) struct Line {
    /// Known in this form from then ...
    pub(crate) from: Ms,
    /// ... and no more from then on.
    pub(crate) to: Ms,
    /// Its own time.
    pub(crate) at: Ms,
    pub(crate) note: Note,
    /// It took the place of another.
    pub(crate) amended: bool,
}

/// One measurement.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Point {
    pub(crate) measured: Ms,
    pub(crate) arrived: Ms,
    pub(crate) value: f64,
    pub(crate) signal: u16,
    pub(crate) floor: bool,
}

/// A record, and what follows from it.
pub(crate) struct Sight<'a> {
    pub(crate) record: &'a Record,
    pub(crate) minutes: Vec<Now>,
    pub(crate) lines: Vec<Line>,
    pub(crate) readings: Vec<Point>,
    /// Stretches nobody watched.
    pub(crate) unwatched: Vec<(Ms, Ms)>,
    /// Stretches in which no channel worked.
    pub(crate) unreached: Vec<(Ms, Ms)>,
}

impl<'a> Sight<'a> {
    pub(crate) fn new(record: &'a Record) -> Self {
        let readings = readings(record);
        let mut sight = Self {
            record,
            minutes: Vec::new(),
            lines: lines(record),
            readings,
            unwatched: record
                .given
                .iter()
                .filter_map(|given| match given.what {
                    In::Unwatched { from, .. } => Some((from, given.at)),
                    _ => None,
                })
                .collect(),
            unreached: unreached(record),
        };
        sight.minutes = sight.every_minute();
        sight
    }

    fn every_minute(&self) -> Vec<Now> {
        let mut known: Vec<Point> = Vec::new();
        let mut place = 0;
        let mut minutes: Vec<Now> = Vec::new();
        let mut now = Now::default();
        for at in self.moments() {
            let first_new = place;
            while let Some(reading) = self.readings.get(place).filter(|reading| reading.arrived <= at) {
                let order = known.partition_point(|other| other.measured <= reading.measured);
                known.insert(order, *reading);
                place += 1;
            }
            if place > first_new {
                self.see(&mut now, &known, at);
            }
            now.at = at;
            let longest = (15 * MIN).max(self.record.settings.cadence * 17 / 10);
            now.fresh = now.measured > 0 && at - now.measured <= longest;
            now.watched = !inside(&self.unwatched, at) && !inside(&self.unreached, at);
            minutes.push(now.clone());
        }
        minutes
    }

    /// Every minute, and every moment at which something went in or came out.
    fn moments(&self) -> Vec<Ms> {
        let (from, until) = (self.record.from, self.record.until);
        let count = usize::try_from((until - from).max(0) / MIN).unwrap_or(0);
        let mut moments: Vec<Ms> = (from..=until).step_by(usize::try_from(MIN).unwrap_or(1)).take(count + 1).collect();
        moments.extend(self.record.given.iter().map(|given| given.at));
        moments.extend(self.record.out.iter().map(|out| out.at));
        moments.retain(|at| (from..=until).contains(at));
        moments.sort_unstable();
        moments.dedup();
        moments
    }

    /// What new readings change.
    fn see(&self, now: &mut Now, known: &[Point], at: Ms) {
        let Some(newest) = known.last().copied() else { return };
        now.value = newest.value;
        now.measured = newest.measured;
        now.signal = newest.signal;
        now.floor = newest.floor;
        let own: Vec<Point> = known.iter().rev().take(40).filter(|one| one.signal == newest.signal).copied().collect();
        now.rate = rate(&own, self.record.settings.cadence);
        now.same_for = newest.measured - same_since(known, newest);
        let half_hour: Vec<&Point> = own.iter().take_while(|one| newest.measured - one.measured <= 30 * MIN).collect();
        let spread = half_hour.iter().map(|one| (one.value - newest.value).abs()).fold(0.0, f64::max);
        now.flat = half_hour.len() >= 3 && spread <= 15.0 && now.rate.is_some_and(|rate| rate.abs() <= 0.5);
        see_low(now, known, at);
        now.very_low_since = run_since(known, |value| value < 54.0);
        now.very_high_since = stretch(known, self.record.settings.asked_from());
        now.high_since = stretch(known, f64::from(self.record.settings.limits[2]) / 100.0 + 0.001);
    }

    pub(crate) fn index(&self, at: Ms) -> usize {
        self.minutes.partition_point(|now| now.at <= at).saturating_sub(1)
    }

    /// What was known at that time.
    pub(crate) fn at(&self, at: Ms) -> &Now {
        &self.minutes[self.index(at)]
    }

    /// The minutes of a stretch.
    pub(crate) fn span(&self, from: Ms, to: Ms) -> &[Now] {
        let (from, to) = (self.index(from), self.index(to));
        self.minutes.get(from..=to).unwrap_or_default()
    }

    /// Is the whole stretch within the record, and watched?
    pub(crate) fn watched(&self, from: Ms, to: Ms) -> bool {
        from >= self.record.from && to <= self.record.until && self.span(from, to).iter().all(|now| now.watched)
    }

    /// Lines that stood in the diary at that time.
    pub(crate) fn known(&self, at: Ms) -> impl Iterator<Item = &Line> {
        self.lines.iter().filter(move |line| line.from <= at && at < line.to && line.at <= at + MIN)
    }

    pub(crate) fn low_treatments(&self, since: Ms, at: Ms) -> impl Iterator<Item = &Line> {
        self.known(at).filter(move |line| {
            line.at >= since && matches!(line.note, Note::Treated(Side::Low) | Note::Carbohydrate(_))
        })
    }

    pub(crate) fn doses(&self, since: Ms, at: Ms) -> impl Iterator<Item = &Line> {
        self.known(at)
            .filter(move |line| line.at >= since && matches!(line.note, Note::Treated(Side::High) | Note::Insulin(_)))
    }

    pub(crate) fn meters(&self, since: Ms, at: Ms) -> impl Iterator<Item = (Ms, f64)> {
        self.known(at).filter(move |line| line.at >= since).filter_map(|line| match line.note {
            Note::Meter(value) => Some((line.at, f64::from(value) / 100.0)),
            _ => None,
        })
    }

    /// The last blood ketones, and when.
    pub(crate) fn ketones(&self, at: Ms) -> Option<(Ms, i32)> {
        let all = self.known(at).filter_map(|line| match line.note {
            Note::Ketones(value) => Some((line.at, value)),
            _ => None,
        });
        all.max_by_key(|(at, _)| *at)
    }

    /// Answers between two times: seen, "I have it", treated, or a note that treats. Whose, and when.
    pub(crate) fn answers(&self, from: Ms, to: Ms) -> Vec<(Ms, Option<&str>)> {
        let mut found: Vec<(Ms, Option<&str>)> = Vec::new();
        for given in self.record.given.iter().filter(|given| given.at >= from && given.at <= to) {
            match &given.what {
                In::Seen { by } => found.push((given.at, by.as_deref())),
                In::With { by } => found.push((given.at, Some(by))),
                In::Line { at, note: note @ (Note::Treated(_) | Note::Carbohydrate(_) | Note::Insulin(_)), .. } => {
                    // One that was deleted since is none (M3).
                    let stands = |line: &&Line| line.from == given.at && line.at == *at && &line.note == note;
                    if self.lines.iter().find(stands).is_some_and(|line| line.to > to) {
                        found.push((given.at, None));
                    }
                }
                _ => {}
            }
        }
        found
    }

    /// The same, of those that answer what a low, a high, or anything else asks: insulin answers no low, and food no high.
    pub(crate) fn answers_to(&self, side: Option<Side>, from: Ms, to: Ms) -> Vec<(Ms, Option<&str>)> {
        let treats = |note: &Note| match note {
            Note::Treated(of) => Some(*of),
            Note::Carbohydrate(_) => Some(Side::Low),
            Note::Insulin(_) => Some(Side::High),
            _ => None,
        };
        let is_other = |at: Ms| {
            let of_then = self.record.given.iter().filter(|given| given.at == at);
            let mut said = of_then.filter_map(|given| match &given.what {
                In::Seen { .. } | In::With { .. } => Some(None),
                In::Line { note, .. } => treats(note).map(Some),
                _ => None,
            });
            said.all(|said| said.is_some() && said != side)
        };
        self.answers(from, to).into_iter().filter(|(at, _)| !is_other(*at)).collect()
    }

    /// Is a mode on?
    pub(crate) fn mode(&self, name: &str, at: Ms) -> bool {
        let mut on = None;
        for given in self.record.given.iter().take_while(|given| given.at <= at) {
            match given.what {
                In::Mode { mode, until } if mode == name => on = Some(until),
                In::ModeOff { mode } if mode == name => on = None,
                _ => {}
            }
        }
        on.is_some_and(|until| at < until)
    }

    /// Lows that are not felt, or hidden, call as usual whatever else holds.
    pub(crate) fn hidden_lows(&self, at: Ms) -> bool {
        let settings = &self.record.settings;
        settings.has("impaired_awareness") || settings.has("child") || self.mode("alcohol", at)
    }

    /// A very low that two finger-pricks have denied holds for an hour (M2).
    pub(crate) fn denied(&self, at: Ms) -> bool {
        if self.hidden_lows(at) || self.effect_to_come(at) > 0.5 {
            return false;
        }
        // One that says that it is low takes back what those before it said.
        let low = self.meters(at - 2 * HOUR, at).filter(|(_, meter)| *meter < 70.0).map(|(when, _)| when).max();
        let denials: Vec<Ms> = self
            .meters(low.map_or(at - 2 * HOUR, |low| low + 1), at)
            .filter(|(when, meter)| {
                let sensor = self.at(*when);
                *meter >= 80.0 && sensor.fresh && *meter >= sensor.value + 20.0
            })
            .map(|(when, _)| when)
            .collect();
        denials.iter().any(|second| {
            at - second < HOUR && denials.iter().any(|first| (15 * MIN..=HOUR).contains(&(second - first)))
        })
    }

    /// The largest share of a noted dose that is still to come.
    pub(crate) fn effect_to_come(&self, at: Ms) -> f64 {
        self.doses(at - 6 * HOUR, at).map(|dose| to_come(at - dose.at)).fold(0.0, f64::max)
    }

    /// Rings of the wearer that fit.
    pub(crate) fn rings(&self, fits: impl Fn(&super::record::Out) -> bool) -> Vec<Ms> {
        self.record.out.iter().filter(|out| out.rings && out.to.is_none() && fits(out)).map(|out| out.at).collect()
    }
}

/// The share of a rapid dose's effect that is still to come: the table of docs/insulin.md, in straight lines between.
pub(crate) fn to_come(after: Ms) -> f64 {
    const HOURLY: [f64; 8] = [1.0, 0.84, 0.48, 0.23, 0.10, 0.04, 0.01, 0.0];
    let (hour, rest) = (after.max(0) / HOUR, after.max(0) % HOUR);
    let at = |hour: i64| usize::try_from(hour).ok().and_then(|hour| HOURLY.get(hour)).copied().unwrap_or(0.0);
    let part = minutes(rest) / 60.0;
    at(hour) * (1.0 - part) + at(hour + 1) * part
}

/// A length in minutes.
pub(crate) fn minutes(span: Ms) -> f64 {
    f64::from(i32::try_from(span / 1_000).unwrap_or(i32::MAX)) / 60.0
}

fn inside(stretches: &[(Ms, Ms)], at: Ms) -> bool {
    stretches.iter().any(|(from, to)| *from <= at && at < *to)
}

fn readings(record: &Record) -> Vec<Point> {
    let found = record.given.iter().filter_map(|given| match given.what {
        In::Reading { measured, value, range, signal } => Some(Point {
            measured,
            arrived: given.at,
            value: f64::from(value) / 100.0,
            signal,
            floor: range == Range::Below || value <= 4_000,
        }),
        _ => None,
    });
    found.collect()
}

fn unreached(record: &Record) -> Vec<(Ms, Ms)> {
    let mut found = Vec::new();
    let mut since = None;
    for given in &record.given {
        match given.what {
            In::Channels { working: 0, .. } => {
                since.get_or_insert(given.at);
            }
            In::Channels { .. } => found.extend(since.take().map(|since| (since, given.at))),
            _ => {}
        }
    }
    found.extend(since.map(|since| (since, Ms::MAX)));
    found
}

fn lines(record: &Record) -> Vec<Line> {
    let mut open: Vec<(u32, Line)> = Vec::new();
    let mut done = Vec::new();
    for given in &record.given {
        match &given.what {
            In::Line { line, at, note } => {
                let made = Line { from: given.at, to: Ms::MAX, at: *at, note: note.clone(), amended: false };
                open.push((*line, made));
            }
            In::Amended { line, at, note } => {
                if let Some((_, old)) = open.iter_mut().find(|(number, _)| number == line) {
                    let new = Line { from: given.at, to: Ms::MAX, at: *at, note: note.clone(), amended: true };
                    let mut old = std::mem::replace(old, new);
                    old.to = given.at;
                    done.push(old);
                }
            }
            In::Deleted { line } => {
                if let Some(place) = open.iter().position(|(number, _)| number == line) {
                    let (_, mut old) = open.remove(place);
                    old.to = given.at;
                    done.push(old);
                }
            }
            _ => {}
        }
    }
    done.extend(open.into_iter().map(|(_, line)| line));
    done.sort_by_key(|line| line.from);
    done
}
