//! Mistakes in the settings: each is told with its line and column and what to do about it, nothing starts, and
//! none leaves a person without low alerts who believes to have them.

use super::real::PROGRAM;
use std::fs;
use std::path::Path;
use std::process::{Command, Output, Stdio};

/// Settings that are good, to be spoiled.
const GOOD: &str = "[source.sensor]\nfolder = \"glucose\"\n[channel.desktop]\nkind = \"desktop\"\n";

fn check(file: &Path, command: &str) -> Output {
    Command::new(PROGRAM)
        .env_clear()
        .env("HOME", file.parent().unwrap())
        .args(["--config", file.to_str().unwrap(), "--state", file.with_extension("state").to_str().unwrap(), command])
        .stdin(Stdio::null())
        .output()
        .unwrap()
}

use Spoilt::{After, Whole};

/// How good settings are spoiled.
enum Spoilt {
    /// By these lines after them.
    After(&'static [u8]),
    /// By this in their place.
    Whole(&'static [u8]),
}

/// What is mistaken, the settings, where and what the error is, and what the hint says.
const MISTAKES: &[(&str, Spoilt, &str, &str)] = &[
    (
        "a section misspelt",
        After(b"[levle.low]\nlimit = 72\n"),
        "5:2: there is no setting \"levle\"",
        "did you mean \"level\"?",
    ),
    (
        "a setting misspelt",
        After(b"[level.low]\nlimt = 72\n"),
        "6:1: there is no setting \"limt\" in [level.low]",
        "did you mean \"limit\"?",
    ),
    (
        "a level that is none",
        After(b"[level.lows]\nlimit = 72\n"),
        "5:8: there is no setting \"lows\" in [level]",
        "did you mean \"low\"?",
    ),
    (
        "limits swapped",
        After(b"[level.low]\nlimit = 110\n[level.high]\nlimit = 105\n"),
        "8:1: level.low.limit 110 is not below level.high.limit 105",
        "must grow from very_low to very_high",
    ),
    (
        "very low above low",
        After(b"[level.very_low]\nlimit = 80\n"),
        "level.very_low.limit 80 is not below level.low.limit 70",
        "must grow",
    ),
    (
        "no channel",
        Whole(b"[source.sensor]\nfolder = \"glucose\"\n"),
        "1:1: there is no channel",
        "add [channel.desktop]",
    ),
    (
        "no source",
        Whole(b"[channel.desktop]\nkind = \"desktop\"\n"),
        "1:1: there is no source of readings",
        "add [source.sensor]",
    ),
    (
        "a source without a folder",
        Whole(b"[source.sensor]\n[channel.desktop]\nkind = \"desktop\"\n"),
        "1:9: source.sensor has no folder",
        "name the folder",
    ),
    (
        "an unknown zone",
        After(b"[wearer]\ntimezone = \"Europe/Madird\"\n"),
        "6:1: wearer.timezone is \"Europe/Madird\"",
        "a name such as",
    ),
    ("an unknown unit", After(b"[wearer]\nunit = \"mg\"\n"), "6:1: wearer.unit is \"mg\"", "\"mg/dL\" or \"mmol/L\""),
    ("a night of one end", After(b"[wearer]\nnight = \"23:00\"\n"), "6:1: wearer.night is \"23:00\"", "hours such as"),
    (
        "a bedtime that is none",
        After(b"[wearer]\nbedtime = \"late\"\n"),
        "6:1: wearer.bedtime is \"late\"",
        "a time of day such as",
    ),
    (
        "a negative span",
        After(b"[level.low]\noff_delay = \"-5m\"\n"),
        "6:1: level.low.off_delay is \"-5m\"",
        "a span such as",
    ),
    ("a span without a unit", After(b"[gap]\nafter = 25\n"), "6:1: gap.after is a number", "text in quotes"),
    (
        "one limit in the other unit",
        After(b"[level.low]\nlimit = 3.9\n"),
        "6:1: level.low.limit is 3.9 mg/dL",
        "a number of mmol/L needs unit = \"mmol/L\" in [wearer]",
    ),
    (
        "all limits in the other unit",
        After(b"[level]\nvery_low.limit = 3.0\nlow.limit = 3.9\nhigh.limit = 10.0\nvery_high.limit = 13.9\n"),
        "7:5: level.low.limit is 3.9 mg/dL",
        "needs unit = \"mmol/L\"",
    ),
    (
        "limits in mg/dL under mmol/L",
        After(b"[wearer]\nunit = \"mmol/L\"\n[level.low]\nlimit = 70\n"),
        "8:1: level.low.limit is 70 mmol/L",
        "a number of mg/dL needs unit = \"mg/dL\" in [wearer]",
    ),
    (
        "a limit no sensor reaches",
        After(b"[level.very_low]\nlimit = 30\n"),
        "6:1: level.very_low.limit is 30 mg/dL",
        "it should be from 40 to 120 mg/dL",
    ),
    ("a limit below nothing", After(b"[level.low]\nlimit = -70\n"), "6:1: level.low.limit is -70", "a number of mg/dL"),
    (
        "a limit that is no number",
        After(b"[level.low]\nlimit = nan\n"),
        "6:1: level.low.limit is nan",
        "a number of mg/dL",
    ),
    ("a limit in quotes", After(b"[level.low]\nlimit = \"70\"\n"), "6:1: level.low.limit is text", "a number of mg/dL"),
    (
        "a huge limit",
        After(b"[level.low]\nlimit = 99999999999999999999999\n"),
        "6:1: level.low.limit is 99999999999999999999999",
        "a number of mg/dL",
    ),
    (
        "a very low that waits",
        After(b"[level.very_low]\non_delay = \"5m\"\n"),
        "level.very_low may not have an on_delay",
        "may not wait",
    ),
    (
        "a very low that sleeps",
        After(b"[level.very_low]\nrings = \"by_day\"\n"),
        "level.very_low must always ring",
        "may not wait",
    ),
    (
        "a low that never rings",
        After(b"[level.low]\nrings = \"never\"\n"),
        "there would be no low alert",
        "\"always\" or \"by_day\"",
    ),
    (
        "a low that waits for days",
        After(b"[level.low]\non_delay = \"20d\"\n"),
        "6:1: level.low.on_delay is out of range",
        "from 0 min to 30 min",
    ),
    (
        "a low that is not told again",
        After(b"[level.low]\nagain_quiet = \"20d\"\n"),
        "6:1: level.low.again_quiet is out of range",
        "from 0 min to 2 h",
    ),
    (
        "a low that never ends",
        After(b"[wearer]\nunit = \"mmol/L\"\n[level.low]\ndeadband = 20\n"),
        "8:1: level.low.deadband is 20 mmol/L",
        "from 0.0 to 3.3 mmol/L; a number of mg/dL needs unit = \"mg/dL\" in [wearer]",
    ),
    (
        "a low that ends as a high begins",
        After(b"[level.low]\ndeadband = 60\n[level.high]\ndeadband = 55\n"),
        "5:8: the deadbands of level.low and level.high meet",
        "make them smaller",
    ),
    (
        "a silence that is none",
        After(b"[gap]\nafter = \"20d\"\n"),
        "6:1: gap.after is out of range",
        "from 5 min to 4 h",
    ),
    (
        "cadences beyond sense",
        After(b"[gap]\ncadences = 90\n"),
        "6:1: gap.cadences is not a number from 1 to 20",
        "write it as 2.5",
    ),
    (
        "a look that is none",
        After(b"[recheck]\nlow_look = \"20h\"\n"),
        "6:1: recheck.low_look is out of range",
        "from 5 min to 1 h",
    ),
    (
        "looks out of order",
        After(b"[recheck]\nhigh_looks = [\"2h\", \"1h\"]\n"),
        "recheck.high_looks are not in order",
        "later than the one before",
    ),
    (
        "calls that never come",
        After(b"[escalation.high]\nby_night = [\"0m all\"]\n"),
        "\"0m all\" is out of range",
        "from 1 min to 2 h",
    ),
    (
        "a person without a channel",
        After(b"[person.sam]\norder = 1\n"),
        "5:9: person.sam has no channels",
        "name the channels",
    ),
    (
        "a person's channel that is none",
        After(b"[person.sam]\nchannels = [\"sam\"]\n"),
        "5:9: person.sam: there is no channel \"sam\"",
        "the channels are: desktop",
    ),
    (
        "two people, one channel",
        After(
            b"[channel.sam]\nkind = \"webhook\"\nurl = \"https://home.example/sam\"\n\
                  [person.sam]\nchannels = [\"sam\"]\n[person.kim]\nchannels = [\"sam\"]\n",
        ),
        "channel.sam reaches two people",
        "give each their own channel",
    ),
    (
        "nobody's channel is the wearer's",
        After(b"[person.sam]\nchannels = [\"desktop\"]\n"),
        "no channel reaches the wearer at once",
        "nobody else's",
    ),
    (
        "a channel of no kind",
        After(b"[channel.watch]\nkind = \"wrist\"\n"),
        "channel.watch.kind is \"wrist\"",
        "\"desktop\" or \"webhook\"",
    ),
    (
        "an address that is none",
        After(b"[channel.phone]\nkind = \"webhook\"\nurl = \"home.example\"\n"),
        "7:1: channel.phone.url is \"home.example\"",
        "https://",
    ),
    ("a setting twice", After(b"[level.low]\nlimit = 70\nlimit = 72\n"), "7:1: duplicate key", "stands once"),
    ("a section twice", After(b"[source.sensor]\nunit = \"mmol/L\"\n"), "5:9: duplicate key", "put its lines together"),
    (
        "a table that is text",
        After(b"wearer = \"Ada\"\n"),
        "there is no setting \"wearer\" in [channel.desktop]",
        "the settings here are",
    ),
    ("a quote left open", After(b"[wearer]\nname = \"Ada\n"), "6:12: ", "text in quotes"),
    ("no quotes at all", After(b"[wearer]\ntherapy = pump\n"), "6:11: ", "text in quotes"),
    ("a bracket left open", After(b"[level.low\nlimit = 70\n"), "5:11: ", "a line is a [section]"),
    ("an empty file", Whole(b""), "1:1: there is no source of readings", "add [source.sensor]"),
    ("another encoding", After(b"# caf\xe9\n"), "5:6: this is not UTF-8 text", "save the file as UTF-8"),
    ("an encoding of two bytes", Whole(b"\xff\xfe[\0w\0"), "1:1: this is not UTF-8 text", "save the file as UTF-8"),
    ("no text", Whole(&[0; 64]), "1:1: ", "a line is a [section]"),
];

fn spoilt(by: &Spoilt) -> Vec<u8> {
    match by {
        After(lines) => [GOOD.as_bytes(), lines].concat(),
        Whole(settings) => settings.to_vec(),
    }
}

#[test]
fn every_mistake_is_told_with_its_place_and_what_to_do() {
    let folder = tempfile::tempdir().unwrap();
    let good = folder.path().join("good.toml");
    fs::write(&good, GOOD).unwrap();
    assert!(check(&good, "check").status.success(), "{:?}", check(&good, "check"));
    assert!(MISTAKES.len() >= 20);
    let mut wrong = Vec::new();
    for (number, (name, settings, error, hint)) in MISTAKES.iter().enumerate() {
        let file = folder.path().join(format!("{number}.toml"));
        fs::write(&file, spoilt(settings)).unwrap();
        let output = check(&file, "check");
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        // Each problem names the file, a line, a column, and is followed by what to do.
        let begin = format!("error: {}:", file.display());
        let problems: Vec<&str> = said.split("error: ").skip(1).collect();
        let placed = said.starts_with(&begin) && !problems.is_empty();
        let hinted = problems.iter().all(|problem| problem.lines().any(|line| line.starts_with("hint: ")));
        // A path is long: lines may be folded.
        let words = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
        let told = words(&said).contains(&words(error)) && words(&said).contains(&words(hint));
        if output.status.code() != Some(1) || !output.stdout.is_empty() || !placed || !hinted || !told {
            let stdout = String::from_utf8_lossy(&output.stdout).into_owned();
            wrong.push(format!(
                "{name}: {:?} placed {placed} hinted {hinted} told {told}\n{stdout}{said}",
                output.status
            ));
        }
    }
    assert!(wrong.is_empty(), "\n{}\n", wrong.join("\n"));
}

/// What is refused is not watched by either: nothing starts on settings that are not understood.
#[test]
fn nothing_starts_on_a_mistake() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["a low that never rings", "all limits in the other unit", "another encoding", "an empty file"] {
        let (_, settings, ..) = MISTAKES.iter().find(|(known, ..)| *known == name).unwrap();
        let file = folder.path().join("recheck.toml");
        fs::write(&file, spoilt(settings)).unwrap();
        let output = check(&file, "run");
        assert_eq!(output.status.code(), Some(1), "{name}: {output:?}");
        assert!(!file.with_extension("state").exists(), "{name}");
    }
}
