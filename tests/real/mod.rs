//! The program against real parts: a notification server, a service manager, TLS, a power cut in the
//! middle of a request. Each test names what it needs and is skipped aloud where that is missing.
//!
//! These tests wait for real things, so every wait is bounded and ends as soon as the thing is there.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stderr, reason = "a test ends loudly")]

mod bounds;
mod desktop;
mod disk;
mod systemd;
mod webhook;

use serde_json::{Value, json};
use std::collections::VecDeque;
use std::fmt::Write as _;
use std::fs::{self, File};
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};
use tempfile::TempDir;

/// The program under test.
pub(crate) const PROGRAM: &str = env!("CARGO_BIN_EXE_recheck");

/// How long anything that should happen is waited for. Far above what was measured, because a busy
/// computer must not fail a test.
pub(crate) const WAIT_MAX: Duration = Duration::from_secs(20);

/// How often something waited for is looked at.
const LOOK_EVERY: Duration = Duration::from_millis(20);

/// With this variable set to 1 a missing part is a failure: where all parts are installed, a test that
/// skips itself would hide that it no longer runs.
const DEMAND: &str = "RECHECK_DEMAND_REAL_PARTS";

/// Leads a new store back to its first released form.
pub(crate) const FIRST_FORM: &str = "DROP TABLE exclusions; DROP TABLE diary_changes; DROP INDEX diary_by_said; ALTER TABLE diary DROP COLUMN said; DROP TABLE travels; DROP INDEX inbox_by_key; ALTER TABLE inbox DROP COLUMN key; PRAGMA user_version = 1;";

/// Are the parts there that a test needs? A part is a command, or the full path of a program.
pub(crate) fn need(test: &str, parts: &[&str]) -> bool {
    let missing: Vec<&str> = parts.iter().copied().filter(|part| find(part).is_none()).collect();
    missing.is_empty() || skip(test, &missing.join(", "))
}

/// Skips a test aloud. Always false, so that a test can say `return`.
pub(crate) fn skip(test: &str, missing: &str) -> bool {
    assert!(std::env::var_os(DEMAND).is_none_or(|demand| demand != "1"), "{test}: missing: {missing}");
    eprintln!("SKIPPED: {test}: {missing}");
    false
}

fn find(part: &str) -> Option<PathBuf> {
    if part.starts_with('/') {
        return Some(PathBuf::from(part)).filter(|path| path.is_file());
    }
    let path = std::env::var_os("PATH")?;
    // Some distributions keep servers out of an ordinary person's path.
    std::env::split_paths(&path)
        .chain(["/usr/sbin".into(), "/sbin".into()])
        .map(|folder| folder.join(part))
        .find(|path| path.is_file())
}

/// Does the test run as root?
pub(crate) fn is_root() -> bool {
    Command::new("id").arg("-u").output().is_ok_and(|output| output.stdout == b"0\n")
}

/// A command of the computer, wherever it was found.
pub(crate) fn tool(name: &str) -> Command {
    Command::new(find(name).unwrap_or_else(|| panic!("{name} is not installed")))
}

/// Waits until something is there, or fails saying what did not come.
pub(crate) fn wait_for<T>(what: &str, look: impl FnMut() -> Option<T>) -> T {
    wait_within(WAIT_MAX, look).unwrap_or_else(|| panic!("waited {WAIT_MAX:?} in vain for {what}"))
}

/// Waits until something is there, or until the time is over.
pub(crate) fn wait_within<T>(longest: Duration, mut look: impl FnMut() -> Option<T>) -> Option<T> {
    let began = Instant::now();
    loop {
        if let Some(found) = look() {
            return Some(found);
        }
        if began.elapsed() > longest {
            return None;
        }
        std::thread::sleep(LOOK_EVERY);
    }
}

/// Sends a signal to a process a test has started. The shell knows how to; the standard library does not.
pub(crate) fn signal(name: &str, process: u32) {
    let sent = Command::new("sh").args(["-c", &format!("kill -{name} {process}")]).status().expect("there is a shell");
    assert!(sent.success(), "cannot send {name} to {process}");
}

/// A child process that ends with the test.
#[derive(Debug)]
pub(crate) struct Running(Child);

impl Running {
    pub(crate) fn start(command: &mut Command) -> Self {
        Self(command.spawn().unwrap_or_else(|error| panic!("cannot start {command:?}: {error}")))
    }

    pub(crate) fn id(&self) -> u32 {
        self.0.id()
    }

    pub(crate) fn end(&mut self) {
        // One that has ended already is what was wanted. SIGKILL also ends a process that was halted.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }

    pub(crate) fn has_ended(&mut self) -> bool {
        matches!(self.0.try_wait(), Ok(Some(_)))
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        self.end();
    }
}

/// The time of the wall clock, in whole seconds.
pub(crate) fn now_seconds() -> i64 {
    i64::try_from(SystemTime::now().duration_since(UNIX_EPOCH).expect("it is after 1970").as_secs())
        .expect("it is before the year 2262")
}

/// A time as an export writes it, in UTC.
pub(crate) fn written(seconds: i64) -> String {
    chrono::DateTime::from_timestamp(seconds, 0).expect("a time of our age").format("%Y-%m-%d %H:%M:%S").to_string()
}

/// Rows five minutes apart, the last of them measured at `last`.
pub(crate) fn rows_until(last: i64, values: &[f64]) -> Vec<(i64, f64)> {
    let place = |back: usize| last - 300 * i64::try_from(back).expect("few rows");
    values.iter().enumerate().map(|(at, value)| (place(values.len() - 1 - at), *value)).collect()
}

/// The program with folders of its own, and without anything of the session the tests run in.
#[derive(Debug)]
pub(crate) struct Recheck {
    home: TempDir,
    environment: Vec<(String, String)>,
    running: Option<Running>,
}

impl Recheck {
    /// A home with settings: one watched folder, and these channels, written as TOML.
    pub(crate) fn new(channels: &str) -> Self {
        let home = tempfile::tempdir().expect("a temporary folder");
        let recheck = Self { home, environment: Vec::new(), running: None };
        fs::create_dir(recheck.exports()).expect("a folder for exports");
        recheck.set_channels(channels);
        recheck
    }

    pub(crate) fn set_channels(&self, channels: &str) {
        fs::write(self.home.path().join("recheck.toml"), settings(&self.exports(), channels))
            .expect("settings are written");
    }

    /// One more variable for the program's environment.
    pub(crate) fn with(mut self, name: &str, value: &str) -> Self {
        self.environment.push((name.to_owned(), value.to_owned()));
        self
    }

    pub(crate) fn exports(&self) -> PathBuf {
        self.home.path().join("exports")
    }

    fn log(&self) -> PathBuf {
        self.home.path().join("log")
    }

    pub(crate) fn words(&self) -> String {
        fs::read_to_string(self.log()).unwrap_or_default()
    }

    fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(PROGRAM);
        command.env_clear().env("HOME", self.home.path()).env("PATH", "/usr/bin:/bin").envs(self.environment.clone());
        command
            .arg("--config")
            .arg(self.home.path().join("recheck.toml"))
            .arg("--state")
            .arg(self.home.path().join("state"));
        command.args(arguments).stdin(Stdio::null());
        command
    }

    /// A command of the computer that is told where the program, its settings and its state are.
    pub(crate) fn script(&self, name: &str, arguments: &[&str]) -> Command {
        let mut command = tool(name);
        let log = File::options().create(true).append(true).open(self.log()).expect("a file for the log");
        command.args(arguments).stdin(Stdio::null()).stdout(Stdio::null()).stderr(log);
        command
            .env("PROGRAM", PROGRAM)
            .env("CONFIG", self.home.path().join("recheck.toml"))
            .env("STATE", self.home.path().join("state"));
        command
    }

    /// Starts watching, and waits until it does.
    pub(crate) fn watch(&mut self) {
        let log = File::options().create(true).append(true).open(self.log()).expect("a file for the log");
        self.running = Some(Running::start(self.command(&["run"]).stdout(Stdio::null()).stderr(log)));
        wait_for("recheck to run", || self.status().filter(|status| status["running"] == true));
    }

    /// What can wait is held by night: moves the night of the settings to the other side of the clock.
    fn live_by_day(&self) {
        let file = self.home.path().join("recheck.toml");
        let text = fs::read_to_string(&file).expect("settings are there");
        if !text.lines().any(|line| line.starts_with("night = ")) {
            let from = (now_seconds() / 3600 + 12).rem_euclid(24);
            let night = format!("[wearer]\nnight = \"{from:02}:00-{:02}:00\"", (from + 1) % 24);
            fs::write(&file, text.replacen("[wearer]", &night, 1)).expect("settings are written");
        }
    }

    /// Exports an hour within range and starts watching. The first sight of a folder is taken in as
    /// history, and what comes after it is what a test is about.
    pub(crate) fn watch_after_an_hour_in_range(&mut self) {
        self.live_by_day();
        let values = [121.0, 118.0, 115.0, 112.0, 109.0, 106.0, 103.0, 99.0, 95.0, 90.0, 86.0, 82.0];
        self.drop_rows("history.csv", "glucose", &rows_until(now_seconds() - 300, &values));
        self.watch();
        wait_for("the history to be read", || self.status().filter(|status| status["reading"]["mg_dl"] == 82.0));
    }

    /// An export as most programs write one: under another name, then renamed. Returns when it was renamed.
    pub(crate) fn drop_rows(&self, name: &str, header: &str, rows: &[(i64, f64)]) -> Instant {
        drop_in(&self.exports(), name, header, rows)
    }

    /// A reading of 62 mg/dL measured now.
    pub(crate) fn drop_a_low(&self) -> Instant {
        self.drop_rows("day.csv", "glucose", &rows_until(now_seconds(), &[82.0, 62.0]))
    }

    /// Runs a command of the program to its end.
    pub(crate) fn say(&self, arguments: &[&str]) -> Output {
        self.command(arguments).output().expect("recheck can be started")
    }

    /// Runs a command of the program with an input, to its end.
    pub(crate) fn pipe(&self, arguments: &[&str], input: &[u8]) -> Output {
        let mut command = self.command(arguments);
        let mut child = command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        std::io::Write::write_all(&mut child.stdin.take().unwrap(), input).unwrap();
        child.wait_with_output().unwrap()
    }

    /// What `recheck status --json` prints; none while there is no state yet.
    pub(crate) fn status(&self) -> Option<Value> {
        let output = self.say(&["status", "--json"]);
        output.status.success().then(|| serde_json::from_slice(&output.stdout).expect("status prints JSON"))
    }

    /// Waits for the open alert of a condition.
    pub(crate) fn alert(&self, condition: &str, wanted: impl Fn(&Value) -> bool) -> Value {
        wait_for(&format!("an alert, {condition}"), || {
            let status = self.status()?;
            status["alerts"].as_array()?.iter().find(|alert| alert["condition"] == condition && wanted(alert)).cloned()
        })
    }

    /// What the status says of a channel.
    pub(crate) fn of_channel(&self, name: &str, what: &str) -> Option<String> {
        let status = self.status()?;
        status["channels"].as_array()?.iter().find(|channel| channel["name"] == name)?[what].as_str().map(str::to_owned)
    }

    /// Waits until a channel has accepted something; from then on the program listens to its buttons.
    pub(crate) fn wait_until_accepted(&self, channel: &str) {
        wait_for(&format!("{channel} to accept something"), || self.of_channel(channel, "last_accepted"));
    }

    /// Rows of the only source that were counted under a word.
    pub(crate) fn counted(&self, word: &str) -> u64 {
        self.status().and_then(|status| status["sources"][0]["counts"][word].as_u64()).unwrap_or(0)
    }

    /// Ends the program the way a power cut does.
    pub(crate) fn kill(&mut self) {
        self.running.as_mut().expect("recheck was started").end();
        self.running = None;
    }

    /// The number of the running process.
    pub(crate) fn process(&self) -> u32 {
        self.running.as_ref().expect("recheck was started").id()
    }

    pub(crate) fn is_alive(&mut self) -> bool {
        self.running.as_mut().is_some_and(|running| !running.has_ended())
    }
}

impl Drop for Recheck {
    fn drop(&mut self) {
        if std::thread::panicking() {
            eprintln!("what recheck said:\n{}", self.words());
        }
    }
}

/// Settings that watch one folder.
pub(crate) fn settings(folder: &Path, channels: &str) -> String {
    format!("[wearer]\ntimezone = \"UTC\"\n\n[source.sensor]\nfolder = \"{}\"\n\n{channels}\n", folder.display())
}

/// Settings of a webhook.
pub(crate) fn webhook(url: &str) -> String {
    format!("[channel.phone]\nkind = \"webhook\"\nurl = \"{url}\"\n")
}

/// The text of an export.
pub(crate) fn table(header: &str, rows: &[(i64, f64)]) -> String {
    let mut text = format!("timestamp,{header}\n");
    for (at, value) in rows {
        writeln!(text, "{},{value}", written(*at)).expect("a text can grow");
    }
    text
}

pub(crate) fn drop_in(folder: &Path, name: &str, header: &str, rows: &[(i64, f64)]) -> Instant {
    let aside = folder.join(format!("{name}.tmp"));
    fs::write(&aside, table(header, rows)).expect("an export is written");
    let renamed = Instant::now();
    fs::rename(&aside, folder.join(name)).expect("an export is renamed");
    renamed
}

/// A request that came in.
#[derive(Debug, Clone)]
pub(crate) struct Got {
    /// The body, as JSON.
    pub(crate) body: Value,
    /// Header names in lower case, and their values.
    pub(crate) headers: Vec<(String, String)>,
    /// When.
    pub(crate) at: Instant,
    /// The status it was answered with; none when it was left without an answer.
    pub(crate) answered: Option<u16>,
}

impl Got {
    pub(crate) fn header(&self, name: &str) -> Option<&str> {
        self.headers.iter().find(|(known, _)| known == name).map(|(_, value)| value.as_str())
    }
}

/// Somebody who takes webhooks.
#[derive(Debug)]
pub(crate) struct Receiver {
    port: u16,
    got: Arc<Mutex<Vec<Got>>>,
    next_answers: Arc<Mutex<VecDeque<u16>>>,
    holds: Arc<AtomicBool>,
    stops: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Receiver {
    /// Answers 200 until told otherwise.
    pub(crate) fn start() -> Self {
        let server = tiny_http::Server::http("127.0.0.1:0").expect("a free port");
        let port = server.server_addr().to_ip().expect("an address of the internet").port();
        let got = Arc::new(Mutex::new(Vec::new()));
        let next_answers = Arc::new(Mutex::new(VecDeque::new()));
        let (holds, stops) = (Arc::new(AtomicBool::new(false)), Arc::new(AtomicBool::new(false)));
        let mut receiver = Self { port, got, next_answers, holds, stops, thread: None };
        let (got, answers) = (Arc::clone(&receiver.got), Arc::clone(&receiver.next_answers));
        let (holds, stops) = (Arc::clone(&receiver.holds), Arc::clone(&receiver.stops));
        receiver.thread = Some(std::thread::spawn(move || {
            // Requests without an answer are kept, because dropping one answers it.
            let mut held = Vec::new();
            while !stops.load(Ordering::SeqCst) {
                let Ok(Some(mut request)) = server.recv_timeout(LOOK_EVERY) else { continue };
                let at = Instant::now();
                let mut text = String::new();
                request.as_reader().read_to_string(&mut text).expect("a body can be read");
                let body = serde_json::from_str(&text)
                    .unwrap_or_else(|error| json!({ "not_json": text, "error": error.to_string() }));
                let headers = request
                    .headers()
                    .iter()
                    .map(|header| (header.field.as_str().as_str().to_lowercase(), header.value.as_str().to_owned()))
                    .collect();
                let answered =
                    (!holds.load(Ordering::SeqCst)).then(|| answers.lock().unwrap().pop_front().unwrap_or(200));
                got.lock().unwrap().push(Got { body, headers, at, answered });
                match answered {
                    // The one who asked may be gone; that is not the receiver's fault.
                    Some(status) => drop(request.respond(tiny_http::Response::empty(status))),
                    None => held.push(request),
                }
            }
        }));
        receiver
    }

    pub(crate) fn port(&self) -> u16 {
        self.port
    }

    pub(crate) fn url(&self) -> String {
        format!("http://127.0.0.1:{}/alerts", self.port)
    }

    /// The statuses of the next answers; after them it is 200 again.
    pub(crate) fn answer_next(&self, statuses: &[u16]) {
        self.next_answers.lock().unwrap().extend(statuses);
    }

    /// Takes requests and does not answer them.
    pub(crate) fn hold(&self, holds: bool) {
        self.holds.store(holds, Ordering::SeqCst);
    }

    pub(crate) fn got(&self) -> Vec<Got> {
        self.got.lock().unwrap().clone()
    }

    /// What came in about a condition.
    pub(crate) fn about(&self, condition: &str) -> Vec<Got> {
        self.got().into_iter().filter(|got| got.body["condition"] == condition).collect()
    }

    /// Waits for so many requests about a condition.
    pub(crate) fn wait_for(&self, condition: &str, count: usize) -> Vec<Got> {
        wait_for(&format!("{count} requests about {condition}"), || {
            let about = self.about(condition);
            (about.len() >= count).then_some(about)
        })
    }
}

impl Drop for Receiver {
    fn drop(&mut self) {
        self.stops.store(true, Ordering::SeqCst);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

/// A message bus, and where it listens.
#[derive(Debug)]
pub(crate) struct Bus {
    address: String,
    _running: Running,
}

impl Bus {
    /// With `activates`, calling a name nobody owns starts the program installed for it, as in a real
    /// session. Without, a missing server stays missing.
    pub(crate) fn start(folder: &Path, activates: bool) -> Self {
        let mut command = tool("dbus-daemon");
        if activates {
            command.arg("--session");
        } else {
            let file = folder.join("bus.conf");
            fs::write(&file, BUS_WITHOUT_ACTIVATION).expect("the settings of the bus are written");
            command.arg(format!("--config-file={}", file.display()));
        }
        // Its socket goes with the test's folder, however the bus ends.
        command.arg(format!("--address=unix:dir={}", folder.display()));
        command.args(["--nofork", "--print-address=1"]).env("HOME", folder).env_remove("DISPLAY");
        let mut running = Running::start(command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::null()));
        let address = first_line(&mut running);
        Self { address, _running: running }
    }

    pub(crate) fn address(&self) -> &str {
        &self.address
    }
}

const BUS_WITHOUT_ACTIVATION: &str = r#"<busconfig>
  <type>session</type>
  <!-- Has to be there; the command line names the place that counts. -->
  <listen>unix:tmpdir=/tmp</listen>
  <auth>EXTERNAL</auth>
  <policy context="default">
    <allow send_destination="*" eavesdrop="true"/>
    <allow eavesdrop="true"/>
    <allow own="*"/>
  </policy>
</busconfig>
"#;

/// The first line a child prints. Its end of the pipe stays open for as long as it lives.
fn first_line(running: &mut Running) -> String {
    let mut line = String::new();
    let output = running.0.stdout.as_mut().expect("standard output is a pipe");
    BufReader::new(output).read_line(&mut line).expect("a line can be read");
    assert!(!line.trim().is_empty(), "a child ended before it said where it listens");
    line.trim().to_owned()
}

/// A desktop session of the test's own: a bus, a screen nobody sees, and a notification server.
#[derive(Debug)]
pub(crate) struct Session {
    // Dropped in this order: the server first, the folder it writes to last.
    server: Running,
    _screen: Running,
    bus: Bus,
    display: String,
    home: TempDir,
}

impl Session {
    pub(crate) fn start(server: &str, activates: bool) -> Self {
        let home = tempfile::tempdir().expect("a temporary folder");
        let bus = Bus::start(home.path(), activates);
        let mut screen = tool("Xvfb");
        screen.args(["-displayfd", "1", "-screen", "0", "1280x720x24", "-nolisten", "tcp"]);
        let mut screen = Running::start(screen.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::null()));
        let display = format!(":{}", first_line(&mut screen));
        let mut command = tool(server);
        in_session(&mut command, &bus, &display, home.path());
        let server = Running::start(command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null()));
        let session = Self { server, _screen: screen, bus, display, home };
        wait_for("a notification server", || {
            let arguments =
                ["call", "--session", "--dest", "org.freedesktop.DBus", "--object-path", "/org/freedesktop/DBus"];
            let question = ["--method", "org.freedesktop.DBus.NameHasOwner", "org.freedesktop.Notifications"];
            let mut command = session.command("gdbus");
            let answer = command.args(arguments).args(question).output().expect("gdbus can be started");
            String::from_utf8_lossy(&answer.stdout).contains("true").then_some(())
        });
        session
    }

    /// A command that sees this session and no other.
    pub(crate) fn command(&self, name: &str) -> Command {
        let mut command = tool(name);
        in_session(&mut command, &self.bus, &self.display, self.home.path());
        command
    }

    /// Runs a command in the session; what it prints.
    pub(crate) fn run(&self, name: &str, arguments: &[&str]) -> String {
        let output = self.command(name).args(arguments).output().expect("a command of the session can be started");
        assert!(output.status.success(), "{name} {arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8_lossy(&output.stdout).trim().to_owned()
    }

    pub(crate) fn server(&self) -> u32 {
        self.server.id()
    }

    pub(crate) fn address(&self) -> &str {
        self.bus.address()
    }
}

fn in_session(command: &mut Command, bus: &Bus, display: &str, home: &Path) {
    command.env_clear().env("PATH", "/usr/bin:/bin").env("HOME", home).env("LANG", "C.UTF-8");
    command.env("DBUS_SESSION_BUS_ADDRESS", bus.address()).env("DISPLAY", display);
}

/// For tests that end the program at any moment, also before it is ready.
impl Recheck {
    /// Where the program keeps what it knows.
    pub(crate) fn state(&self) -> PathBuf {
        self.home.path().join("state")
    }

    /// Starts watching and does not wait.
    pub(crate) fn start(&mut self) {
        let log = File::options().create(true).append(true).open(self.log()).expect("a file for the log");
        self.running = Some(Running::start(self.command(&["run"]).stdout(Stdio::null()).stderr(log)));
    }
}
