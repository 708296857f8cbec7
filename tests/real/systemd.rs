//! The unit file under a real service manager, as an ordinary person, in namespaces of its own. What
//! makes that possible is in systemd.sh beside this file.

use super::{PROGRAM, Receiver, find, need, rows_until, settings, skip, table, wait_for, wait_within, webhook};
use serde_json::Value;
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};
use std::time::Duration;

const UNIT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/packaging/recheck.service");
const SCRIPT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/real/systemd.sh");

/// Somebody who is not root. Sandbox settings that root's manager can set up fail for everybody else.
const PERSON: &str = "games";

const PARTS: [&str; 6] = ["/usr/lib/systemd/systemd", "systemctl", "systemd-analyze", "unshare", "setpriv", "bash"];
const DESKTOP_PARTS: [&str; 4] = ["dbus-daemon", "Xvfb", "dunst", "dunstctl"];

/// Less than the unit asks for, so that a test need not wait two minutes; not less than two naps of the
/// loop, which feeds the watchdog.
const WATCHDOG: Duration = Duration::from_secs(60);

/// A service manager, and a prompt beside it.
#[derive(Debug)]
struct Manager {
    child: Child,
    // Taken away to end it.
    prompt: Option<ChildStdin>,
    output: BufReader<ChildStdout>,
}

impl Manager {
    /// None, and said aloud, where it cannot be started.
    fn start(test: &str) -> Option<Self> {
        if !need(test, &PARTS) {
            return None;
        }
        let is_root = Command::new("id").arg("-u").output().is_ok_and(|id| id.stdout.trim_ascii() == b"0");
        if !is_root {
            skip(test, "the rights of root, to make namespaces");
            return None;
        }
        if !Command::new("id")
            .arg(PERSON)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .status()
            .is_ok_and(|id| id.success())
        {
            skip(test, &format!("a person called {PERSON}"));
            return None;
        }
        let mut command = Command::new("bash");
        command.args([SCRIPT, PROGRAM, UNIT, PERSON]).stdin(Stdio::piped()).stdout(Stdio::piped());
        let mut child = command.spawn().expect("bash can be started");
        let prompt = child.stdin.take();
        let output = BufReader::new(child.stdout.take().expect("standard output is a pipe"));
        let mut manager = Self { child, prompt, output };
        let said = manager.line();
        if said.starts_with("cannot ") {
            skip(test, &format!("a way to run a service manager: {said}"));
            return None;
        }
        assert_eq!(said, "ready");
        manager.expect("systemctl --user is-system-running --wait");
        Some(manager)
    }

    fn line(&mut self) -> String {
        let mut line = String::new();
        let read = self.output.read_line(&mut line).expect("the prompt can be read");
        assert!(read > 0, "the prompt has ended");
        line.trim_end().to_owned()
    }

    /// Runs one line of shell as the person: the exit code, and what was printed.
    fn run(&mut self, line: &str) -> (i32, String) {
        writeln!(self.prompt.as_mut().expect("the prompt is open"), "{line}").expect("the prompt listens");
        let mut said = Vec::new();
        loop {
            let line = self.line();
            match line.strip_prefix("exit ").map(str::parse) {
                Some(Ok(code)) => return (code, said.join("\n").trim().to_owned()),
                _ => said.push(line),
            }
        }
    }

    /// Runs one line that has to succeed.
    fn expect(&mut self, line: &str) -> String {
        let (code, said) = self.run(line);
        assert_eq!(code, 0, "{line}\n{said}");
        said
    }

    /// Writes a text to a file in the person's home.
    fn write(&mut self, path: &str, text: &str) {
        assert!(!text.contains(['\'', '\\', '%']), "the shell would read this text differently");
        self.expect(&format!(
            "mkdir -p $(dirname {path}); printf '{}' > {path}.tmp; mv {path}.tmp {path}",
            text.replace('\n', "\\n")
        ));
    }

    fn shows(&mut self, unit: &str, what: &str) -> String {
        self.expect(&format!("systemctl --user show {unit} --property {what} --value"))
    }

    fn status(&mut self) -> Value {
        let said = self.expect(".local/bin/recheck status --json");
        serde_json::from_str(&said).unwrap_or_else(|error| panic!("{error}: {said}"))
    }

    fn wait_until(&mut self, unit: &str, what: &str, wanted: impl Fn(&str) -> bool, longest: Duration) {
        let mut shown = String::new();
        let came = wait_within(longest, || {
            shown = self.shows(unit, what);
            wanted(&shown).then_some(())
        });
        let about = self.run(&format!("systemctl --user status {unit}")).1;
        assert!(came.is_some(), "{what} of {unit} is {shown}\n{about}");
    }
}

impl Drop for Manager {
    fn drop(&mut self) {
        // The end of its input ends the prompt, the manager with it, and then the script cleans up.
        self.prompt = None;
        if wait_within(Duration::from_secs(20), || self.child.try_wait().ok().flatten()).is_none() {
            eprintln!("the service manager of a test has not ended");
        }
    }
}

#[test]
fn the_unit_is_accepted_and_its_sandbox_is_tight() {
    let test = "the_unit_is_accepted_and_its_sandbox_is_tight";
    if !need(test, &["systemd-analyze"]) {
        return;
    }
    // The check wants the program to be where the unit says.
    let home = tempfile::tempdir().expect("a temporary folder");
    let program = home.path().join(".local/bin/recheck");
    std::fs::create_dir_all(program.parent().expect("a folder above")).expect("folders are made");
    std::os::unix::fs::symlink(PROGRAM, &program).expect("a link is made");
    let analyze = |arguments: &[&str]| {
        let mut command = Command::new(find("systemd-analyze").expect("it is there"));
        command.env("HOME", home.path()).env("XDG_RUNTIME_DIR", home.path()).args(arguments).arg(UNIT);
        let output = command.output().expect("systemd-analyze can be started");
        let said = [output.stdout, output.stderr].map(|said| String::from_utf8_lossy(&said).into_owned()).concat();
        (output.status.success(), said)
    };
    // A line it does not know is only a warning to it, so nothing at all may be said.
    let (accepted, said) = analyze(&["--user", "--man=no", "verify"]);
    assert!(accepted && said.trim().is_empty(), "{said}");
    // In tenths: 3.0 of 10, where 10 is a service without any sandbox.
    let (tight, said) = analyze(&["security", "--offline=yes", "--threshold=30", "--no-pager"]);
    assert!(tight, "{said}");
}

#[test]
fn the_unit_watches_alerts_comes_back_and_stops() {
    let test = "the_unit_watches_alerts_comes_back_and_stops";
    if !need(test, &DESKTOP_PARTS) {
        return;
    }
    let Some(mut manager) = Manager::start(test) else { return };
    let receiver = Receiver::start();
    // A session's bus is where the sandbox has to leave it reachable, and a name has to be looked up.
    let session = "export DBUS_SESSION_BUS_ADDRESS=unix:path=$XDG_RUNTIME_DIR/bus DISPLAY=$(cat .display)";
    manager.expect("dbus-daemon --session --address=unix:path=$XDG_RUNTIME_DIR/bus --fork --nopidfile 2> /dev/null");
    manager.expect("setsid Xvfb -displayfd 3 -screen 0 1280x720x24 -nolisten tcp 3> .number > /dev/null 2>&1 & until [ -s .number ]; do sleep 0.02; done; echo :$(cat .number) > .display");
    manager.expect(&format!("{session}; setsid dunst > /dev/null 2>&1 & {session}; until dbus-send --session --print-reply --dest=org.freedesktop.DBus / org.freedesktop.DBus.NameHasOwner string:org.freedesktop.Notifications | grep -q true; do sleep 0.02; done"));
    let url = format!("http://localhost:{}/alerts", receiver.port());
    let channels = format!("[channel.desktop]\nkind = \"desktop\"\n\n{}", webhook(&url));
    manager.write(".config/recheck/recheck.toml", &settings(Path::new("/home/wearer/exports"), &channels));
    let in_range = rows_until(super::now_seconds() - 300, &[110.0, 104.0, 98.0, 93.0, 88.0, 82.0]);
    manager.write("exports/history.csv", &table("glucose", &in_range));

    // Starting ends only when the program has said that it watches. Its state folder is not there yet.
    manager.expect("systemctl --user daemon-reload; systemctl --user enable --now recheck");
    assert_eq!(
        (manager.shows("recheck", "ActiveState"), manager.shows("recheck", "SubState")),
        ("active".into(), "running".into())
    );
    let first = manager.shows("recheck", "MainPID");
    let inside = manager.expect(&format!("grep -E '^(CapBnd|NoNewPrivs|Seccomp):' /proc/{first}/status"));
    let inside: Vec<&str> = inside.split_whitespace().collect();
    assert_eq!(inside, ["CapBnd:", "0000000000000000", "NoNewPrivs:", "1", "Seccomp:", "2"]);
    wait_for("the history to be read", || (manager.status()["reading"]["mg_dl"] == 82.0).then_some(()));
    assert_eq!(manager.expect("stat -c %a .local/state/recheck/recheck.sqlite3"), "600");

    manager.write("exports/day.csv", &table("glucose", &rows_until(super::now_seconds(), &[82.0, 62.0])));
    assert_eq!(receiver.wait_for("low", 1)[0].body["glucose"]["mg_dl"], 62.0);
    wait_for("a notification", || {
        (manager.expect(&format!("{session}; dunstctl count displayed")) == "1").then_some(())
    });

    manager.expect(&format!("kill -9 {first}"));
    let other_one = |shown: &str| shown != "0" && shown != first;
    manager.wait_until("recheck", "MainPID", other_one, Duration::from_secs(30));
    manager.wait_until("recheck", "ActiveState", |shown| shown == "active", Duration::from_secs(30));
    assert_eq!(manager.shows("recheck", "NRestarts"), "1");
    // The open alert was delivered, so a new start is no reason to ring; a worse value is.
    manager.write("exports/later.csv", &table("glucose", &rows_until(super::now_seconds(), &[48.0])));
    let very_low = receiver.wait_for("very_low", 1);
    assert_eq!((very_low[0].body["priority"].as_str(), receiver.about("low").len()), (Some("high"), 1));

    manager.expect("systemctl --user stop recheck");
    assert_eq!(
        (manager.shows("recheck", "ActiveState"), manager.shows("recheck", "Result")),
        ("inactive".into(), "success".into())
    );
    assert_eq!(manager.shows("recheck", "ExecMainStatus"), "0");
    assert_eq!(manager.status()["running"], false);
}

#[test]
fn the_watchdog_ends_a_program_that_hangs_and_no_other() {
    let Some(mut manager) = Manager::start("the_watchdog_ends_a_program_that_hangs_and_no_other") else { return };
    let receiver = Receiver::start();
    manager
        .write(".config/recheck/recheck.toml", &settings(Path::new("/home/wearer/exports"), &webhook(&receiver.url())));
    // Two of them, and only one will be halted: the other shows that an idle loop feeds its watchdog.
    manager.expect("cp .config/systemd/user/recheck.service .config/systemd/user/idle.service");
    let watchdog = format!("[Service]\nWatchdogSec={}\n", WATCHDOG.as_secs());
    manager.write(".config/systemd/user/recheck.service.d/watchdog.conf", &watchdog);
    let idle =
        "ExecStart=\nExecStart=/home/wearer/.local/bin/recheck --state /home/wearer/.local/state/recheck/idle run\n";
    manager.write(".config/systemd/user/idle.service.d/watchdog.conf", &format!("{watchdog}{idle}"));
    manager.expect("systemctl --user daemon-reload; systemctl --user start idle recheck");
    let halted = manager.shows("recheck", "MainPID");
    manager.expect(&format!("kill -STOP {halted}"));
    // It waits a few seconds before it starts the program again, and says meanwhile why it has to.
    manager.wait_until("recheck", "Result", |shown| shown == "watchdog", WATCHDOG + Duration::from_secs(30));
    manager.wait_until("recheck", "ActiveState", |shown| shown == "active", Duration::from_secs(30));
    assert_ne!(manager.shows("recheck", "MainPID"), halted);
    assert_eq!(
        (manager.shows("idle", "NRestarts"), manager.shows("idle", "ActiveState")),
        ("0".into(), "active".into())
    );
}
