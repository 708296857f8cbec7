//! What went into a watch and what came out of it, in plain numbers and words: the only thing that is judged. Judges
//! nothing itself, and knows nothing of the program.

/// Milliseconds: an instant since 1970, or a length.
pub(crate) type Ms = i64;

/// A minute.
pub(crate) const MIN: Ms = 60_000;

/// An hour.
pub(crate) const HOUR: Ms = 60 * MIN;

/// Which way glucose left the range.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Side {
    Low,
    High,
}

/// A number, or a sensor's word for "beyond what I can measure".
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Range {
    Number,
    Below,
    Above,
}

/// One line of a diary. Amounts are in hundredths; a glucose in hundredths of a mg/dL.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Note {
    Treated(Side),
    Insulin(Option<i32>),
    LongActing(Option<i32>),
    Carbohydrate(Option<i32>),
    Meter(i32),
    Ketones(i32),
    /// Negative, trace, moderate or large.
    Urine(&'static str),
    Symptoms(&'static str),
    Exercise,
    Site,
    SensorOn,
    SensorOff,
}

/// Something that went in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum In {
    Started,
    /// Readings that go in at one time are one batch.
    Reading {
        measured: Ms,
        value: i32,
        range: Range,
        signal: u16,
    },
    /// A line of the diary, by a number of its own, and its own time.
    Line {
        line: u32,
        at: Ms,
        note: Note,
    },
    Amended {
        line: u32,
        at: Ms,
        note: Note,
    },
    Deleted {
        line: u32,
    },
    /// "Seen"; by somebody else it means "I have it".
    Seen {
        by: Option<String>,
    },
    /// "I am with them": the program cannot take it in yet.
    With {
        by: String,
    },
    Mode {
        mode: &'static str,
        until: Ms,
    },
    ModeOff {
        mode: &'static str,
    },
    Mute {
        condition: Option<&'static str>,
        until: Ms,
    },
    /// The clock was set; times of the record stay those of a clock that was not.
    ClockStepped {
        by: Ms,
    },
    /// Nobody watched since then.
    Unwatched {
        from: Ms,
        slept: bool,
    },
    Channels {
        working: usize,
        failing: usize,
    },
}

/// When, and what.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Given {
    pub(crate) at: Ms,
    pub(crate) what: In,
}

/// Something that came out.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Out {
    pub(crate) at: Ms,
    /// The word for what it is, as docs/replay.md has it.
    pub(crate) event: String,
    pub(crate) condition: String,
    pub(crate) alert: u64,
    pub(crate) part_of: Option<u64>,
    pub(crate) priority: String,
    pub(crate) rings: bool,
    /// Who hears it; none: the wearer.
    pub(crate) to: Option<String>,
    pub(crate) title: String,
    pub(crate) body: String,
    pub(crate) reason: String,
    /// What a look found, where its word is known.
    pub(crate) outcome: Option<String>,
    /// Its number among all that came out.
    pub(crate) number: u64,
}

/// How insulin is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Therapy {
    Injections,
    Pump,
    SelfAdjusting,
    Unknown,
}

/// How ketones are measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum KetoneTest {
    Blood,
    Urine,
    None,
}

/// Somebody beside the wearer. The first of the settings is the second person of the promises.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Person {
    pub(crate) name: String,
    /// Minutes of the day in which they may be called; always when none.
    pub(crate) hours: Option<(i64, i64)>,
    /// Told at the first ring of a low.
    pub(crate) first: bool,
}

/// Whose watch it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Settings {
    pub(crate) therapy: Therapy,
    pub(crate) ketone_test: KetoneTest,
    pub(crate) people: Vec<Person>,
    /// Minutes of the day; by the record's own clock, which is UTC.
    pub(crate) night: (i64, i64),
    pub(crate) quiet_hours: Option<(i64, i64)>,
    /// `pregnancy`, `impaired_awareness`, `child`, `ketone_prone`.
    pub(crate) profiles: Vec<&'static str>,
    /// Very low, low, high, very high; hundredths of a mg/dL.
    pub(crate) limits: [i32; 4],
    /// How often a reading comes.
    pub(crate) cadence: Ms,
    /// How many signals there are.
    pub(crate) signals: u16,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            therapy: Therapy::Injections,
            ketone_test: KetoneTest::Blood,
            people: Vec::new(),
            night: (23 * 60, 7 * 60),
            quiet_hours: None,
            profiles: Vec::new(),
            limits: [5_400, 7_000, 18_000, 25_000],
            cadence: 5 * MIN,
            signals: 1,
        }
    }
}

/// One watch.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Record {
    /// By which it can be made again.
    pub(crate) name: String,
    pub(crate) settings: Settings,
    /// In the order in which it went in.
    pub(crate) given: Vec<Given>,
    pub(crate) out: Vec<Out>,
    /// Nothing is judged outside of these.
    pub(crate) from: Ms,
    pub(crate) until: Ms,
    /// The program ended itself then, which it never may.
    pub(crate) stopped: Option<Ms>,
}

/// Is that minute of the day within these?
pub(crate) fn within(hours: (i64, i64), at: Ms) -> bool {
    let minute = at.rem_euclid(24 * HOUR) / MIN;
    if hours.0 <= hours.1 { (hours.0..hours.1).contains(&minute) } else { minute >= hours.0 || minute < hours.1 }
}

impl Settings {
    pub(crate) fn is_night(&self, at: Ms) -> bool {
        within(self.night, at)
    }

    pub(crate) fn is_quiet(&self, at: Ms) -> bool {
        self.quiet_hours.is_some_and(|hours| within(hours, at))
    }

    pub(crate) fn has(&self, profile: &str) -> bool {
        self.profiles.contains(&profile)
    }

    /// From where on a high that stays is asked about: in pregnancy from 180 (K5).
    pub(crate) fn asked_from(&self) -> f64 {
        if self.has("pregnancy") { 180.0 } else { 250.0 }
    }

    /// May anybody be called then?
    pub(crate) fn reachable(&self, at: Ms) -> bool {
        self.people.iter().any(|person| person.hours.is_none_or(|hours| within(hours, at)))
    }
}
