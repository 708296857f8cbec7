//! Others, through the running program: who is called, by which channel, and what they see.

use super::real::{Receiver, Recheck, now_seconds, rows_until, wait_for, webhook};
use serde_json::Value;

/// A very low that nobody answers: it rings again by the way kept for later, and the second person is called
/// by theirs; an answer is told to them. Steps of a minute are not waited for: the rows carry the time.
#[test]
fn a_second_person_is_called_by_their_own_channel_and_told_of_the_answer() {
    let (mine, later, sam) = (Receiver::start(), Receiver::start(), Receiver::start());
    let named =
        |name: &str, url: &str, more: &str| format!("[channel.{name}]\nkind = \"webhook\"\nurl = \"{url}\"\n{more}\n");
    let mut recheck = Recheck::new(&format!(
        "{}{}{}[person.sam]\nchannels = \"sam\"\n\n[escalation]\nrepeat = \"1m\"\nsecond_by_night = \"1m\"\nsecond_by_day = \"1m\"\n",
        webhook(&mine.url()),
        named("later", &later.url(), "later = true\ndiscreet = true"),
        named("sam", &sam.url(), ""),
    ));
    recheck.drop_rows("day.csv", "glucose", &rows_until(now_seconds() - 60, &[58.0, 56.0, 55.0]));
    recheck.watch();
    mine.wait_for("low", 1);
    recheck.drop_rows("now.csv", "glucose", &[(now_seconds(), 48.0)]);
    mine.wait_for("very_low", 1);
    assert!(later.got().is_empty() && sam.got().is_empty(), "the first ring is the wearer's alone");
    // A minute of the computer's own time: the shortest step there is.
    let called = wait_for_a_minute(&sam);
    assert_eq!(called["what"], "called");
    let title = called["title"].as_str().unwrap();
    assert!(title.starts_with("Call the wearer: very low 48, "), "{title}");
    assert!(called["text"].as_str().unwrap().contains("nobody has answered"), "{called}");
    let again = later.wait_for("very_low", 1);
    assert_eq!(again[0].body["title"], "Treat now", "a discreet way shows no value");
    assert!(again[0].body["glucose"].is_null() && !again[0].body["text"].as_str().unwrap().contains("48"), "{again:?}");
    assert_eq!(mine.about("very_low").last().unwrap().body["what"], "escalated");
    let status = recheck.status().unwrap();
    assert_eq!(status["unanswered"]["called"][0]["name"], "sam");
    let seen = recheck.say(&["seen"]);
    assert!(seen.status.success());
    wait_for("sam to be told", || sam.got().iter().any(|got| got.body["reason"] == "answered").then_some(()));
    assert!(sam.got().iter().all(|got| got.body["what"] == "called" || got.body["what"] == "told"));
}

fn wait_for_a_minute(receiver: &Receiver) -> Value {
    let began = std::time::Instant::now();
    while began.elapsed().as_secs() < 90 {
        if let Some(got) = receiver.got().first() {
            return got.body.clone();
        }
        std::thread::sleep(std::time::Duration::from_millis(100));
    }
    panic!("nobody was called within 90 s");
}
