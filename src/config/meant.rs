//! The settings as meant: checked values, with the defaults of the parts they belong to.

use super::bounds::{Bounds, DEADBAND};
use super::ends::{ChannelSettings, Reach, SourceSettings, channels, sources};
use super::forecasts::forecasts;
use super::people::people;
use super::problem::{Place, Problem, Problems};
use super::quiet::quiet;
use super::rise::unnoted_rise;
use super::steps::escalation;
use super::tree::{self, Node};
use super::wearer::wearer;
use super::words::Words;
use crate::domain::glucose::Unit;
use crate::domain::local::Zone;
use crate::domain::time::Span;
use crate::engine::effect::Condition;
use crate::engine::policy::{LevelPolicy, Policy, Rings};
use crate::formats::wanted::Wanted;
use std::collections::BTreeMap;
use std::path::Path;

/// All settings.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Settings {
    /// What the engine is told.
    pub policy: Policy,
    /// Where readings come from, in the order of their numbers.
    pub sources: Vec<SourceSettings>,
    /// Ways to reach the wearer.
    pub channels: Vec<ChannelSettings>,
    /// Whom each channel reaches, and how, by its name.
    pub reaches: BTreeMap<String, Reach>,
}

impl Settings {
    /// How tables are written that come from no source of their own: as the first source's, or anyhow.
    #[must_use]
    pub fn first_format(&self) -> Wanted {
        let anything = || Wanted { meter_unit: self.policy.unit, ..Wanted::anything(self.policy.zone) };
        self.sources.first().map_or_else(anything, |source| source.format.clone())
    }
}

/// What must be there for a purpose.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Purpose {
    /// To watch: a source and a channel.
    Watch,
    /// To replay files: neither.
    Replay,
}

/// Reads settings from text, with assignments of the command line laid over them.
///
/// # Errors
/// All problems at once, in the order of the file.
pub fn settings(
    text: &str,
    path: Option<&Path>,
    assignments: &[String],
    purpose: Purpose,
    zone: Zone,
) -> Result<Settings, Problems> {
    let (mut tree, mut problems) = tree::read(text);
    for assignment in assignments {
        if let Err(problem) = tree::set(&mut tree, assignment) {
            problems.push(problem);
        }
    }
    let settings = whole(tree, purpose, zone, &mut problems);
    if problems.is_empty() {
        return Ok(settings);
    }
    problems.sort_by_key(|problem| problem.place);
    Err(Problems { path: path.map(Path::to_path_buf), all: problems })
}

/// The same from the bytes of a file.
///
/// # Errors
/// The same, and where it is not UTF-8.
pub fn settings_in(
    bytes: &[u8],
    path: &Path,
    assignments: &[String],
    purpose: Purpose,
    zone: Zone,
) -> Result<Settings, Problems> {
    let text = tree::text(bytes).map_err(|problem| Problems { path: Some(path.to_path_buf()), all: vec![problem] })?;
    settings(text, Some(path), assignments, purpose, zone)
}

fn whole(tree: Node, purpose: Purpose, zone: Zone, problems: &mut Vec<Problem>) -> Settings {
    let start = Place::File { line: 1, column: 1 };
    let mut top = Words::of("", Some(tree), start, problems);
    let mut policy = Policy::new(zone);

    wearer(&mut top, &mut policy, start);
    levels(&mut top, &mut policy, purpose, start);
    forecasts(&mut top, &mut policy.forecasts, start);
    quiet(&mut top, &mut policy, start);

    unnoted_rise(&mut top, policy.unit, &mut policy.unnoted_rise, start);

    let gap_node = top.take("gap");
    let mut gap = Words::of("gap", gap_node, start, top.problems());
    gap.span_within("after", Span::minutes(5)..=Span::hours(4), &mut policy.gap.after);
    gap.tenths("cadences", &mut policy.gap.cadences_tenths);
    gap.span_within("after_low", Span::minutes(5)..=Span::hours(2), &mut policy.gap.after_low);
    gap.tenths("cadences_low", &mut policy.gap.cadences_low_tenths);
    gap.end();

    let recheck_node = top.take("recheck");
    let mut recheck = Words::of("recheck", recheck_node, start, top.problems());
    recheck.spans("high_looks", &mut policy.recheck.high_looks);
    if !policy.recheck.high_looks.is_sorted() {
        let place = recheck.place;
        recheck.wrong(place, "recheck.high_looks are not in order", "each look comes later than the one before it");
    }
    recheck.span_within("coming_down", Span::minutes(5)..=Span::hours(4), &mut policy.recheck.coming_down);
    recheck.span_within("low_look", Span::minutes(5)..=Span::hours(1), &mut policy.recheck.low_look);
    recheck.spans("still_high", &mut policy.recheck.still_high);
    recheck.span_within("rebound_delay", Span::ZERO..=Span::hours(2), &mut policy.recheck.rebound_delay);
    if let Some(wanted) = recheck.yes_or_no("evening_look") {
        policy.recheck.evening_look = wanted;
    }
    recheck.span_within("ketone_night", Span::hours(2)..=Span::hours(9), &mut policy.recheck.ketone_night);
    recheck.end();

    let sources = sources(&mut top, &mut policy, purpose, start);
    let (channels, mut reaches) = channels(&mut top, purpose, start);
    people(&mut top, &mut policy, &mut reaches, start);
    escalation(&mut top, &mut policy.escalation, start);
    top.end();
    Settings { policy, sources, channels, reaches }
}

fn levels(top: &mut Words<'_>, policy: &mut Policy, purpose: Purpose, start: Place) {
    let unit = policy.unit;
    let node = top.take("level");
    let mut all = Words::of("level", node, start, top.problems());
    let (table, because_of) = (&mut policy.levels, &mut policy.because);
    let mut placed = Vec::new();
    for (key, name, level) in [
        ("very_low", "level.very_low", &mut table.very_low),
        ("low", "level.low", &mut table.low),
        ("high", "level.high", &mut table.high),
        ("very_high", "level.very_high", &mut table.very_high),
    ] {
        let node = all.take(key);
        let place = node.as_ref().map_or(start, |node| node.place);
        let mut words = Words::of(name, node, place, all.problems());
        let limit = one_level(&mut words, unit, &Bounds::of(key, purpose), level);
        let because = words.text("because").map(|(_, because)| one_line(&because)).unwrap_or_default();
        let place = limit.unwrap_or(place);
        match (key, level.rings) {
            ("very_low", Rings::Always) | ("low", Rings::Always | Rings::ByDay) | ("high" | "very_high", _) => {}
            ("very_low", _) => {
                words.wrong(place, "level.very_low must always ring", "a value below this limit may not wait");
            }
            (_, _) => words.wrong(place, "there would be no low alert", "level.low may ring \"always\" or \"by_day\""),
        }
        if key == "very_low" && level.on_delay > Span::ZERO {
            words.wrong(place, "level.very_low may not have an on_delay", "a value below this limit may not wait");
            level.on_delay = Span::ZERO;
        }
        if level.rings == Rings::Never && because.is_empty() {
            let hint = "add because = \"...\" beside it: once a week you are reminded of it in these words";
            words.wrong(place, format!("{name} is switched off, and nothing says why"), hint);
        }
        because_of.extend(Condition::named(key).filter(|_| !because.is_empty()).map(|level| (level, because)));
        placed.push((name, place, level.limit));
        words.end();
    }
    for pair in placed.windows(2) {
        if let [(below, _, lower), (above, place, upper)] = pair
            && lower.hundredths() >= upper.hundredths()
        {
            let (lower, upper) = (lower.shown(unit, None), upper.shown(unit, None));
            all.wrong(
                *place,
                format!("{below}.limit {lower} is not below {above}.limit {upper}"),
                format!("limits are in {}, and must grow from very_low to very_high", unit.name()),
            );
        }
    }
    let place = placed.get(1).map_or(start, |(_, place, _)| *place);
    let (low, high) = (table.low, table.high);
    if low.limit.hundredths() + low.deadband.hundredths() >= high.limit.hundredths() - high.deadband.hundredths() {
        all.wrong(
            place,
            "the deadbands of level.low and level.high meet",
            "neither alert could end: make them smaller",
        );
    }
    all.end();
}

fn one_level(words: &mut Words<'_>, unit: Unit, bounds: &Bounds, level: &mut LevelPolicy) -> Option<Place> {
    let place = words.glucose_within("limit", unit, bounds.limit.clone(), &mut level.limit);
    words.glucose_within("deadband", unit, DEADBAND, &mut level.deadband);
    words.span_within("on_delay", Span::ZERO..=bounds.on_delay, &mut level.on_delay);
    words.span_within("off_delay", Span::ZERO..=bounds.off_delay, &mut level.off_delay);
    words.span_within("again_after", Span::ZERO..=bounds.again_after, &mut level.again_after);
    words.glucose("again_beyond", unit, &mut level.again_beyond);
    words.span_within("again_quiet", Span::ZERO..=bounds.again_quiet, &mut level.again_quiet);
    if let Some(rings) = words.parsed("rings", "\"always\", \"by_day\" or \"never\"", rings) {
        level.rings = rings;
    }
    place
}

fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

pub(super) fn rings(text: &str) -> Option<Rings> {
    match text {
        "always" => Some(Rings::Always),
        "by_day" => Some(Rings::ByDay),
        "never" => Some(Rings::Never),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::ketone_table::KetoneTest;
    use crate::engine::mode::profile::Profile;
    use crate::engine::policy::Whom;

    fn problems(text: &str) -> Vec<String> {
        let read = settings(text, None, &[], Purpose::Replay, Zone::UTC);
        read.err().map(|problems| problems.all).unwrap_or_default().into_iter().map(|problem| problem.what).collect()
    }

    #[test]
    fn all_problems_come_at_once_with_their_places() {
        let text = "[wearer]\nunitt = \"mg/dL\"\nnight = \"late\"\n[level.low]\nlimit = 190\nrings = \"never\"\n[chanel.desktop]\n";
        let all = settings(text, None, &[], Purpose::Watch, Zone::UTC).unwrap_err().all;
        let said: Vec<String> = all
            .iter()
            .map(|problem| match problem.place {
                Place::File { line, column } => {
                    format!("{line}:{column} {}; {}", problem.what, problem.hint)
                }
                Place::Set => unreachable!(),
            })
            .collect();
        for wanted in [
            "2:1 there is no setting \"unitt\" in [wearer]; did you mean \"unit\"?",
            "3:1 wearer.night is \"late\"; it should be hours such as \"23:00-07:00\"",
            "5:1 there would be no low alert; level.low may ring \"always\" or \"by_day\"",
            "7:2 there is no setting \"chanel\"; did you mean \"channel\"?",
        ] {
            assert!(said.iter().any(|line| line == wanted), "{wanted}\nnot in\n{}", said.join("\n"));
        }
        assert!(
            said.iter().any(|line| line.contains("level.low.limit 190 is not below level.high.limit 180")),
            "{said:?}"
        );
        assert!(said.iter().any(|line| line.contains("no channel")), "{said:?}");
    }

    #[test]
    fn a_section_that_stands_twice_is_told_with_what_to_do() {
        let text = "[source.sensor]\nfolder = \"a\"\n[source.sensor]\nunit = \"mmol/L\"\n";
        let all = settings(text, None, &[], Purpose::Replay, Zone::UTC).unwrap_err().all;
        assert!(
            all.iter().any(|one| one.what == "duplicate key" && one.hint.contains("put its lines together")),
            "{all:?}"
        );
    }

    #[test]
    fn an_emergency_number_is_whole_or_refused() {
        let read = |text: &str| settings(text, None, &[], Purpose::Replay, Zone::UTC).map(|read| read.policy.emergency);
        assert_eq!(read("[wearer]\nemergency = \" 112 \"\n").unwrap().as_deref(), Some("112"));
        assert_eq!(read("").unwrap(), None);
        for bad in ["\"\"", "\"the number that hangs beside the oven\"", "\"112\\n911\""] {
            assert_eq!(problems(&format!("[wearer]\nemergency = {bad}\n")).len(), 1, "{bad}");
        }
    }

    #[test]
    fn very_low_may_neither_wait_nor_be_silent() {
        assert_eq!(problems("[level.very_low]\non_delay = \"5m\"\n"), ["level.very_low may not have an on_delay"]);
        assert_eq!(problems("[level.very_low]\nrings = \"by_day\"\n"), ["level.very_low must always ring"]);
    }

    /// 63-140 mg/dL is 3.5-7.8 mmol/L (Battelino 2019, Diabetes Care 42:1593); its lower end is a bound for reports, and a
    /// low stays one below 70. Half an hour is no default.
    #[test]
    fn profiles_change_defaults_and_what_is_written_wins() {
        let read = |text: &str| settings(text, None, &[], Purpose::Replay, Zone::UTC).unwrap().policy;
        let limits = |policy: &Policy| [policy.levels.low, policy.levels.high].map(|level| level.limit.hundredths());
        let both = read("[wearer]\nprofile = [\"impaired_awareness\", \"pregnancy\", \"pregnancy\"]\n");
        assert_eq!(both.profiles, [Profile::Pregnancy, Profile::ImpairedAwareness]);
        assert_eq!(limits(&both), [7_000, 14_000]);
        let second = |policy: &Policy| {
            let high = &policy.escalation.high;
            [&high.by_night, &high.by_day].map(|steps| {
                let second = steps.iter().find(|step| step.to == Whom::Second);
                second.map(|second| second.after.as_minutes())
            })
        };
        assert_eq!(second(&both), [Some(5), Some(10)]);
        let in_mmol = read("[wearer]\nunit = \"mmol/L\"\nprofile = \"pregnancy\"\n");
        assert_eq!(in_mmol.levels.low.limit.shown(Unit::MmolL, None), "3.9");
        assert_eq!(in_mmol.levels.high.limit.shown(Unit::MmolL, None), "7.8");
        let written = "[level.high]\nlimit = 150\n[escalation.high]\nby_night = [\"30m second\"]\n";
        let written = read(&format!("[wearer]\nprofile = [\"pregnancy\", \"impaired_awareness\"]\n{written}"));
        assert_eq!(limits(&written), [7_000, 15_000]);
        let low = read("[wearer]\nprofile = \"pregnancy\"\n[level.low]\nlimit = 63\n");
        assert_eq!(limits(&low), [6_300, 14_000]);
        assert_eq!(second(&written), [Some(30), Some(10)]);
        assert_eq!(problems("[wearer]\nprofile = [\"pregnant\"]\n"), ["wearer.profile is \"pregnant\""]);
        assert_eq!(problems("[wearer]\nprofile = 1\n").len(), 1);
    }

    #[test]
    fn how_ketones_are_measured_is_said_or_blood() {
        let read = |text: &str| settings(text, None, &[], Purpose::Replay, Zone::UTC).unwrap().policy;
        assert_eq!(read("").ketone_test, KetoneTest::Blood);
        assert!(!read("").therapy_is_known && read("[wearer]\ntherapy = \"injections\"\n").therapy_is_known);
        for test in KetoneTest::ALL {
            assert_eq!(read(&format!("[wearer]\nketone_test = \"{}\"\n", test.name())).ketone_test, test);
        }
        assert_eq!(problems("[wearer]\nketone_test = \"breath\"\n"), ["wearer.ketone_test is \"breath\""]);
        assert_eq!(read("[wearer]\nprofile = \"ketone_prone\"\n").profiles, [Profile::KetoneProne]);
    }

    #[test]
    fn a_channel_reaches_one_person_and_is_named_once() {
        let text = |sam: &str, kim: &str| {
            let channel = |name: &str| format!("[channel.{name}]\nkind = \"desktop\"\n");
            let channels = ["wearers", "sams", "kims"].map(channel).concat();
            let person =
                |name: &str, order: u8, names: &str| format!("[person.{name}]\norder = {order}\nchannels = {names}\n");
            [channels, person("sam", 1, sam), person("kim", 2, kim)].concat()
        };
        assert_eq!(problems(&text("\"sams\"", "\"kims\"")), Vec::<String>::new());
        assert_eq!(problems(&text("[\"sams\", \"sams\"]", "\"kims\"")), ["person.sam names channel \"sams\" twice"]);
        assert_eq!(problems(&text("\"sams\"", "\"sams\"")), ["channel.sams reaches two people"]);
    }

    #[test]
    fn a_level_that_is_switched_off_says_why() {
        assert_eq!(
            problems("[level.high]\nrings = \"never\"\nbecause = \" \"\n"),
            ["level.high is switched off, and nothing says why"]
        );
        let off = "[level.high]\nrings = \"never\"\nbecause = \"a week of\\nillness\"\n";
        let read = settings(off, None, &[], Purpose::Replay, Zone::UTC).unwrap();
        assert_eq!(read.policy.because.get(&Condition::High).map(String::as_str), Some("a week of illness"));
    }

    #[test]
    fn the_command_line_wins_and_limits_follow_the_unit() {
        let set = ["wearer.unit=mmol/L", "level.low.limit=4.0", "wearer.night=22:00-06:00"].map(str::to_owned);
        let read = settings("[level.low]\nlimit = 3.9\n", None, &set, Purpose::Replay, Zone::UTC).unwrap();
        assert_eq!(read.policy.levels.low.limit.hundredths(), 7_200);
        assert_eq!(read.policy.night.to_string(), "22:00-06:00");
    }
}
