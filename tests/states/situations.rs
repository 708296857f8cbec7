//! The situations whose saved states are stored, each as a script in the lines of tests/behaviour.rs: what was lived
//! through until the state was saved, what happens after it, and what must be among the facts, so that a file
//! holds what its name says. A situation that is stored is never changed; another is added.

/// One situation.
pub(super) struct Situation {
    /// Number and name, as the file is called.
    pub(super) name: &'static str,
    /// Settings, one a word.
    pub(super) sets: &'static [&'static str],
    /// Until it is saved.
    pub(super) before: &'static [&'static str],
    /// After it.
    pub(super) after: &'static [&'static str],
    /// Each is the beginning of a fact.
    pub(super) holds: &'static [&'static str],
}

/// A second person who may be called, and a third.
const SAM_AND_KIM: &[&str] = &[
    "wearer.name=Ada",
    "channel.mine.kind=desktop",
    "channel.sam.kind=desktop",
    "channel.kim.kind=desktop",
    "person.sam.channels=sam",
    "person.kim.channels=kim",
    "person.sam.order=1",
    "person.kim.order=2",
];

/// Sam is told first, Kim by day only, Lee in working hours.
const PEOPLE_WITH_HOURS: &[&str] = &[
    "channel.mine.kind=desktop",
    "channel.sam.kind=desktop",
    "channel.kim.kind=desktop",
    "channel.lee.kind=desktop",
    "person.sam.channels=sam",
    "person.sam.order=1",
    "person.sam.line=first",
    "person.sam.tells=[\"lows\", \"highs\", \"gaps\"]",
    "person.kim.channels=kim",
    "person.kim.order=2",
    "person.kim.hours=08:00-22:00",
    "person.lee.channels=lee",
    "person.lee.order=3",
    "person.lee.hours=\"mon-fri 08:00-16:00\"",
];

const TWO_SOURCES: &[&str] = &["source.arm.kind=streaming", "source.phone.kind=streaming"];

/// All of them; their numbers are those of the files.
pub(super) const SITUATIONS: &[&[Situation]] = &[LOWS, HIGHS, NIGHTS_AND_MUTES, MODES, SOURCES, THE_REST];

const LOWS: &[Situation] = &[
    Situation {
        name: "01-low-unanswered",
        sets: SAM_AND_KIM,
        before: &["11:00-11:55 reads 110 to 76", "12:00-12:10 reads 62"],
        after: &["12:15-13:30 reads 62", "13:32 seen", "13:35-14:30 reads 63", "14:35-16:00 reads 110", "17:00 later"],
        holds: &["alert low #", "call low #1 since 12:00 unanswered", "due chain"],
    },
    Situation {
        name: "02-very-low-being-called",
        sets: SAM_AND_KIM,
        before: &["25:00-25:55 reads 120 to 65", "26:00-26:25 reads 50"],
        after: &["26:30-26:55 reads 48", "26:57 treated", "27:00-28:00 reads 60 to 100", "28:05-29:30 reads 110"],
        holds: &["alert very_low #", "called for low: person 0", "called for low: person 1"],
    },
    Situation {
        name: "03-low-somebody-has",
        sets: SAM_AND_KIM,
        before: &["26:00-26:20 reads 50", "26:22 seen by sam", "26:25 reads 50"],
        after: &["26:30-27:30 reads 50", "27:35-28:30 reads 70 to 110", "28:35-29:30 reads 110"],
        holds: &["call low #1 since 26:00 answered 26:22 by sam", "alert very_low #1"],
    },
    Situation {
        name: "04-low-treated-look-planned",
        sets: &[],
        before: &["11:00-11:55 reads 120 to 75", "12:00-12:05 reads 64", "12:06 treated low"],
        after: &["12:10-12:40 reads 64", "12:41 treated low", "12:45-13:10 reads 72 to 100", "13:15-14:30 reads 105"],
        holds: &["care low #", "due low_look at 12:21"],
    },
    Situation {
        name: "05-low-treated-look-unseen",
        sets: &[],
        before: &["11:30-12:05 reads 66", "12:06 treated low", "12:22 later"],
        after: &["12:38 later", "13:10 later", "15:00 later", "15:05 reads 64", "15:10-16:30 reads 100"],
        holds: &["care low #", "care low looks unseen 1", "due low_look"],
    },
    Situation {
        name: "06-low-by-meter",
        sets: &[],
        before: &["12:00-12:05 reads 95", "12:06 meter 62", "12:10 reads 95"],
        after: &["12:15-12:40 reads 95", "12:41 meter 66", "12:45-13:00 reads 95", "13:01 meter 90", "14:00 later"],
        holds: &["care low #", "care low by meter", "due low_look", "meter 62"],
    },
    Situation {
        name: "07-caution-treated",
        sets: &[],
        before: &["12:00 reads 100", "12:01 mode exercise", "12:05 reads 84", "12:06 treated"],
        after: &["12:10-12:25 reads 84", "12:26 treated", "12:30-13:00 reads 86 to 110", "13:05-15:00 reads 110"],
        holds: &["alert caution #", "care low limit", "mode exercise", "due low_look at 12:21"],
    },
    Situation {
        name: "08-low-over-unanswered",
        sets: &[],
        before: &["11:30-11:55 reads 100 to 75", "12:00-12:20 reads 66", "12:25-13:15 reads 100"],
        after: &["13:17 seen", "13:20-14:00 reads 100", "14:05-14:20 reads 66", "38:00 later"],
        holds: &["returned low #"],
    },
    Situation {
        name: "09-high-soon-after-a-low",
        sets: &["recheck.still_high=[\"20m\"]"],
        before: &["12:00-12:10 reads 66", "12:12 treated low", "12:15-12:40 reads 90 to 170", "12:45-13:00 reads 200"],
        after: &["13:05-16:00 reads 205", "16:05-17:00 reads 150"],
        holds: &["delay high", "last low"],
    },
];

const HIGHS: &[Situation] = &[
    Situation {
        name: "10-high-unmarked-asked-once",
        sets: &[],
        before: &["10:00-10:40 reads 200", "10:45-12:45 reads 210"],
        after: &["12:50-15:00 reads 215", "15:02 treated high", "15:05-18:30 reads 210", "18:35-19:30 reads 150"],
        holds: &["alert high #", "care high asked 1 times, unmarked", "due high_look"],
    },
    Situation {
        name: "11-high-treated-between-looks",
        sets: &[],
        before: &["12:00-12:15 reads 210", "12:16 notes insulin", "12:20-13:30 reads 215"],
        after: &["13:35-14:30 reads 212", "14:31 notes insulin", "14:35-17:45 reads 212", "17:50-19:00 reads 150"],
        holds: &["care high treated 12:16", "dose 12:16", "due high_look"],
    },
    Situation {
        name: "12-high-outlived-its-looks",
        sets: &["wearer.therapy=pump"],
        before: &["12:00-12:15 reads 270", "12:16 treated high", "12:20-18:20 reads 285"],
        after: &["18:25-20:00 reads 285", "20:01 notes ketones", "20:05-24:30 reads 290", "24:35-26:00 reads 150"],
        holds: &["alert very_high #", "care high ketones asked", "care high asked"],
    },
    Situation {
        name: "13-evening-high-look-in-the-small-hours",
        sets: &[],
        before: &["22:15-22:40 reads 220", "22:40 notes insulin", "22:45-24:00 reads 215 to 150"],
        after: &["24:05-26:30 reads 150 to 96", "26:35-31:10 reads 100"],
        holds: &["look in the small hours", "due evening_look at 26:30"],
    },
    Situation {
        name: "14-very-high-hides-high",
        sets: &[],
        before: &["12:00-12:15 reads 262", "12:20-12:30 reads 270"],
        after: &["12:35-13:30 reads 240", "13:31 seen", "13:35-16:00 reads 230", "16:05-17:00 reads 140"],
        holds: &["alert very_high #", "alert high #3 of #1 since 12:00 told hidden"],
    },
    Situation {
        name: "15-correction-upon-a-dose",
        sets: &[],
        before: &[
            "11:30-12:00 reads 120 to 150",
            "12:00 notes insulin",
            "12:05-13:00 reads 160 to 240",
            "13:00 notes insulin",
            "13:05 reads 240",
        ],
        after: &["13:10-13:20 reads 240", "13:21 notes insulin", "13:25-17:00 reads 240", "17:05-18:00 reads 120"],
        holds: &["dose 12:00", "dose 13:00", "care high treated 13:00"],
    },
    Situation {
        name: "16-rise-being-followed",
        sets: &["level.high.limit=300", "level.very_high.limit=350"],
        before: &["08:00 notes insulin", "12:00 reads 100", "12:05-13:05 reads 105 to 190", "13:10 reads 195"],
        after: &["13:15-13:40 reads 185 to 120", "13:45-15:00 reads 125 to 235", "15:05-16:00 reads 240"],
        holds: &["rise followed since", "dose 08:00"],
    },
];

const NIGHTS_AND_MUTES: &[Situation] = &[
    Situation {
        name: "17-night-ring-held-digest-waits",
        sets: &[],
        before: &["24:00-24:30 reads 200", "24:35 writes 2 odd lines", "24:35-25:00 reads 205"],
        after: &["25:05-30:50 reads 205", "30:55-33:00 reads 205", "33:05-34:00 reads 150"],
        holds: &["alert high #1 since 24:00 told held", "held ", "due digest at 31:00"],
    },
    Situation {
        name: "18-night-with-lows-behind-it",
        sets: &["wearer.bedtime=22:45"],
        before: &[
            "21:00 notes insulin",
            "22:20-22:50 reads 120",
            "22:55-25:00 reads 110 to 75",
            "25:05-25:15 reads 60",
            "25:16 seen",
            "25:20-26:30 reads 110",
        ],
        after: &["26:35-31:05 reads 110", "36:00 reads 110", "46:00 later"],
        holds: &["due digest at 31:00", "due bedtime at 46:45", "last low"],
    },
    Situation {
        name: "19-quiet-hours-digest",
        sets: &["quiet.hours=mon-fri 10:00-12:00"],
        before: &[
            "10:00-10:20 reads 200",
            "10:25-11:20 reads 190 to 50",
            "11:22 treated low",
            "11:25-11:50 reads 60 to 110",
        ],
        after: &["11:55-13:00 reads 110", "14:00 reads 110"],
        holds: &["held ", "due digest at 12:00"],
    },
    Situation {
        name: "20-mute-of-high",
        sets: &[],
        before: &["12:00-12:10 reads 200", "12:11 quiet 60m high", "12:15-12:20 reads 210"],
        after: &["12:25-13:20 reads 210", "13:21 quiet 30m", "13:25-15:30 reads 210", "15:35-16:30 reads 150"],
        holds: &["mute high until 13:11", "alert high #", "due quiet at 13:11"],
    },
    Situation {
        name: "21-mute-by-a-meter",
        sets: &[],
        before: &["11:50-11:55 reads 75", "12:00 reads 58", "12:02 meter 104", "12:05-12:10 reads 60"],
        after: &["12:15-12:45 reads 60", "12:50-13:10 reads 60", "13:15-14:30 reads 100"],
        holds: &["mute low until", "meter 104", "alert low #", "compared with a meter 1 times"],
    },
    Situation {
        name: "22-meter-denied-a-high-then-trouble",
        sets: &["level.high.again_after=5m", "level.high.again_quiet=5m"],
        before: &[
            "12:00-12:15 reads 200",
            "12:20-12:40 reads 170",
            "12:45 reads 190",
            "12:47 meter 150",
            "12:50-12:55 reads 190",
        ],
        after: &["13:00-13:05 reads 190", "13:06 quiet off", "13:10-15:30 reads 190", "15:35-16:30 reads 120"],
        holds: &["mute high until", "alert high #"],
    },
];

const MODES: &[Situation] = &[
    Situation {
        name: "23-driving-with-a-hold",
        sets: &[],
        before: &["12:00 reads 110", "12:01 mode driving", "12:05 reads 84", "12:10-12:30 reads 93"],
        after: &["12:35-12:45 reads 93", "12:50 reads 86", "12:55-14:00 reads 95", "14:05-16:30 reads 100"],
        holds: &["mode driving", "hold driving", "due mode hold"],
    },
    Situation {
        name: "24-sick-day-with-looks",
        sets: &[],
        before: &["19:00 mode sick", "19:00-23:10 reads 150", "23:11 notes ketones", "23:15-24:00 reads 150"],
        after: &["24:05-28:00 reads 150", "28:01 notes ketones", "28:05-36:00 reads 150", "43:30 later"],
        holds: &["mode sick", "ketones noted", "due mode look"],
    },
    Situation {
        name: "25-hours-after-exercise",
        sets: &[],
        before: &["17:00 mode exercise", "17:05-18:25 reads 110 to 95", "18:30-20:00 reads 96"],
        after: &["20:05-26:55 reads 100", "27:00 reads 78", "27:05-30:35 reads 100", "31:10 later"],
        holds: &["mode exercise", "mode exercise after until", "due mode end exercise"],
    },
    Situation {
        name: "26-doubted-sensor-low-rests",
        sets: SAM_AND_KIM,
        before: &["12:00-12:05 reads 90", "12:06 mode doubted 1h", "12:10-12:20 reads 62"],
        after: &["12:25-13:40 reads 62", "13:42 treated low", "13:45-15:00 reads 70 to 120"],
        holds: &["mode doubted", "alert low #", "call low #"],
    },
];

const SOURCES: &[Situation] = &[
    Situation {
        name: "27-source-lost-unanswered",
        sets: SAM_AND_KIM,
        before: &["08:00-08:10 reads 90 to 76", "08:40 later"],
        after: &["08:50 later", "09:30 later", "09:32 seen", "11:00 later", "11:05 reads 120", "11:40 later"],
        holds: &["lost source 0: gap #1", "waits gap #1", "due waiting"],
    },
    Situation {
        name: "28-source-lost-after-a-low-by-night",
        sets: SAM_AND_KIM,
        before: &["24:30-25:10 reads 110 to 76", "25:30 later"],
        after: &["26:30 later", "27:00 reads 90", "27:30 later", "31:10 later"],
        holds: &["lost source 0: gap #1", "due gap_call 0", "grave silence of source 0"],
    },
    Situation {
        name: "29-source-unreadable-seen",
        sets: TWO_SOURCES,
        before: &[
            "08:00-08:15 reads 120",
            "08:16 reads 121 from 1",
            "08:20 reads 120",
            "08:21 refused 3",
            "08:22 seen",
            "08:31 lost from 1",
        ],
        after: &["08:40 reads 122 from 1", "09:00 later", "09:30 reads 120", "10:30 later"],
        holds: &["lost source 0: source_failed #1 since 08:21 seen", "lost source 1: source_failed"],
    },
    Situation {
        name: "30-channel-failing",
        sets: SAM_AND_KIM,
        before: &["08:00-08:10 reads 120", "08:11 channels 1 refused", "08:15 reads 120"],
        after: &[
            "08:20-08:40 reads 120",
            "08:42 channels 0 refused absent",
            "09:10 later",
            "09:12 channels 3",
            "10:00 later",
        ],
        holds: &["channels fail #1, some work, unseen", "waits channel_failed #1"],
    },
    Situation {
        name: "31-two-signals-and-a-choice",
        sets: &[],
        before: &[
            "08:00-08:45 every 5m alternates 248 and 65",
            "08:46 trusts 240",
            "08:50-09:00 every 5m alternates 65 and 250",
        ],
        after: &["09:05-10:20 every 5m alternates 65 and 250", "10:25-11:40 reads 160", "12:10 later"],
        holds: &["trust ", "alert high #", "alert low #"],
    },
    Situation {
        name: "32-two-signals-open",
        sets: &[],
        before: &["08:00-08:55 reads 200", "09:00-09:30 every 5m alternates 248 and 65"],
        after: &["09:35-10:00 every 5m alternates 248 and 65", "10:01 seen", "10:05-11:30 reads 200", "12:00 later"],
        holds: &["two signals #", "waits two_signals", "call low #"],
    },
    Situation {
        name: "33-flood",
        sets: TWO_SOURCES,
        before: &[
            "07:30-08:10 reads 120",
            "08:15 reads 200 from 1",
            "08:20 reads 200 from 1",
            "08:25 reads 200 from 1",
            "08:36 channels 1 refused",
            "08:37 writes 2 odd lines",
            "08:38 reads 230 from 1",
            "08:39 lost",
        ],
        after: &[
            "08:43 reads 230 from 1",
            "08:48 reads 235 from 1",
            "09:00 reads 235 from 1",
            "09:05 seen",
            "12:00 later",
        ],
        holds: &["flood since", "due flood", "alert high #"],
    },
    Situation {
        name: "34-scan-due-and-sensor-ending",
        sets: &["source.sensor.kind=scanned", "source.sensor.life=24h"],
        before: &["08:00 notes sensor-start", "10:30 reads 120", "17:10 later"],
        after: &["18:40 later", "19:00 reads 120", "19:01 notes scan", "21:05 later", "22:35 later", "31:10 later"],
        holds: &["sensor of source 0 started 08:00", "scan of source 0 asked for", "due scan 0", "due sensor_end 0"],
    },
    Situation {
        name: "35-late-readings-and-a-stretch-left-out",
        sets: &["source.sensor.kind=scanned"],
        before: &["11:00 reads 100", "12:20 excludes 11:20-11:40", "12:30 brings 11:05-11:55 at 60"],
        after: &["12:32 reads 200", "12:45 reads 205", "13:00 reads 210", "13:15 reads 215", "21:10 later"],
        holds: &["late readings 11", "left out 11:20 to 11:40", "due past"],
    },
];

const THE_REST: &[Situation] = &[
    Situation {
        name: "36-reminders",
        sets: &[],
        before: &[
            "08:00-08:25 reads 150",
            "08:30 reminds 14:30 stand up",
            "08:31 reminds 09:30 drink; every 12h",
            "08:32 reminds 1h still high?; above 180",
            "08:33 reminds 10:00 walk; every mon,thu",
            "08:35-08:55 reads 150",
        ],
        after: &[
            "09:00-10:30 reads 150",
            "10:31 cancels 4",
            "15:00 reads 150",
            "22:00 later",
            "35:00 later",
            "83:00 later",
        ],
        holds: &[
            "reminder #1 \"stand up\" due 14:30",
            "reminder #2 \"drink\" due 09:30",
            "reminder #3 \"still high?\" due 09:32",
            "reminder #4 \"walk\" due 10:00",
        ],
    },
    Situation {
        name: "37-forecast-that-rang",
        sets: &["forecast.low.rings=by_day"],
        before: &["12:00-12:30 reads 128 to 122", "12:35-12:55 reads 110 to 74"],
        after: &[
            "12:57 seen",
            "13:00 reads 68",
            "13:05-13:30 reads 66",
            "13:31 treated low",
            "13:35-15:00 reads 80 to 110",
        ],
        holds: &["forecast forecast_low #1 since 12:55", "rang most recently forecast_low"],
    },
    Situation {
        name: "38-forecast-silent",
        sets: &["forecast.low.rings=by_day"],
        before: &["12:00-12:30 reads 104 to 92", "12:35-12:45 reads 87 to 75"],
        after: &["12:50-13:40 reads 80", "13:45-14:30 reads 79 to 60", "14:32 seen", "14:35-16:00 reads 100"],
        holds: &["forecast forecast_low #1 since 12:45"],
    },
    Situation {
        name: "43-forecast-over-rang-lately",
        sets: &["forecast.low.rings=by_day"],
        before: &["12:00-12:30 reads 128 to 122", "12:35-12:55 reads 110 to 74", "13:00-13:25 reads 78 to 98"],
        after: &["13:30-13:50 reads 98 to 73", "13:55-15:00 reads 90"],
        holds: &["rang most recently forecast_low"],
    },
    Situation {
        name: "39-levels-switched-off",
        sets: &["source.sensor.kind=history", "level.high.rings=never", "level.high.because=a week of fever"],
        before: &["12:25 started", "56:00 later"],
        after: &["200:00 later", "349:00 later"],
        holds: &["off high since 12:25", "due off at 180:25"],
    },
    Situation {
        name: "40-people-with-hours",
        sets: PEOPLE_WITH_HOURS,
        before: &["29:00-29:55 reads 110 to 75", "30:00-30:20 reads 50"],
        after: &["30:25-32:10 reads 50", "32:12 seen by kim", "32:15-33:30 reads 52", "33:35-35:00 reads 110"],
        holds: &["told of low: person 0", "called for low: person 0", "due chain"],
    },
    Situation {
        name: "41-high-seen-low-treated-gap-open",
        sets: PEOPLE_WITH_HOURS,
        before: &[
            "08:00-08:20 reads 210",
            "08:22 seen",
            "08:25-09:40 reads 205 to 60",
            "09:41 treated low",
            "10:00 later",
        ],
        after: &["10:30 later", "11:15 later", "11:20 reads 58", "11:25-12:30 reads 70 to 120", "13:30 later"],
        holds: &["lost source 0: gap", "care low #", "told of low"],
    },
    Situation {
        name: "42-two-signals-over",
        sets: &[],
        before: &["08:00-09:00 every 5m alternates 150 and 100", "09:05-10:10 reads 100"],
        after: &["10:15-11:30 every 5m alternates 150 and 100", "11:31 seen", "12:10 later"],
        holds: &["two signals last seen"],
    },
];
