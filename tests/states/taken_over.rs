//! What the daemon does with a saved state that it cannot read: it goes on from what came in before, and says so to the
//! wearer. With one that it can read it says nothing.

use super::super::behaviour::DAY;
use super::super::real::{Receiver, settings as text, webhook};
use recheck::config::meant::{Purpose, settings};
use recheck::daemon::clock::Clock;
use recheck::daemon::{Daemon, Plan};
use recheck::domain::local::Zone;
use recheck::domain::reminder::{Asked, When};
use recheck::domain::time::{Span, Timestamp};
use recheck::engine::SNAPSHOT_VERSION;
use recheck::engine::saved::Unread;
use recheck::store::inbox::Said;
use recheck::store::{FILE, Store};
use std::fs;
use std::path::Path;
use std::time::Duration;

const TITLE: &str = "What was open may be lost. See `recheck status`";

/// Runs the program until what is looked for is there, or for a second.
fn live(home: &Path, url: &str, at: Timestamp, mut until: impl FnMut() -> bool) {
    let text = text(&home.join("exports"), &webhook(url));
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    runtime.block_on(async {
        let settings = settings(&text, None, &[], Purpose::Watch, Zone::UTC).unwrap();
        let (folder, clock) = (home.join("state"), Clock::fast(at, 1));
        let plan = Plan { settings, folder, clock, mark: None, stdin: false, listener: None, before_judging: None };
        let wait = async {
            while !until() {
                tokio::time::sleep(Duration::from_millis(20)).await;
            }
        };
        let mut daemon = Daemon::start(plan).unwrap();
        daemon.run(async { drop(tokio::time::timeout(Duration::from_secs(20), wait).await) }).await
    });
}

#[test]
fn a_state_that_cannot_be_read_is_rebuilt_and_that_is_said() {
    let receiver = Receiver::start();
    let home = tempfile::tempdir().unwrap();
    fs::create_dir(home.path().join("exports")).unwrap();
    let folder = home.path().join("state");
    fs::create_dir(&folder).unwrap();
    let store = Store::open(&folder).unwrap();
    let said = Timestamp::from_seconds(DAY) + Span::hours(10);
    let when = When::At(said + Span::hours(5));
    let asked = Asked { text: "look at the pump".to_owned(), when, every: None, only: None, said };
    store.say(said, &Said::Remind(asked)).unwrap();
    let kept = || store.saved().unwrap().and_then(|saved| saved.state).map_or(0, |state| state.reminders.len());
    let told = || receiver.got().iter().filter(|got| got.body["title"] == TITLE).count();
    live(home.path(), &receiver.url(), said, || kept() == 1);
    assert_eq!((kept(), told()), (1, 0), "nothing was saved before");
    let alive = || store.last_alive().unwrap().unwrap().at;
    let stopped = alive();
    live(home.path(), &receiver.url(), said + Span::minutes(5), || alive() > stopped + Span::minutes(2));
    assert_eq!((kept(), told()), (1, 0), "what was saved is taken over without a word");
    for (times, damage) in [(1, "body = '{'"), (2, "version = 1000")] {
        let open = rusqlite::Connection::open(folder.join(FILE)).unwrap();
        open.execute(&format!("UPDATE snapshot SET {damage}"), []).unwrap();
        let unread = store.saved().unwrap().unwrap().unread.unwrap();
        assert_eq!(matches!(unread, Unread::Newer { version: 1_000 }), times == 2, "{unread}");
        assert_eq!(matches!(unread, Unread::Broken { version: SNAPSHOT_VERSION, .. }), times == 1, "{unread}");
        let again = said + Span::minutes(10 * times);
        live(home.path(), &receiver.url(), again, || told() == usize::try_from(times).unwrap() && kept() == 1);
        assert_eq!((kept(), told()), (1, usize::try_from(times).unwrap()), "rebuilt, and said once: {damage}");
    }
}
