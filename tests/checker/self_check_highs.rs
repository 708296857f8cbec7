//! The judge itself, for the promises about highs and ketones: records that keep them, and records that break them.

use super::record::{In, Note, Side, Therapy};
use super::self_check::{Case, run};

pub(super) const CASES: &[Case] = &[
    ("H1", |b, kept| {
        b.flat(0, 20, 200);
        b.flat(25, 200, 250);
        if kept {
            b.out(146, "prompt", "recheck_high", "Check ketones and pen: 250");
        }
    }),
    ("H1.words", |b, kept| {
        b.flat(0, 180, 260);
        b.out(122, "prompt", "recheck_high", if kept { "Check ketones and pen: 260" } else { "Check ketones: 260" });
    }),
    ("H2", |b, kept| {
        b.flat(0, 280, 260);
        b.out(120, "prompt", "recheck_high", "Check ketones and pen: 260");
        if kept {
            b.out(241, "prompt", "recheck_high", "Check ketones and pen: 260");
        }
    }),
    ("H3", |b, kept| {
        b.record.settings.therapy = Therapy::Pump;
        b.flat(0, 120, 280);
        b.note(20, Note::Treated(Side::High));
        b.out(80, "prompt", "recheck_high", if kept { "Still 280: set, ketones, plan" } else { "280: wait" });
    }),
    ("H4.decide", |b, kept| {
        b.flat(0, 120, 280);
        b.note(5, Note::Insulin(Some(300)));
        b.out(65, "prompt", "recheck_high", if kept { "280: insulin is still working" } else { "Decide by your plan" });
    }),
    ("H4.three", |b, kept| {
        b.flat(0, 240, 280);
        b.note(5, Note::Insulin(Some(300)));
        b.note(90, Note::Insulin(Some(300)));
        b.out(185, "prompt", "recheck_high", if kept { "Ketones, pen or set, call your team" } else { "Look: 280" });
    }),
    ("H5.over", |b, kept| {
        b.flat(0, 60, 250);
        b.note(10, Note::Insulin(Some(300)));
        if kept {
            b.flat(65, 120, 170);
        } else {
            b.line(65, 120, 245, 160);
        }
        b.out(120, "ended", "recheck_high", "Back");
    }),
    ("H5.landing", |b, kept| {
        b.flat(0, 60, 250);
        b.note(10, Note::Insulin(Some(300)));
        b.line(65, 180, 245, 100);
        let looks: &[i64] = if kept { &[70, 95, 120, 145, 170] } else { &[70] };
        for minute in looks {
            b.silent(*minute, "look", "recheck_high");
        }
    }),
    ("H6", |b, kept| {
        b.flat(0, 60, 230);
        b.note(20, Note::Insulin(Some(300)));
        b.flat(65, 90, 260);
        b.out(65, "raised", "very_high", "Very high: 260").rings = !kept;
    }),
    ("H7", |b, kept| {
        b.flat(0, 300, 250);
        b.out(5, "raised", "high", "High: 250");
        b.seen(6, None);
        if kept {
            b.out(244, "repeated", "high", "High: 250");
        }
    }),
    ("H8", |b, kept| {
        b.person();
        b.flat(0, 300, 270);
        b.out(120, "prompt", "recheck_high", "Check ketones and pen: 270");
        b.out(240, "prompt", "recheck_high", "Check ketones and pen: 270");
        if kept {
            b.call(242, "Ask Ada about ketones");
        }
    }),
    ("H9.high", |b, kept| {
        b.record.settings.therapy = Therapy::SelfAdjusting;
        b.flat(0, 30, 220);
        b.out(15, "raised", "high", if kept { "220: see on the pump what it has given" } else { "220. Look and note" });
    }),
    ("H9.low", |b, kept| {
        b.record.settings.therapy = Therapy::SelfAdjusting;
        b.flat(0, 30, 62);
        b.out(0, "raised", "low", if kept { "Low 62: by your pump's plan" } else { "Low 62: by your plan" });
    }),
    ("H10", |b, kept| {
        b.flat(0, 150, 240);
        b.note(5, Note::Carbohydrate(Some(5_000)));
        b.note(10, Note::Insulin(Some(300)));
        b.out(130, "prompt", "recheck_high", if kept { "Slow, a meal was noted" } else { "No response so far: 240" });
    }),
    ("H11", |b, kept| {
        b.note(0, Note::Insulin(Some(300)));
        b.flat(0, 180, 100);
        b.line(185, 260, 100, 220);
        if kept {
            b.out(245, "prompt", "unnoted_rise", "Up 85. Meal without a dose?");
        }
    }),
    ("H11.meal", |b, kept| {
        b.note(0, Note::Insulin(Some(300)));
        b.flat(0, 180, 100);
        b.note(180, Note::Carbohydrate(Some(4_000)));
        b.line(185, 260, 100, 220);
        if kept {
            b.out(245, "prompt", "unnoted_rise", "Lunch 15:00: dose noted?");
        }
    }),
    ("H11.after_low", |b, kept| {
        b.note(0, Note::Insulin(Some(300)));
        b.flat(0, 180, 100);
        b.flat(185, 195, 65);
        b.line(200, 280, 70, 220);
        if !kept {
            b.out(265, "prompt", "unnoted_rise", "Up 85. Meal without a dose?");
        }
    }),
    ("K1.value", |b, kept| {
        b.flat(0, 20, 250);
        b.note(10, Note::Ketones(350));
        b.answer(10, "diary", "noted", if kept { "3.5: emergency help now" } else { "Noted: ketones 3.5" });
    }),
    ("K1.urine", |b, kept| {
        b.flat(0, 20, 250);
        b.note(10, Note::Urine("large"));
        b.answer(10, "diary", "noted", if kept { "Large: emergency help now" } else { "Noted" });
    }),
    ("K1.symptom", |b, kept| {
        b.flat(0, 20, 250);
        b.note(10, Note::Symptoms("vomiting"));
        b.answer(10, "diary", "noted", if kept { "Vomiting, ketones unknown: emergency help now" } else { "Noted" });
    }),
    ("K1.vomiting", |b, kept| {
        b.flat(0, 20, 250);
        b.note(10, Note::Symptoms("vomiting"));
        let condition = if kept { "diary" } else { "recheck_low" };
        b.answer(10, condition, "looks_planned", "Low, looks at 12:25");
    }),
    ("K1.drowsy", |b, kept| {
        b.flat(0, 20, 60);
        b.note(10, Note::Symptoms("drowsy"));
        b.answer(10, "diary", "noted", if kept { "A low first: 60" } else { "Noted" });
    }),
    ("K1.again", |b, kept| {
        b.flat(0, 240, 200);
        b.note(10, Note::Ketones(90));
        if kept {
            b.out(130, "prompt", "ketones", "Ketones again?");
        }
    }),
    ("K1.rings", |b, kept| {
        b.flat(0, 120, 260);
        b.note(10, Note::Ketones(320));
        if kept {
            b.out(25, "repeated", "ketones", "Emergency help now: ketones 3.2");
        }
    }),
    ("K1.second", |b, kept| {
        b.person();
        b.flat(0, 120, 260);
        b.note(10, Note::Ketones(320));
        if kept {
            b.call(10, "Ada has ketones of 3.2");
        }
    }),
    ("K2", |b, kept| {
        b.flat(0, 20, 150);
        b.note(10, Note::Insulin(Some(40_000)));
        b.answer(10, "diary", "noted", if kept { "400 units. Was this meant?" } else { "Noted: insulin 400 U." });
    }),
    ("K3.insulin", |b, kept| {
        b.flat(0, 20, 62);
        b.note(10, Note::Insulin(Some(300)));
        b.answer(10, "diary", "noted", if kept { "You were at 62. Was this meant?" } else { "Noted" });
    }),
    ("K3.long", |b, kept| {
        b.flat(0, 20, 62);
        b.note(10, Note::LongActing(Some(1_400)));
        b.answer(10, "diary", "noted", if kept { "Treat the low first; do not skip it" } else { "Noted" });
    }),
    ("K4.old", |b, kept| {
        b.flat(0, 120, 110);
        b.flat(125, 140, 62);
        b.note_of(130, 20, Note::Treated(Side::Low));
        let (reason, words) =
            if kept { ("asks", "At 12:20? Was this meant?") } else { ("looks_planned", "Looks at 14:30") };
        b.answer(130, "recheck_low", reason, words);
    }),
    ("K4.own_time", |b, kept| {
        b.flat(0, 60, 62);
        b.note_of(20, 10, Note::Treated(Side::Low));
        b.silent(if kept { 25 } else { 55 }, "look", "recheck_low");
    }),
    ("K5.limit", |b, kept| {
        b.record.settings.profiles.push("pregnancy");
        b.flat(0, 125, 100);
        b.flat(130, 200, 66);
        if kept {
            b.out(130, "raised", "low", "Low: 66");
        }
    }),
    ("K5.sick", |b, kept| {
        b.record.settings.profiles.push("ketone_prone");
        b.flat(0, 300, 120);
        let until = b.at(600);
        b.give(5, In::Mode { mode: "sick", until });
        if kept {
            b.out(100, "prompt", "mode", "Ill: ketones?");
        }
    }),
];

#[test]
fn records_about_highs_and_ketones_are_judged_rightly() {
    run(CASES);
}
