//! What people type. The only part that prints: data to standard output, words to standard error.

mod at_once;
mod burden;
mod calls;
mod chart;
mod check;
mod demo;
mod diary;
mod exclude;
mod inspect;
mod kind;
mod mode;
mod print;
mod remind;
mod replay;
mod replay_lines;
mod replay_own;
mod replay_table;
mod replay_together;
mod responses;
mod responses_json;
mod responses_table;
mod responses_talk;
mod say;
mod sources;
mod status;
mod status_hours;
mod status_insulin;
mod stories;
mod suggest;
mod suggest_picture;
mod watch;
mod why;
mod zone;

use crate::config::meant::{self, Purpose};
use crate::config::{Settings, files};
use crate::domain::local::Zone;
use crate::domain::travel::WallClock;
use crate::store::Store;
use clap::{Parser, Subcommand};
use print::{Failure, fail, mistyped};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Watches glucose sensor readings, alerts, and looks again after a treatment.
///
/// It reminds; it is not a medical device, and it can be late, wrong or off. Keep your sensor's own
/// alarms on, and follow the plan you made with your care team.
#[derive(Debug, Parser)]
#[command(
    version,
    arg_required_else_help = true,
    after_help = "Examples:\n  recheck demo                      a day of an invented wearer, in a minute\n  recheck run                       watch, as the settings say\n  recheck treated                   the open high or low was treated: look again\n  recheck note insulin 4 --at 14:05 a diary line\n  recheck replay day.csv            what would have rung on past readings\n  recheck replay --against level.high.limit=200\n                                    what other settings would change"
)]
struct Arguments {
    /// Settings file [default: recheck.toml in the XDG config folder].
    #[arg(long, global = true, value_name = "FILE")]
    config: Option<PathBuf>,
    /// State folder [default: recheck in the XDG state folder].
    #[arg(long, global = true, value_name = "FOLDER")]
    state: Option<PathBuf>,
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Watch: read, decide, alert, look again. Runs until stopped.
    ///
    /// What is decided goes to standard error; `RECHECK_LOG=debug` says more, `RECHECK_LOG=warn` less.
    Run {
        /// Read lines from standard input instead of the folders in the settings.
        #[arg(long)]
        stdin: bool,
    },
    /// What is true now: the last reading, open alerts, re-checks, channels, sources.
    Status {
        /// As one JSON object.
        #[arg(long)]
        json: bool,
    },
    /// What came from each source, what was refused, and how its files are written.
    Sources,
    /// Mark an alert, or all open ones, as seen.
    Seen {
        /// Number of the alert; without it, all that are open.
        id: Option<u64>,
        /// Who has it, when it is not you: the name of a person in the settings. You and the others are told.
        #[arg(long, value_name = "NAME")]
        by: Option<String>,
        /// They are with you: nobody else is called for half an hour.
        #[arg(long, requires = "by")]
        with: bool,
    },
    /// Say that a high or a low was treated: recheck looks again.
    Treated {
        /// `high`, `low`, or the number of an alert; not needed when one is open.
        which: Option<String>,
        /// When it was treated: 14:05, "2026-03-02 14:05", or 20m for twenty minutes ago.
        #[arg(long, value_name = "TIME")]
        at: Option<String>,
        /// Of a high: ask me then, whatever the therapy: 60m, 1h30m.
        #[arg(long, value_name = "SPAN")]
        look: Option<String>,
    },
    /// Write a diary line: insulin, carbohydrate, meter, ketones, symptoms, exercise, site, sensor, scan, a1c, therapy, text.
    ///
    /// `a1c` is a laboratory's, in % or mmol/mol; `therapy` says which settings of your therapy changed, in your own
    /// words. Both may be of a day: --at 2026-03-02.
    Note {
        /// What it is about.
        kind: String,
        /// An amount where the kind has one, then your own words.
        words: Vec<String>,
        /// When it happened: 14:05, "2026-03-02 14:05", or 20m for twenty minutes ago.
        #[arg(long, value_name = "TIME")]
        at: Option<String>,
    },
    /// The diary by number; amend, delete or restore a line. What hangs on it follows, and what it said is kept.
    ///
    /// `recheck diary amend 12 --at 14:05` moves line 12, `recheck diary amend 12 insulin 4 supper` says it anew.
    Diary(diary::Typed),
    /// No ring for a while, of one condition or of what rang last; `quiet off` ends it. What is graver rings.
    Quiet {
        /// For how long: 15m, 1h; or `off`.
        how_long: String,
        /// Of what: low, high, gap ...; `very_low` must be named.
        condition: Option<String>,
    },
    /// Be watched in another way for some time: driving, exercise, alcohol, sick, doubted, aftercare; without a
    /// word, what is on.
    ///
    /// It ends by itself, or with `mode off`. Asked for again it counts from then. docs/modes.md has what each does.
    Mode {
        /// Nothing; a mode, and for how long (2h, 90m); or `off`, and one to end.
        #[arg(value_name = "MODE SPAN | off MODE")]
        words: Vec<String>,
    },
    /// Say which of two signals counts: a value near it, or a source; `all` for both again.
    Trust {
        /// A value such as 142 in your unit, the name of a source, or `all`.
        which: String,
    },
    /// Why an alert rang, or why it was quiet: readings, rule, times, deliveries.
    Why {
        /// Number of the alert; without it, the last decisions.
        id: Option<u64>,
    },
    /// How often the alerts rang, by day and by night, how they were answered, and which nobody needed.
    Burden {
        /// So many days back from now.
        #[arg(long, value_name = "N", default_value_t = 14, value_parser = clap::value_parser!(u16).range(1..))]
        days: u16,
        /// As one JSON object, as docs/burden.md describes.
        #[arg(long)]
        json: bool,
    },
    /// Leave a stretch of time out of all that is counted, with the reason: a faulty sensor. Alerts ring as ever.
    ///
    /// `recheck exclude 14:00 20:30 the sensor came loose`; `recheck exclude off 3` takes it back.
    Exclude(exclude::Typed),
    /// Where you are when that is not home: the zone in force, or NAME until DATE, or home.
    ///
    /// By night, in texts, and for times without an offset the zone there counts while you are there.
    Zone {
        /// Nothing; a zone, `until`, and the last day there (2026-12-20, or "2026-12-20 14:00"); or `home`.
        #[arg(value_name = "NAME until DATE | home")]
        words: Vec<String>,
        /// When it begins, by the clock you have until then: "2026-12-10 14:05", 14:05, or 2h for two hours ago.
        #[arg(long, value_name = "TIME")]
        from: Option<String>,
    },
    /// Your own reminders: once or again and again, in your own words; without anything it lists them.
    ///
    /// They ring by night as by day. By the wall clock they follow clock changes and travel.
    Remind(remind::Typed),
    /// Check the settings: all problems at once.
    Check,
    /// Send a trial by every channel, and say what came of it.
    Try,
    /// Run past readings, or your own history, through the same engine in pretend time, with other settings if you like.
    ///
    /// Prints a table of what would have rung; with --against, what other settings would have changed. With --together
    /// the files are one person's: readings, and a diary with what was answered, taken and eaten.
    Replay(replay::Typed),
    /// Which settings would have asked less of you on your own past days, and what they would cost. Changes nothing.
    ///
    /// The first seven tenths of the days choose, the others only check.
    Suggest(suggest::Typed),
    /// What followed on your corrections, meals and treated lows, by the part of the day: facts for a talk with your care
    /// team.
    ///
    /// Counts what was noted, with how many each number is of. It works out no amounts, and is no advice.
    Responses(responses::Typed),
    /// How a file is written: what was found out, a preview, and the settings that say the same.
    Inspect {
        /// The file.
        file: PathBuf,
        /// A setting to try, such as `source.sensor.unit=mmol/L`.
        #[arg(long, value_name = "KEY=VALUE")]
        set: Vec<String>,
    },
    /// A scripted day of an invented wearer in about a minute, through everything that is real.
    Demo,
}

/// Runs what was typed.
#[must_use]
pub fn main() -> ExitCode {
    let arguments = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(error) => return mistyped(&error),
    };
    let place = Place { config: arguments.config, state: arguments.state };
    let done = match arguments.command {
        Command::Run { stdin } => watch::run(&place, stdin),
        Command::Status { json } => status::run(&place, json),
        Command::Sources => sources::run(&place),
        Command::Seen { id, by, with } => say::seen(&place, id, by.as_deref(), with),
        Command::Treated { which, at, look } => say::treated(&place, which.as_deref(), at.as_deref(), look.as_deref()),
        Command::Note { kind, words, at } => say::note(&place, &kind, &words, at.as_deref()),
        Command::Diary(typed) => diary::run(&place, &typed),
        Command::Quiet { how_long, condition } => say::quiet(&place, &how_long, condition.as_deref()),
        Command::Mode { words } => mode::run(&place, &words),
        Command::Trust { which } => say::trust(&place, &which),
        Command::Why { id } => why::run(&place, id),
        Command::Burden { days, json } => burden::run(&place, days, json),
        Command::Exclude(typed) => exclude::run(&place, &typed),
        Command::Zone { words, from } => zone::run(&place, &words, from.as_deref()),
        Command::Remind(typed) => remind::run(&place, &typed),
        Command::Check => check::check(&place),
        Command::Try => check::trial(&place),
        Command::Replay(typed) => replay::run(&place, &typed),
        Command::Suggest(typed) => suggest::run(&place, &typed),
        Command::Responses(typed) => responses::run(&place, &typed),
        Command::Inspect { file, set } => inspect::run(&place, &file, &set),
        Command::Demo => demo::run(),
    };
    match done {
        Ok(code) => code,
        Err(failure) => fail(&failure),
    }
}

/// The store in the state folder, which may not be there yet.
fn open_store(folder: &Path) -> Result<Store, Failure> {
    std::fs::create_dir_all(folder)
        .map_err(|error| Failure::new(format!("cannot use the state folder {}: {error}", folder.display())))?;
    Ok(Store::open(folder)?)
}

/// Where settings and state are.
#[derive(Debug)]
struct Place {
    config: Option<PathBuf>,
    state: Option<PathBuf>,
}

impl Place {
    fn state(&self) -> PathBuf {
        self.state.clone().unwrap_or_else(files::state_folder)
    }

    fn config(&self) -> PathBuf {
        self.config.clone().unwrap_or_else(files::settings_file)
    }

    /// The wearer's clock, with all that was said of it.
    fn wall_clock(&self, home: Zone) -> Result<WallClock, Failure> {
        let store = Store::look(&self.state())?;
        Ok(store.map_or_else(|| Ok(WallClock::at_home(home)), |store| store.wall_clock(home))?)
    }

    /// The settings to show things by, in the zone that is in force, and the wearer's clock.
    fn settings_in_force(&self) -> Result<(Settings, WallClock), Failure> {
        let mut settings = self.settings_to_show(&[], files::computer_zone())?;
        let clock = self.wall_clock(settings.policy.zone)?;
        settings.policy.zone = clock.zone_at(crate::daemon::clock::wall());
        Ok((settings, clock))
    }

    /// The settings to watch by.
    fn settings(&self) -> Result<Settings, Failure> {
        let path = self.config();
        let bytes = std::fs::read(&path).map_err(|error| {
            Failure::new(format!("cannot read the settings {}: {error}", path.display()))
                .hint("copy config/recheck.toml there and change what is yours, or name another file with --config")
        })?;
        Ok(meant::settings_in(&bytes, &path, &[], Purpose::Watch, files::computer_zone())?)
    }

    /// The settings to show things by: the defaults where there is no file.
    fn settings_to_show(&self, set: &[String], zone: Zone) -> Result<Settings, Failure> {
        let path = self.config();
        let bytes = match std::fs::read(&path) {
            Ok(bytes) => bytes,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound && self.config.is_none() => Vec::new(),
            Err(error) => {
                return Err(Failure::new(format!("cannot read the settings {}: {error}", path.display())));
            }
        };
        Ok(meant::settings_in(&bytes, &path, set, Purpose::Replay, zone)?)
    }
}
