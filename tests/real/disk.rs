//! A disk that is full: the alert must still go out, and the failure with it.

use super::{Receiver, Recheck, need, now_seconds, skip, wait_for, webhook};
use std::fs;

/// Mounts a small disk for the state in a name space of its own, and fills it once the program watches.
const SCRIPT: &str = r#"
set -eu
mkdir -p "$STATE"
mount -t tmpfs -o size=1m tmpfs "$STATE"
"$PROGRAM" --config "$CONFIG" --state "$STATE" run &
trap 'kill $! 2>/dev/null' EXIT
while [ ! -e "$GO" ]; do sleep 0.05; done
dd if=/dev/zero of="$STATE/ballast" bs=4k 2>/dev/null || true
touch "$FULL"
wait
"#;

#[test]
fn a_full_disk_does_not_silence_the_alert() {
    let test = "a_full_disk_does_not_silence_the_alert";
    if !need(test, &["unshare", "mount", "dd"]) {
        return;
    }
    if !super::is_root() {
        skip(test, "only root may mount a small disk");
        return;
    }
    let receiver = Receiver::start();
    let recheck = Recheck::new(&webhook(&receiver.url()));
    recheck.drop_rows("history.csv", "glucose", &super::rows_until(now_seconds() - 300, &[90.0, 86.0, 82.0]));
    let (go, full) = (recheck.exports().join(".go"), recheck.exports().join(".full"));
    let mut inside = recheck.script("unshare", &["-m", "--propagation", "private", "sh", "-c", SCRIPT]);
    inside.env("GO", &go).env("FULL", &full);
    let _running = super::Running::start(&mut inside);
    // The socket is out of sight in there; the log says when it watches.
    wait_for("a first turn", || fs::metadata(recheck.exports().join("history.csv")).ok());
    std::thread::sleep(std::time::Duration::from_secs(2));
    fs::write(&go, "").unwrap();
    wait_for("the disk to be full", || full.exists().then_some(()));
    recheck.drop_a_low();
    let got = receiver.wait_for("low", 1);
    assert!(got[0].body["title"].as_str().unwrap().starts_with("Low 62"));
    wait_for("the word of trouble", || {
        receiver
            .got()
            .iter()
            .any(|got| got.body["title"].as_str().is_some_and(|title| title.starts_with("Cannot save")))
            .then_some(())
    });
}
