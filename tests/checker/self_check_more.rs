//! The judge itself, for the promises about people and about rules that meet; and that no promise goes without its two
//! records.

use super::known::ALL;
use super::record::{In, Note, Side};
use super::self_check::{CASES, Case, run};
use super::self_check_highs;

const MORE: &[Case] = &[
    ("P1", |b, kept| {
        b.person();
        b.flat(0, 60, 50);
        b.call(15, "Call Ada");
        if kept {
            b.call(35, "Call Ada");
        }
    }),
    ("P2.holds", |b, kept| {
        b.person();
        b.flat(0, 60, 60);
        b.seen(10, Some("Noor"));
        b.call(if kept { 30 } else { 15 }, "Call Ada");
    }),
    ("P2.asked", |b, kept| {
        b.person();
        b.flat(0, 60, 50);
        b.seen(10, Some("Noor"));
        if kept {
            b.call(31, "Noor, still 50");
        }
    }),
    ("P3", |b, kept| {
        b.flat(0, 60, 60);
        if !kept {
            b.seen(10, None);
        }
        let out = b.out(30, "escalated", "low", "Still low: 60");
        "Nobody has answered for 30 min.".clone_into(&mut out.body);
    }),
    ("P4", |b, kept| {
        b.person();
        b.flat(0, 30, 50);
        b.call(15, "Call Ada");
        b.flat(35, 120, 95);
        if kept {
            let out = b.out(50, "told", "very_low", "The low is over: 95");
            out.to = Some("Noor".to_owned());
        }
    }),
    ("P5", |b, kept| {
        b.person();
        b.flat(0, 30, 50);
        let help = "Does not wake: nothing by mouth, on their side, call 112";
        b.call(15, if kept { help } else { "Call Ada: very low 50" });
    }),
    ("P6", |b, kept| {
        b.person();
        b.record.settings.profiles.push("child");
        b.flat(0, 30, 60);
        b.out(0, "raised", "low", "Low: 60");
        if kept {
            b.out(0, "raised", "low", "Ada is low: 60").to = Some("Noor".to_owned());
        }
    }),
    ("M1.checks", |b, kept| {
        b.flat(0, 60, 90);
        b.note(10, Note::Meter(6_200));
        if kept {
            b.silent(25, "look", "recheck_low");
        }
    }),
    ("M1.very_low", |b, kept| {
        b.flat(0, 60, 64);
        b.note(10, Note::Meter(4_500));
        if kept {
            b.out(10, "raised", "very_low", "Treat now: meter 45");
        }
    }),
    ("M2.holds", |b, kept| {
        b.flat(0, 60, 62);
        b.note(10, Note::Meter(11_000));
        if !kept {
            b.out(20, "repeated", "low", "Still low: 62");
        }
    }),
    ("M2.second", |b, kept| {
        b.flat(0, 60, 62);
        b.note(10, Note::Meter(11_000));
        if kept {
            b.out(25, "prompt", "recheck_low", "Prick again: sensor 62, meter 110");
        }
    }),
    ("M2.hour", |b, kept| {
        b.flat(0, 120, 50);
        b.note(10, Note::Meter(11_000));
        b.note(26, Note::Meter(11_000));
        if kept {
            b.out(86, "prompt", "recheck_low", "A new finger-prick: sensor 50");
        }
    }),
    ("M3", |b, kept| {
        b.flat(0, 60, 50);
        b.out(0, "raised", "very_low", "Treat now: 50");
        b.note(5, Note::Treated(Side::Low));
        b.give(8, In::Deleted { line: 1 });
        if kept {
            for minute in [15, 30, 45, 60] {
                b.out(minute, "repeated", "very_low", "Treat now: 50");
            }
        }
    }),
    ("S1.words", |b, kept| {
        b.flat(0, 20, 50);
        b.give(90, In::Started);
        b.out(60, "escalated", "very_low", if kept { "Was 50 at 12:20, nothing since" } else { "Still 50, falling" });
    }),
    ("S1.calls", |b, kept| {
        b.person();
        b.flat(0, 20, 50);
        b.call(15, "Call Ada");
        b.give(70, In::Started);
        if kept {
            b.call(36, "Was 50 at 12:20");
            b.call(56, "Was 50 at 12:20");
        }
    }),
    ("S2", |b, kept| {
        b.flat(0, 20, 62);
        b.give(800, In::Started);
        let rings: &[i64] = if kept { &[150, 210, 330, 570] } else { &[150, 210, 220, 230] };
        for minute in rings {
            b.out(*minute, "repeated", "gap", "Nothing since 12:20");
        }
    }),
    ("C1", |b, kept| {
        b.person();
        b.flat(0, 60, 50);
        b.note(20, Note::Treated(Side::Low));
        b.call(if kept { 40 } else { 25 }, "Ada is not recovering: 50");
    }),
    ("B1", |b, kept| {
        b.flat(0, 20, 90);
        for minute in (25..=60).step_by(5) {
            let measured = b.at(minute);
            b.give(60, In::Reading { measured, value: 5_000, range: super::record::Range::Number, signal: 0 });
        }
        b.out(60, "raised", "very_low", if kept { "Below 54 since 12:25: 50" } else { "Treat now: 50" });
    }),
    ("O1.one", |b, kept| {
        b.flat(0, 60, 62);
        b.out(20, "repeated", "low", "Still low: 62");
        b.out(if kept { 24 } else { 21 }, "prompt", "recheck_low", "62, check");
    }),
    ("O1.six", |b, kept| {
        b.flat(0, 60, 200);
        let count = if kept { 5 } else { 9 };
        for ring in 0..count {
            b.out(10 + ring * 3, "repeated", "gap", "Nothing");
        }
    }),
    ("O2", |b, kept| {
        b.flat(0, 60, 62);
        b.out(30, if kept { "repeated" } else { "told" }, if kept { "low" } else { "morning" }, "Low: 62");
    }),
    ("O3", |b, kept| {
        b.flat(0, 60, 62);
        b.note(10, Note::Treated(Side::Low));
        b.out(20, "ended", "recheck_high", "Back: 62").rings = !kept;
    }),
    ("O4", |b, kept| {
        b.flat(0, 60, 62);
        b.flat(65, 80, 90);
        b.give(140, In::Started);
        b.out(if kept { 75 } else { 130 }, "ended", "low", "The low is over");
    }),
    ("Q1.mute", |b, kept| {
        b.flat(0, 120, 62);
        let until = b.at(60);
        b.give(10, In::Mute { condition: Some("low"), until });
        // What is withheld for a mute says so.
        let withheld = b.out(30, "withheld", "low", "");
        (withheld.rings, withheld.reason) = (false, "quiet".to_owned());
        if kept {
            b.out(60, "repeated", "low", "Still low: 62");
        }
    }),
    ("Q1.hours", |b, kept| {
        b.flat(0, 60, 130);
        b.out(30, "told", "morning", if kept { "130 now; a low 02:00-03:00" } else { "Low: 62 at 02:00" });
    }),
    ("Q2", |b, kept| {
        b.flat(0, 120, 62);
        let until = b.at(60);
        b.give(10, In::Mute { condition: Some("low"), until });
        b.answer(
            10,
            "low",
            "quiet_until",
            if kept { "Quiet until 13:00; it calls all the same" } else { "Quiet until 13:00" },
        );
        b.out(30, "escalated", "low", "Still low: 62");
    }),
    ("N1", |b, kept| {
        b.flat(0, 20, 62);
        let from = b.at(25);
        b.give(60, In::Unwatched { from, slept: true });
        b.flat(65, 80, 62);
        b.out(65, "repeated", "low", if kept { "Low since 12:00: 62" } else { "Low since 13:05: 62" });
    }),
    ("V1.rate", |b, kept| {
        b.record.settings.signals = 2;
        b.flat(0, 60, 66);
        (2..60).step_by(5).for_each(|minute| b.read_from(minute, 160, 1));
        b.out(60, "repeated", "low", if kept { "Low: 66; -1 in 15 min" } else { "Low: 66, falling fast" });
    }),
    ("V1.change", |b, kept| {
        b.record.settings.signals = 2;
        b.flat(0, 60, 66);
        for minute in (2..60).step_by(5) {
            b.read_from(minute, 160, 1);
        }
        b.out(60, "prompt", "recheck_low", if kept { "66; +1 in 15 min" } else { "66; -94 in 15 min" });
    }),
    ("V1.prick", |b, kept| {
        b.record.settings.signals = 2;
        b.flat(0, 60, 66);
        (2..60).step_by(5).for_each(|minute| b.read_from(minute, 160, 1));
        b.out(20, "raised", "two_signals", "Two signals: 66 and 160");
        b.note(40, Note::Meter(15_500));
        if kept {
            b.silent(40, "ended", "two_signals");
        }
    }),
    ("G1.told", |b, kept| {
        let until = b.at(60);
        b.give(1, In::Mode { mode: "driving", until });
        b.flat(0, 30, 80);
        b.answer(30, "mode", "hold", "Do not drive yet; you are told at 13:20");
        b.flat(35, 120, 120);
        if kept {
            b.out(82, "told", "mode", "120 for 45 min");
        }
    }),
    ("G1.may", |b, kept| {
        let until = b.at(60);
        b.give(1, In::Mode { mode: "driving", until });
        b.flat(0, 60, 120);
        b.out(30, "told", "mode", if kept { "120 for 45 min" } else { "You may drive" });
    }),
    ("G2", |b, kept| {
        let until = b.at(300);
        b.give(1, In::Mode { mode: "doubted", until });
        b.flat(0, 60, 62);
        b.out(0, "raised", "low", "Low? 62");
        if kept {
            b.out(30, "repeated", "low", "Low? 62");
        }
    }),
    ("F1.channel", |b, kept| {
        b.flat(0, 60, 120);
        for fails in [10, 20, 30] {
            b.give(fails, In::Channels { working: 1, failing: 1 });
            b.give(fails + 5, In::Channels { working: 2, failing: 0 });
            if !kept || fails == 10 {
                b.out(fails, "raised", "channel_failed", "A way to reach you fails");
            }
        }
    }),
    ("F1.person", |b, kept| {
        b.begins(1);
        b.flat(0, 120, 120);
        for at in if kept { &[10][..] } else { &[10, 60] } {
            let out = b.out(*at, "called", "gap", "Nothing from Ada");
            out.to = Some("Noor".to_owned());
        }
    }),
    ("T1.fact", |b, kept| {
        b.flat(0, 60, 62);
        b.out(30, "repeated", "low", if kept { "Still low: 62" } else { "Still low: 48" });
    }),
    ("T1.signals", |b, kept| {
        b.flat(0, 60, 62);
        b.out(30, "raised", "two_signals", if kept { "Two signals: 62 and 160" } else { "Two signals" });
    }),
    ("T1.headed", |b, kept| {
        b.flat(0, 60, 80);
        b.out(30, "raised", "forecast_low", if kept { "Likely below 70: 80" } else { "Likely below 70: 80, rising" });
    }),
    ("T1.change", |b, kept| {
        b.flat(0, 60, 62);
        b.out(30, "prompt", "recheck_low", if kept { "62, rising; +9 in 15 min" } else { "62, rising; -9 in 15 min" });
    }),
    ("T2.body", |b, kept| {
        b.flat(0, 60, 62);
        let body = if kept { "Treat by your plan." } else { "One. Two. Three. Four." };
        body.clone_into(&mut b.out(30, "repeated", "low", "Low: 62").body);
    }),
    ("T2.terminal", |b, kept| {
        b.flat(0, 60, 62);
        let body = if kept { "Press the button." } else { "Say `recheck seen`." };
        body.clone_into(&mut b.out(30, "repeated", "low", "Low: 62").body);
    }),
];

#[test]
fn records_about_people_and_rules_that_meet_are_judged_rightly() {
    run(MORE);
}

#[test]
fn every_promise_has_its_two_records() {
    for promise in ALL {
        let there = CASES.iter().chain(self_check_highs::CASES).chain(MORE).any(|(name, _)| name == promise);
        assert!(there, "{promise} has no records");
    }
    assert_eq!(ALL.len(), CASES.len() + self_check_highs::CASES.len() + MORE.len());
}
