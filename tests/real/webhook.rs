//! Alerts over HTTP: refused and tried again, cut off in the middle, over TLS with a home's own
//! authority, and from traces of real sensors.

use super::{Receiver, Recheck, Running, need, skip, tool, wait_for, wait_within, webhook};
use std::fs;
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::time::Duration;

#[test]
fn a_refused_alert_is_tried_again_until_it_is_accepted() {
    let receiver = Receiver::start();
    let mut recheck = Recheck::new(&webhook(&receiver.url()));
    recheck.watch_after_an_hour_in_range();
    receiver.answer_next(&[500, 500]);
    recheck.drop_a_low();
    let tries = receiver.wait_for("low", 3);
    // A fourth try would begin within the longest of the waits so far.
    assert!(
        wait_within(Duration::from_secs(6), || (receiver.got().len() > 3).then_some(())).is_none(),
        "{:#?}",
        receiver.got()
    );
    let answers: Vec<_> = tries.iter().map(|got| got.answered).collect();
    assert_eq!(answers, [Some(500), Some(500), Some(200)]);
    let key = tries[0].body["key"].as_str().expect("a key");
    for got in &tries {
        assert_eq!(got.body["key"], key);
        assert_eq!(got.header("idempotency-key"), Some(key));
        assert_eq!(got.header("content-type"), Some("application/json"));
        // An answer came each time, so the program knows that it was not taken.
        assert_eq!(got.body["may_repeat"], false);
    }
    let waits: Vec<Duration> = tries.windows(2).map(|pair| pair[1].at - pair[0].at).collect();
    assert!(waits[0] >= Duration::from_millis(900) && waits[1] >= Duration::from_millis(1_900), "{waits:?}");
    let why = String::from_utf8_lossy(&recheck.say(&["why"]).stdout).into_owned();
    assert!(why.contains("phone: delivered") && why.contains("3 tries"), "{why}");
}

#[test]
fn an_alert_cut_off_by_a_power_cut_comes_again_and_says_so() {
    let receiver = Receiver::start();
    let mut recheck = Recheck::new(&webhook(&receiver.url()));
    recheck.watch_after_an_hour_in_range();
    receiver.hold(true);
    recheck.drop_a_low();
    receiver.wait_for("low", 1);
    recheck.kill();
    receiver.hold(false);
    recheck.watch();
    let both = receiver.wait_for("low", 2);
    assert_eq!((both[0].answered, both[1].answered), (None, Some(200)));
    assert_eq!(both[0].body["key"], both[1].body["key"]);
    assert_eq!((&both[0].body["may_repeat"], &both[1].body["may_repeat"]), (&false.into(), &true.into()));
    // The reading is known, so it is not judged a second time.
    assert!(
        wait_within(Duration::from_secs(3), || (receiver.got().len() > 2).then_some(())).is_none(),
        "{:#?}",
        receiver.got()
    );
    recheck.alert("low", |_| true);
}

#[test]
fn a_way_that_works_again_is_not_used_to_say_that_none_works() {
    let receiver = Receiver::start();
    let mut recheck = Recheck::new(&webhook(&receiver.url()));
    recheck.watch_after_an_hour_in_range();
    // The third failure makes the only way a failing one.
    receiver.answer_next(&[500, 500, 500]);
    recheck.drop_a_low();
    wait_for("the alert to be accepted", || {
        receiver.about("low").iter().any(|got| got.answered == Some(200)).then_some(())
    });
    let taken: Vec<_> = receiver.got().into_iter().filter(|got| got.answered == Some(200)).collect();
    let titles: Vec<_> = taken.iter().map(|got| got.body["title"].as_str().unwrap_or_default()).collect();
    assert!(titles.iter().all(|title| !title.contains("Nothing can reach you")), "{titles:?}");
}

/// A server that ends TLS and hands on what it gets, with a certificate of an authority made for it.
#[derive(Debug)]
struct TlsServer {
    running: Running,
    url: String,
    authority: PathBuf,
}

impl TlsServer {
    fn start(folder: &Path, behind: &Receiver) -> Self {
        let openssl = |arguments: &str| {
            let made = tool("openssl")
                .args(arguments.split(' '))
                .current_dir(folder)
                .output()
                .expect("openssl can be started");
            assert!(made.status.success(), "openssl {arguments}: {}", String::from_utf8_lossy(&made.stderr));
        };
        fs::write(folder.join("names"), "subjectAltName=IP:127.0.0.1,DNS:localhost\nbasicConstraints=CA:FALSE\n")
            .expect("a file");
        openssl("req -x509 -newkey rsa:2048 -nodes -days 2 -subj /CN=home-authority -keyout ca.key -out ca.pem");
        openssl("req -newkey rsa:2048 -nodes -subj /CN=localhost -keyout server.key -out server.csr");
        openssl(
            "x509 -req -in server.csr -CA ca.pem -CAkey ca.key -CAcreateserial -days 2 -extfile names -out server.pem",
        );
        let port = TcpListener::bind("127.0.0.1:0").and_then(|free| free.local_addr()).expect("a free port").port();
        let here = folder.display();
        let temporary: String = ["client_body", "proxy", "fastcgi", "uwsgi", "scgi"]
            .map(|kind| format!("{kind}_temp_path {here}/{kind};\n"))
            .concat();
        let settings = format!(
            "daemon off; master_process off; pid {here}/pid; error_log {here}/errors;\nevents {{}}\nhttp {{ access_log off;\n{temporary}\
             server {{ listen 127.0.0.1:{port} ssl; ssl_certificate {here}/server.pem; ssl_certificate_key {here}/server.key;\n\
             location / {{ proxy_pass http://127.0.0.1:{}; }} }} }}\n",
            behind.port()
        );
        fs::write(folder.join("nginx.conf"), settings).expect("a file");
        let mut command = tool("nginx");
        command.arg("-e").arg(folder.join("errors")).arg("-c").arg(folder.join("nginx.conf")).arg("-p").arg(folder);
        let mut running = Running::start(command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null()));
        wait_for("the TLS server", || {
            assert!(!running.has_ended(), "nginx: {}", fs::read_to_string(folder.join("errors")).unwrap_or_default());
            TcpStream::connect(("127.0.0.1", port)).ok()
        });
        Self { running, url: format!("https://127.0.0.1:{port}/alerts"), authority: folder.join("ca.pem") }
    }
}

#[test]
fn tls_needs_the_homes_authority_and_works_with_it() {
    if !need("tls_needs_the_homes_authority_and_works_with_it", &["openssl", "nginx"]) {
        return;
    }
    let folder = tempfile::tempdir().expect("a temporary folder");
    let receiver = Receiver::start();
    let mut server = TlsServer::start(folder.path(), &receiver);
    let mut recheck = Recheck::new(&webhook(&server.url));
    recheck.watch_after_an_hour_in_range();
    recheck.drop_a_low();
    let failure = wait_for("a failure", || recheck.of_channel("phone", "failure"));
    eprintln!("REPORTED: {failure}");
    let small = failure.to_lowercase();
    assert!(small.contains("certificate") || small.contains("unknownissuer"), "not an error of TLS: {failure}");
    assert_eq!(receiver.got().len(), 0, "sent to somebody unknown");
    // The alert is still owed: named the authority, the next start delivers it.
    recheck.kill();
    recheck.set_channels(&format!("{}ca_file = \"{}\"\n", webhook(&server.url), server.authority.display()));
    recheck.watch();
    let got = receiver.wait_for("low", 1);
    assert_eq!(got[0].body["glucose"]["mg_dl"], 62.0);
    wait_for("the alert to be accepted", || {
        recheck.status()?["channels"][0]["last_accepted"].as_str().map(str::to_owned)
    });
    server.running.end();
}

/// Hours of a trace before its low.
const TRACE_HOURS: i64 = 3;

/// The first low of a trace that comes after hours within range, with those hours.
fn hours_around_a_low(text: &str) -> Vec<(i64, f64)> {
    let rows: Vec<(i64, f64)> = text
        .lines()
        .skip(1)
        .filter_map(|line| {
            let (at, value) = line.split_once(',')?;
            let at = chrono::NaiveDateTime::parse_from_str(at, "%Y-%m-%d %H:%M:%S").ok()?;
            Some((at.and_utc().timestamp(), value.parse().ok()?))
        })
        .collect();
    let low = (0..rows.len()).filter(|place| rows[*place].1 < 70.0).find_map(|place| {
        let from = rows[place].0 - TRACE_HOURS * 3_600;
        let before: Vec<(i64, f64)> = rows[..=place].iter().copied().filter(|row| row.0 >= from).collect();
        let (_, earlier) = before.split_last()?;
        (earlier.len() >= 6 && earlier.iter().all(|row| (70.0..=180.0).contains(&row.1))).then_some(before)
    });
    low.expect("a trace with a low after hours within range")
}

#[test]
fn a_low_of_an_open_trace_rings_and_is_looked_at_again() {
    let test = "a_low_of_an_open_trace_rings_and_is_looked_at_again";
    let Some(folder) = std::env::var_os("RECHECK_OPEN_CGM") else {
        skip(test, "RECHECK_OPEN_CGM names no folder of open traces");
        return;
    };
    let file = Path::new(&folder).join("t1d-uom/UoMGlucose2302.csv");
    let Ok(trace) = fs::read_to_string(&file) else {
        skip(test, &format!("{} cannot be read", file.display()));
        return;
    };
    let mut rows = hours_around_a_low(&trace);
    let (low_at, low) = *rows.last().expect("a row");
    let shift = super::now_seconds() - low_at;
    for row in &mut rows {
        row.0 += shift;
    }
    let receiver = Receiver::start();
    let mut recheck = Recheck::new(&webhook(&receiver.url()));
    // The hours before are there at the start, as they would be; the low comes with the next export.
    let (_, before) = rows.split_last().expect("rows");
    recheck.drop_rows("before.csv", "glucose_value_mg_dl", before);
    recheck.watch();
    wait_for("the hours before to be read", || {
        (recheck.counted("taken") == u64::try_from(before.len()).ok()?).then_some(())
    });
    assert_eq!(receiver.about("low").len(), 0);
    recheck.drop_rows("day.csv", "glucose_value_mg_dl", &rows);
    let got = receiver.wait_for("low", 1);
    assert_eq!(
        (&got[0].body["glucose"]["mg_dl"], &got[0].body["what"]),
        (&low.into(), &"raised".into()),
        "{:#}",
        got[0].body
    );
    assert!(got[0].body["rate_mg_dl_per_min"].as_f64().is_none_or(|rate| rate < 0.0), "{:#}", got[0].body);
    assert_eq!(recheck.counted("doubled"), u64::try_from(before.len()).expect("few rows"));
    let answer = recheck.say(&["treated", "low"]);
    let words = String::from_utf8_lossy(&answer.stdout).into_owned();
    assert!(answer.status.success() && words.contains("looks at") && words.contains("every 15 min"), "{words}");
    assert_eq!(recheck.status().expect("a status")["rechecks"][0]["of"], "low");
}
