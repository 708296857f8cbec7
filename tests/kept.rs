//! What is said while the program does not run: kept, taken in at its start, and answered then, each line, by message and
//! in `status`. Needs no part beyond the program itself.

use super::real::{Receiver, Recheck, now_seconds, wait_for, webhook};

#[test]
fn what_was_kept_is_answered_at_the_start() {
    let receiver = Receiver::start();
    let mut recheck = Recheck::new(&webhook(&receiver.url()));
    recheck.watch();
    recheck.kill();
    for arguments in [&["note", "exercise", "walked home"][..], &["note", "ketones", "large"]] {
        let done = recheck.say(arguments);
        assert!(done.status.success(), "{done:?}");
    }
    recheck.watch();
    let lines = wait_for("the answers", || {
        let status = recheck.status()?;
        let lines = status["answered_at_start"]["lines"].as_array()?.clone();
        (lines.len() == 2).then_some(lines)
    });
    let said = |line: &serde_json::Value, words: &str| assert!(line.as_str().unwrap().contains(words), "{line}");
    said(&lines[0], "exercise walked home");
    said(&lines[1], "ketones large in urine");
    // By night the message waits for the morning.
    let minute = now_seconds() / 60 % (24 * 60);
    if !(7 * 60 + 2..23 * 60 - 2).contains(&minute) {
        return;
    }
    let told = receiver.wait_for("diary", 1);
    assert!(told[0].body["text"].as_str().unwrap().contains("ketones large in urine"), "{told:?}");
    // Once: the next start has nothing to answer.
    recheck.kill();
    recheck.watch();
    std::thread::sleep(std::time::Duration::from_millis(500));
    assert_eq!(receiver.about("diary").len(), 1);
}
