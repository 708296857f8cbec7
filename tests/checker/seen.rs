//! What was seen when the program was lived with, each as a story of its own: what goes in. Judges nothing.

use super::lives::DAY;
use super::record::{Given, HOUR, In, MIN, Ms, Note, Person, Range, Record, Settings, Side, Therapy};

struct Story {
    record: Record,
    lines: u32,
}

impl Story {
    fn new(name: &str, hour: i64) -> Self {
        let from = DAY + hour * HOUR;
        let given = vec![Given { at: from, what: In::Started }];
        Self { record: Record { name: name.to_owned(), given, from, until: from, ..Record::default() }, lines: 0 }
    }

    fn at(&self, minute: i64) -> Ms {
        self.record.from + minute * MIN
    }

    fn give(mut self, minute: i64, what: In) -> Self {
        let at = self.at(minute);
        self.record.given.push(Given { at, what });
        self
    }

    /// Every five minutes, in a straight line.
    fn line(mut self, from: i64, to: i64, first: i64, last: i64) -> Self {
        for minute in (from..=to).step_by(5) {
            let value = first + (last - first) * (minute - from) / (to - from).max(1);
            let (measured, value) = (self.at(minute), i32::try_from(value * 100).unwrap_or(10_000));
            self = self.give(minute, In::Reading { measured, value, range: Range::Number, signal: 0 });
        }
        self
    }

    fn flat(self, from: i64, to: i64, value: i64) -> Self {
        self.line(from, to, value, value)
    }

    fn note(self, minute: i64, note: Note) -> Self {
        self.note_of(minute, minute, note)
    }

    fn note_of(mut self, minute: i64, of: i64, note: Note) -> Self {
        self.lines += 1;
        let (line, at) = (self.lines, self.at(of));
        self.give(minute, In::Line { line, at, note })
    }

    fn seen(self, minute: i64) -> Self {
        self.give(minute, In::Seen { by: None })
    }

    fn with_noor(mut self) -> Self {
        self.record.settings.people = vec![Person { name: "Noor".to_owned(), hours: None, first: false }];
        self
    }

    fn settings(mut self, change: impl Fn(&mut Settings)) -> Self {
        change(&mut self.record.settings);
        self
    }

    fn end(mut self, minute: i64) -> Record {
        self.record.until = self.at(minute);
        self.record.given.sort_by_key(|given| given.at);
        self.record
    }
}

fn lows() -> Vec<Record> {
    vec![
        Story::new("seen at 51, and 40 after 33 min", 3)
            .flat(0, 20, 75)
            .flat(25, 25, 51)
            .seen(27)
            .line(30, 60, 50, 40)
            .end(65),
        Story::new("44 for four hours, a second person", 2).with_noor().flat(0, 15, 80).flat(20, 260, 44).end(260),
        Story::new("44 for four hours, seen once", 2).with_noor().flat(0, 15, 80).flat(20, 260, 44).seen(24).end(260),
        Story::new("a low that closes at 73 and slips back", 13)
            .line(0, 20, 90, 62)
            .note(22, Note::Treated(Side::Low))
            .flat(25, 35, 66)
            .flat(40, 65, 73)
            .flat(70, 90, 66)
            .end(90),
        Story::new("one answers, and an hour later nobody has", 11).with_noor().flat(0, 80, 64).seen(12).end(80),
        Story::new("five treatments of a low", 11)
            .flat(0, 100, 60)
            .note(2, Note::Treated(Side::Low))
            .note(18, Note::Treated(Side::Low))
            .note(34, Note::Treated(Side::Low))
            .note(50, Note::Treated(Side::Low))
            .note(66, Note::Treated(Side::Low))
            .end(100),
        Story::new("the same 62 for two hours", 11).flat(0, 15, 90).flat(20, 140, 62).seen(22).end(140),
        Story::new("40 flat for eight hours", 22).flat(0, 15, 80).flat(20, 500, 40).seen(25).end(500),
        Story::new("64 on the sensor, then a meter at 45", 10)
            .flat(0, 15, 80)
            .flat(20, 260, 64)
            .seen(22)
            .note(30, Note::Meter(4_500))
            .end(260),
        Story::new("meter 110 at 50", 10).flat(0, 15, 80).flat(20, 260, 50).note(25, Note::Meter(11_000)).end(260),
        Story::new("a deleted treatment leaves a low silent", 10)
            .flat(0, 15, 80)
            .flat(20, 140, 60)
            .note(22, Note::Treated(Side::Low))
            .give(30, In::Deleted { line: 1 })
            .end(140),
        Story::new("a deleted finger-prick leaves a low silent", 10)
            .flat(0, 15, 80)
            .flat(20, 140, 60)
            .seen(21)
            .note(25, Note::Meter(11_000))
            .give(30, In::Deleted { line: 1 })
            .end(140),
        Story::new("called just after a treatment", 2)
            .with_noor()
            .flat(0, 15, 80)
            .flat(20, 60, 48)
            .seen(22)
            .note(33, Note::Treated(Side::Low))
            .end(60),
    ]
}

fn highs() -> Vec<Record> {
    let doses = |story: Story, hours: &[i64]| {
        hours.iter().fold(story, |story, minute| story.note(*minute, Note::Insulin(Some(300))))
    };
    vec![
        Story::new("260, treated, then 250 for twelve hours", 19)
            .line(0, 30, 200, 260)
            .note(32, Note::Treated(Side::High))
            .flat(35, 755, 250)
            .end(755),
        doses(Story::new("a dose every hour at 285", 9).flat(0, 450, 285), &[20, 80, 140, 200, 260, 320, 380]).end(450),
        Story::new("370 to 454 over seven hours", 9).line(0, 20, 200, 340).line(25, 445, 370, 454).seen(30).end(445),
        Story::new("a pump at 300 that does not answer", 9)
            .with_noor()
            .settings(|settings| settings.therapy = Therapy::Pump)
            .flat(0, 400, 305)
            .note(30, Note::Treated(Side::High))
            .end(400),
        Story::new("back at 160, falling fast, then 67", 13)
            .flat(0, 30, 260)
            .note(32, Note::Insulin(Some(500)))
            .line(35, 95, 258, 160)
            .line(100, 160, 152, 67)
            .flat(165, 180, 64)
            .end(180),
        Story::new("very high anew after a dose", 13)
            .flat(0, 30, 245)
            .note(32, Note::Insulin(Some(300)))
            .flat(35, 120, 262)
            .end(120),
        Story::new("a moved dose loses the ketone question", 9)
            .flat(0, 300, 280)
            .note(40, Note::Insulin(Some(300)))
            .give(100, In::Amended { line: 1, at: DAY + 9 * HOUR + 10 * MIN, note: Note::Insulin(Some(300)) })
            .end(300),
    ]
}

fn notes() -> Vec<Record> {
    vec![
        Story::new("ketones 3.5", 13).with_noor().flat(0, 120, 270).note(10, Note::Ketones(350)).end(120),
        Story::new("vomiting", 13).flat(0, 60, 240).note(10, Note::Symptoms("vomiting")).end(60),
        Story::new("insulin at 49, and 400 units", 13)
            .flat(0, 15, 80)
            .flat(20, 60, 49)
            .note(30, Note::Insulin(Some(400)))
            .note(40, Note::Insulin(Some(40_000)))
            .end(60),
        Story::new("treated hours before the low began", 13)
            .flat(0, 200, 110)
            .line(205, 220, 100, 60)
            .note_of(222, 60, Note::Treated(Side::Low))
            .flat(225, 260, 60)
            .end(260),
    ]
}

fn signals() -> Vec<Record> {
    let late = |mut story: Story| {
        for minute in (25..=90).step_by(5) {
            let measured = story.at(minute);
            story = story.give(90, In::Reading { measured, value: 4_900, range: Range::Number, signal: 0 });
        }
        story
    };
    vec![
        Story::new("an old 52 for four days", 13).with_noor().flat(0, 15, 80).flat(20, 30, 52).end(4 * 24 * 60),
        Story::new("a treated low, the sensor taken off", 13)
            .flat(0, 15, 80)
            .flat(20, 30, 62)
            .note(32, Note::Treated(Side::Low))
            .note(40, Note::SensorOff)
            .end(48 * 60),
        late(Story::new("a late batch of 49", 13).flat(0, 20, 80)).end(100),
        Story::new("a very low whose signal is lost", 2).with_noor().flat(0, 15, 80).flat(20, 40, 48).end(240),
        Story::new("awake again with a low, a high and a mode", 22)
            .flat(0, 60, 300)
            .note(20, Note::Insulin(Some(300)))
            .give(30, In::Mode { mode: "driving", until: DAY + 25 * HOUR })
            .give(500, In::Unwatched { from: DAY + 23 * HOUR + 5 * MIN, slept: true })
            .flat(500, 530, 60)
            .end(530),
        Story::new("a mode after a stretch in which driving ended", 11)
            .give(84, In::Mode { mode: "driving", until: DAY + 11 * HOUR + 384 * MIN })
            .give(386, In::Unwatched { from: DAY + 11 * HOUR + 150 * MIN, slept: false })
            .give(386, In::Mode { mode: "sick", until: DAY + 11 * HOUR + 632 * MIN })
            .end(400),
    ]
}

/// All of them.
pub(crate) fn stories() -> Vec<Record> {
    [lows(), highs(), notes(), signals()].concat()
}
