//! A real notification server shows the alert, and what is pressed on it comes back.

use super::{Bus, Receiver, Recheck, Session, need, signal, wait_for, wait_within, webhook};
use serde_json::Value;
use std::time::{Duration, Instant};

const DESKTOP: &str = "[channel.desktop]\nkind = \"desktop\"\n";
const DUNST: [&str; 5] = ["dbus-daemon", "Xvfb", "gdbus", "dunst", "dunstctl"];
const OTHER_SERVER: &str = "/usr/lib/x86_64-linux-gnu/xfce4/notifyd/xfce4-notifyd";

/// What was shown and is gone, newest first. Dunst keeps history only of those.
fn history(session: &Session) -> Vec<Value> {
    let all: Value = serde_json::from_str(&session.run("dunstctl", &["history"])).expect("dunstctl prints JSON");
    all["data"][0].as_array().expect("a list of notifications").clone()
}

fn displayed(session: &Session) -> String {
    session.run("dunstctl", &["count", "displayed"])
}

/// Waits until something is shown; how long after `since` it was seen.
fn wait_for_bubble(session: &Session, since: Instant) -> Duration {
    wait_for("a notification", || (displayed(session) == "1").then(|| since.elapsed()))
}

fn on_dunst() -> (Session, Recheck) {
    let session = Session::start("dunst", false);
    let mut recheck = Recheck::new(DESKTOP).with("DBUS_SESSION_BUS_ADDRESS", session.address());
    recheck.watch_after_an_hour_in_range();
    (session, recheck)
}

#[test]
fn a_renamed_file_is_shown_once_and_posted_once() {
    if !need("a_renamed_file_is_shown_once_and_posted_once", &DUNST) {
        return;
    }
    let session = Session::start("dunst", false);
    let receiver = Receiver::start();
    let channels = format!("{DESKTOP}{}", webhook(&receiver.url()));
    let mut recheck = Recheck::new(&channels).with("DBUS_SESSION_BUS_ADDRESS", session.address());
    recheck.watch_after_an_hour_in_range();
    assert_eq!(receiver.got().len(), 0, "history rang");

    let renamed = recheck.drop_a_low();
    let shown = wait_for_bubble(&session, renamed);
    let posted = receiver.wait_for("low", 1)[0].clone();
    eprintln!("TIMING: renamed to shown {shown:?} (looked at every 20 ms), to posted {:?}", posted.at - renamed);
    assert!(posted.at - renamed < Duration::from_secs(5), "posted after {:?}", posted.at - renamed);

    let body = &posted.body;
    assert_eq!(body["condition"], "low");
    assert_eq!(body["what"], "raised");
    assert_eq!(body["priority"], "medium");
    assert_eq!(body["glucose"]["mg_dl"], 62.0);
    assert_eq!(body["glucose"]["unit"], "mg/dL");
    assert_eq!(body["may_repeat"], false);
    let title = body["title"].as_str().expect("a title");
    assert!(title.starts_with("Low 62") && title.chars().count() <= 60, "{title}");

    // The same rows once more, in a file written anew: nothing may ring a second time.
    let doubled = recheck.counted("doubled");
    recheck.drop_rows("again.csv", "glucose", &[(super::now_seconds() - 400, 82.0)]);
    std::fs::copy(recheck.exports().join("day.csv"), recheck.exports().join("copy.csv")).expect("a copy is made");
    wait_for("the copy to be read", || (recheck.counted("doubled") >= doubled + 2).then_some(()));
    assert_eq!(receiver.got().len(), 1, "{:#?}", receiver.got());
    assert_eq!(displayed(&session), "1");
    assert_eq!(session.run("dunstctl", &["count", "waiting"]), "0");

    session.run("dunstctl", &["close-all"]);
    let history = wait_for("the history", || Some(history(&session)).filter(|history| !history.is_empty()));
    assert_eq!(history.len(), 1, "{history:#?}");
    assert_eq!(history[0]["summary"]["data"].as_str(), Some(title));
    // It stays until somebody answers it.
    assert_eq!(history[0]["timeout"]["data"], 0, "{history:#?}");
    assert_eq!(history[0]["appname"]["data"], "recheck");
}

#[test]
fn a_click_comes_back_as_seen() {
    if !need("a_click_comes_back_as_seen", &DUNST) {
        return;
    }
    let (session, recheck) = on_dunst();
    let renamed = recheck.drop_a_low();
    wait_for_bubble(&session, renamed);
    recheck.wait_until_accepted("desktop");
    assert_eq!(recheck.alert("low", |_| true)["seen"], false);
    session.run("dunstctl", &["action", "0"]);
    recheck.alert("low", |alert| alert["seen"] == true);
    // A bare click says that it was seen, never that something was eaten.
    assert!(recheck.status().expect("a status")["rechecks"][0]["treated"].is_null());
}

#[test]
fn an_action_on_another_programs_notification_means_nothing() {
    if !need("an_action_on_another_programs_notification_means_nothing", &DUNST) {
        return;
    }
    let (session, recheck) = on_dunst();
    // Dunst numbers notifications one by one, and tells the number only to the one who sends.
    let server = ["--dest", "org.freedesktop.Notifications", "--object-path", "/org/freedesktop/Notifications"];
    let other =
        ["--method", "org.freedesktop.Notifications.Notify", "other", "0", "", "Another program", "", "[]", "{}", "0"];
    let told = session.run("gdbus", &[&["call", "--session"], &server[..], &other].concat());
    let other: u32 = told
        .trim_start_matches("(uint32 ")
        .trim_end_matches(",)")
        .parse()
        .unwrap_or_else(|_| panic!("no number: {told}"));
    recheck.drop_a_low();
    recheck.wait_until_accepted("desktop");
    assert_eq!(displayed(&session), "2");
    // Signals on one bus keep their order, so once the second is taken in the first has been as well.
    let emit = |number: u32, action: &str| {
        let signal = ["--signal", "org.freedesktop.Notifications.ActionInvoked", &format!("uint32 {number}"), action];
        session.run("gdbus", &[&["emit", "--session"], &server[2..], &signal].concat());
    };
    emit(other, "'treated'");
    assert_eq!(recheck.alert("low", |_| true)["seen"], false);
    emit(other + 1, "'default'");
    recheck.alert("low", |alert| alert["seen"] == true);
    assert!(recheck.status().expect("a status")["rechecks"][0]["treated"].is_null());
}

#[test]
fn a_real_button_is_pressed_with_a_real_pointer() {
    if !need("a_real_button_is_pressed_with_a_real_pointer", &["dbus-daemon", "Xvfb", "gdbus", "xdotool", OTHER_SERVER])
    {
        return;
    }
    // This server keeps its settings in another program, which the bus starts for it.
    let session = Session::start(OTHER_SERVER, true);
    let mut recheck = Recheck::new(DESKTOP).with("DBUS_SESSION_BUS_ADDRESS", session.address());
    recheck.watch_after_an_hour_in_range();
    recheck.drop_a_low();
    recheck.wait_until_accepted("desktop");
    let bubble = wait_for("a bubble on the screen", || bubble(&session));
    if let Ok(folder) = std::env::var("RECHECK_SCREENSHOTS") {
        session.run("import", &["-window", "root", &format!("{folder}/button.png")]);
    }
    // The buttons stand in a row at the foot, "Treated" first and "Seen" after it.
    let (x, y) = (bubble.x + bubble.width - 140, bubble.y + bubble.height - 30);
    session.run("xdotool", &["mousemove", &x.to_string(), &y.to_string(), "click", "1"]);
    let look =
        wait_for("a look", || Some(recheck.status()?["rechecks"][0].clone()).filter(|look| !look["treated"].is_null()));
    assert_eq!(look["of"], "low", "{look}");
}

#[derive(Debug, PartialEq, Eq)]
struct Bubble {
    x: i64,
    y: i64,
    width: i64,
    height: i64,
}

/// The visible window of the notification, where there is one of a useful size.
fn bubble(session: &Session) -> Option<Bubble> {
    let found = session
        .command("xdotool")
        .args(["search", "--onlyvisible", "--name", ""])
        .output()
        .expect("xdotool can be started");
    let windows = String::from_utf8_lossy(&found.stdout).into_owned();
    windows.lines().find_map(|window| {
        let output = session
            .command("xdotool")
            .args(["getwindowgeometry", "--shell", window])
            .output()
            .expect("xdotool can be started");
        let text = String::from_utf8_lossy(&output.stdout).into_owned();
        let number =
            |name: &str| text.lines().find_map(|line| line.strip_prefix(name)?.strip_prefix('=')?.parse::<i64>().ok());
        let bubble = Bubble { x: number("X")?, y: number("Y")?, width: number("WIDTH")?, height: number("HEIGHT")? };
        // Neither the whole screen nor the tiny windows that toolkits keep for themselves.
        (bubble.width > 100 && bubble.width < 1_000 && bubble.height > 50).then_some(bubble)
    })
}

#[test]
fn a_server_that_hangs_holds_nothing_up() {
    if !need("a_server_that_hangs_holds_nothing_up", &DUNST) {
        return;
    }
    let session = Session::start("dunst", false);
    let receiver = Receiver::start();
    let channels = format!("{DESKTOP}{}", webhook(&receiver.url()));
    let mut recheck = Recheck::new(&channels).with("DBUS_SESSION_BUS_ADDRESS", session.address());
    recheck.watch_after_an_hour_in_range();
    signal("STOP", session.server());
    let renamed = recheck.drop_a_low();
    let posted = receiver.wait_for("low", 1)[0].at - renamed;
    assert!(posted < Duration::from_secs(3), "posted after {posted:?}");
    // The loop still turns while the call to the desktop hangs: it answers what is said.
    let said = Instant::now();
    let answer = recheck.say(&["treated", "low"]);
    assert!(answer.status.success() && String::from_utf8_lossy(&answer.stdout).contains("looks at"), "{answer:?}");
    assert!(said.elapsed() < Duration::from_secs(3), "answered after {:?}", said.elapsed());
    let failure = wait_for("the hang to be noticed", || {
        let status = recheck.status()?;
        status["channels"].as_array()?.iter().find(|channel| channel["name"] == "desktop")?["failure"]
            .as_str()
            .map(str::to_owned)
    });
    assert!(failure.contains("did not answer within"), "{failure}");
    signal("CONT", session.server());
    wait_for("the notification after all", || (displayed(&session) != "0").then_some(()));
    wait_for("the desktop to accept it", || {
        let status = recheck.status()?;
        status["channels"].as_array()?.iter().find(|channel| channel["name"] == "desktop")?["last_accepted"]
            .as_str()
            .map(str::to_owned)
    });
    eprintln!(
        "TIMING: with a hung desktop, renamed to posted {posted:?}; shown after all: {} bubbles",
        displayed(&session)
    );
    assert_eq!(receiver.about("low").len(), 1, "the hang of one channel repeated another");
}

#[test]
fn without_any_session_the_only_channel_is_reported_as_failed() {
    let mut recheck = Recheck::new(DESKTOP);
    recheck.watch();
    assert_reported_as_failed(&recheck, "no desktop session");
    assert!(recheck.is_alive());
}

#[test]
fn a_session_without_a_notification_server_is_no_desktop() {
    if !need("a_session_without_a_notification_server_is_no_desktop", &["dbus-daemon"]) {
        return;
    }
    let folder = tempfile::tempdir().expect("a temporary folder");
    let bus = Bus::start(folder.path(), false);
    let mut recheck = Recheck::new(DESKTOP).with("DBUS_SESSION_BUS_ADDRESS", bus.address());
    recheck.watch_after_an_hour_in_range();
    recheck.drop_a_low();
    assert_reported_as_failed(&recheck, "no notification server in this session");
}

/// Nothing can reach the wearer, so the two places that can be looked at have to say so.
fn assert_reported_as_failed(recheck: &Recheck, words: &str) {
    let mut said = String::new();
    let told = wait_within(Duration::from_secs(10), || {
        said = String::from_utf8_lossy(&recheck.say(&["why"]).stdout).into_owned();
        (said.contains("channel_failed raised") && said.contains(words)).then_some(())
    });
    assert!(told.is_some(), "{said}");
    recheck.alert("channel_failed", |_| true);
    let failure = recheck.of_channel("desktop", "failure");
    assert_eq!(failure.as_deref(), Some(words));
}
