//! The judge itself: for every promise a small record that keeps it, and the same with one thing changed that breaks
//! it. Here stand the records about lows.

use super::glance::Sight;
use super::lives::DAY;
use super::record::{Given, HOUR, In, MIN, Ms, Note, Out, Person, Range, Record, Settings, Side};
use super::verdict::Verdicts;

/// Noon of an invented day, from which the minutes of these records count.
const NOON: Ms = DAY + 12 * HOUR;

/// A record that is written down by hand.
pub(super) struct Build {
    pub(super) record: Record,
    lines: u32,
}

/// A promise, and a record that keeps it, or that breaks it.
pub(super) type Case = (&'static str, fn(&mut Build, bool));

impl Build {
    fn new() -> Self {
        let record = Record {
            name: "written by hand".to_owned(),
            settings: Settings::default(),
            from: NOON,
            until: NOON,
            ..Record::default()
        };
        Self { record, lines: 0 }
    }

    /// At another hour of the day.
    pub(super) fn begins(&mut self, hour: i64) {
        self.record.from = DAY + hour * HOUR;
        self.record.until = self.record.from;
    }

    pub(super) fn at(&self, minute: i64) -> Ms {
        self.record.from + minute * MIN
    }

    pub(super) fn give(&mut self, minute: i64, what: In) {
        let at = self.at(minute);
        self.record.given.push(Given { at, what });
        self.record.until = self.record.until.max(at);
    }

    pub(super) fn read(&mut self, minute: i64, value: i64) {
        self.read_from(minute, value, 0);
    }

    pub(super) fn read_from(&mut self, minute: i64, value: i64, signal: u16) {
        let measured = self.at(minute);
        let value = i32::try_from(value * 100).unwrap();
        self.give(minute, In::Reading { measured, value, range: Range::Number, signal });
    }

    /// Every five minutes, in a straight line.
    pub(super) fn line(&mut self, from: i64, to: i64, first: i64, last: i64) {
        for minute in (from..=to).step_by(5) {
            let value = if to == from { first } else { first + (last - first) * (minute - from) / (to - from) };
            self.read(minute, value);
        }
    }

    pub(super) fn flat(&mut self, from: i64, to: i64, value: i64) {
        self.line(from, to, value, value);
    }

    pub(super) fn note(&mut self, minute: i64, note: Note) {
        self.note_of(minute, minute, note);
    }

    pub(super) fn note_of(&mut self, minute: i64, of: i64, note: Note) {
        self.lines += 1;
        let (line, at) = (self.lines, self.at(of));
        self.give(minute, In::Line { line, at, note });
    }

    pub(super) fn seen(&mut self, minute: i64, by: Option<&str>) {
        self.give(minute, In::Seen { by: by.map(str::to_owned) });
    }

    pub(super) fn person(&mut self) {
        self.record.settings.people.push(Person { name: "Noor".to_owned(), hours: None, first: false });
    }

    pub(super) fn out(&mut self, minute: i64, what: &str, condition: &str, title: &str) -> &mut Out {
        let at = self.at(minute);
        self.record.out.push(Out {
            at,
            event: what.to_owned(),
            condition: condition.to_owned(),
            rings: true,
            title: title.to_owned(),
            ..Out::default()
        });
        self.record.out.last_mut().unwrap()
    }

    pub(super) fn silent(&mut self, minute: i64, what: &str, condition: &str) {
        self.out(minute, what, condition, "").rings = false;
    }

    pub(super) fn answer(&mut self, minute: i64, condition: &str, reason: &str, words: &str) {
        let out = self.out(minute, "answer", condition, "");
        out.rings = false;
        words.clone_into(&mut out.body);
        reason.clone_into(&mut out.reason);
    }

    pub(super) fn call(&mut self, minute: i64, title: &str) -> &mut Out {
        let out = self.out(minute, "called", "very_low", title);
        out.to = Some("Noor".to_owned());
        out
    }
}

/// Each record that keeps a promise keeps it, and each that breaks it is found.
pub(super) fn run(cases: &[Case]) -> Vec<&'static str> {
    let mut wrong = Vec::new();
    for (promise, case) in cases {
        for kept in [true, false] {
            let mut build = Build::new();
            case(&mut build, kept);
            build.record.given.sort_by_key(|given| given.at);
            build.record.out.sort_by_key(|out| out.at);
            let (at_stake, broken) = super::judge(&build.record).count(promise);
            if at_stake == 0 || (broken == 0) != kept {
                wrong.push(format!("{promise}, {kept}: at stake {at_stake}, broken {broken}"));
            }
        }
    }
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
    cases.iter().map(|(promise, _)| *promise).collect()
}

pub(super) const CASES: &[Case] = &[
    ("alive", |b, kept| {
        b.flat(0, 10, 110);
        b.record.stopped = (!kept).then_some(b.record.until);
    }),
    ("L1", |b, kept| {
        b.flat(0, 40, 50);
        b.out(0, "raised", "very_low", "Treat now: 50, 12:00");
        b.seen(1, None);
        b.out(15, "prompt", "recheck_low", "Still low: 50");
        if kept {
            b.out(30, "prompt", "recheck_low", "Still low: 50");
        }
    }),
    ("L1.first", |b, kept| {
        b.flat(0, 20, 62);
        b.out(15, "raised", "low", "Low: 62");
        b.flat(25, 60, 50);
        b.out(if kept { 25 } else { 30 }, "raised", "very_low", "Treat now: 50");
    }),
    ("L2.first", |b, kept| {
        b.flat(0, 20, 90);
        b.flat(25, 60, 65);
        b.out(if kept { 25 } else { 50 }, "raised", "low", "Low: 65");
    }),
    ("L2.again", |b, kept| {
        b.flat(0, 80, 62);
        b.out(0, "raised", "low", "Low: 62");
        b.seen(1, None);
        if kept {
            b.out(30, "repeated", "low", "Still low: 62");
            b.out(60, "repeated", "low", "Still low: 62");
        }
    }),
    ("L3.check", |b, kept| {
        b.flat(0, 60, 62);
        b.note(5, Note::Treated(Side::Low));
        if kept {
            b.silent(20, "look", "recheck_low");
        }
    }),
    ("L3.words", |b, kept| {
        b.flat(0, 40, 62);
        b.note(5, Note::Treated(Side::Low));
        b.out(20, "prompt", "recheck_low", if kept { "Still low: 62. Treat again by your plan" } else { "62. Look" });
    }),
    ("L3.prick", |b, kept| {
        b.flat(0, 40, 50);
        b.note(5, Note::Treated(Side::Low));
        let end = if kept { ", finger-prick" } else { "" };
        b.out(20, "prompt", "recheck_low", &format!("Still low: 50. Treat again{end}"));
    }),
    ("L3.third", |b, kept| {
        b.flat(0, 60, 50);
        for minute in [5, 20, 35] {
            b.note(minute, Note::Treated(Side::Low));
        }
        let count = if kept { " after 3 treatments: get help now" } else { ": treat" };
        b.out(50, "prompt", "recheck_low", &format!("Still 50{count}"));
    }),
    ("L3.second", |b, kept| {
        b.person();
        b.flat(0, 60, 50);
        for minute in [5, 20, 35] {
            b.note(minute, Note::Treated(Side::Low));
        }
        b.out(50, "prompt", "recheck_low", "Still 50 after 3 treatments");
        if kept {
            b.call(50, "Call Ada");
        }
    }),
    ("L3.quiet", |b, kept| {
        b.flat(0, 40, 76);
        b.note(10, Note::Carbohydrate(Some(1_500)));
        b.out(20, "raised", "forecast_low", "Likely below 70").rings = !kept;
    }),
    ("L4.check", |b, kept| {
        b.flat(0, 20, 62);
        b.out(0, "raised", "low", "Low: 62");
        b.flat(25, 90, 95);
        if kept {
            b.silent(47, "look", "recheck_low");
        }
    }),
    ("L4.slips", |b, kept| {
        b.flat(0, 20, 62);
        b.out(0, "raised", "low", "Low: 62");
        b.flat(25, 90, 73);
        if kept {
            b.out(47, "prompt", "recheck_low", "Slipping back: 73");
        }
    }),
    ("L5.flat", |b, kept| {
        b.flat(0, 120, 62);
        b.out(50, "repeated", "low", if kept { "Still 62. Finger-prick" } else { "Still 62" });
    }),
    ("L5.floor", |b, kept| {
        b.flat(0, 120, 40);
        b.out(60, "repeated", "very_low", if kept { "Treat now: 40" } else { "Sensor stuck at 40? Check the sensor" });
    }),
    ("L5.lying", |b, kept| {
        b.begins(2);
        b.flat(0, 60, 120);
        b.flat(65, 70, 62);
        b.out(65, "raised", "low", if kept { "Low? 62. Lying on it? Turn over" } else { "Low: 62" });
    }),
    ("L6", |b, kept| {
        b.line(0, 20, 54, 66);
        b.out(
            20,
            "prompt",
            "recheck_low",
            if kept { "Rising, still low 66. By your plan" } else { "Wait: 66, rising" },
        );
    }),
];

#[test]
fn records_about_lows_are_judged_rightly() {
    run(CASES);
}

#[test]
fn an_empty_record_says_nothing() {
    let record = Record { until: NOON, from: NOON, ..Record::default() };
    assert_eq!(Sight::new(&record).minutes.len(), 1);
    let found: Verdicts = super::judge(&record);
    assert!(found.stakes.iter().all(|stake| stake.broken.is_none()));
}
