//! A scanner types a label into whatever has the focus, and ends with Enter.

use std::time::{Duration, SystemTime};

use mendpost_core::label::{Kind, Label};
use mendpost_tests::browser::Browser;
use mendpost_tests::chromium::Scripts;
use mendpost_tests::squares;
use serde_json::json;
use thirtyfour::Key;
use tokio::time::sleep;

use crate::walk;

/// The worst case: the focus is on the button that signs the order. The label opens its container, and
/// nothing is signed, though the same Enter by hand would have signed.
#[tokio::test]
async fn a_scan_presses_no_button() {
    walk("scan-button", Scripts::On, async |browser: Browser| {
        browser.sign_in_as("Cell lead").await;
        browser.plan().await;
        browser.press("Work to this order").await;
        let sign = browser.path().await;
        let before = last_entry(&browser).await;

        browser.open(&sign).await;
        browser.tab_to("Sign order").await;
        scan(&browser, &container("L0396-1"), &[Key::Enter]).await;
        opened(&browser, "/powder/L0396").await;
        assert_eq!(browser.text("tr:target b").await, "L0396-1");
        assert_eq!(last_entry(&browser).await, before, "nothing was posted");

        browser.open(&sign).await;
        browser.enter("Sign order").await;
        assert!(browser.text(".notice").await.contains("SIGNED"));
    })
    .await;
}

/// With Caps Lock, with Tab at the end, with nothing at the end, and twice Enter: always the same.
#[tokio::test]
async fn however_a_scanner_is_set_the_label_opens() {
    walk("scan-endings", Scripts::On, async |browser: Browser| {
        browser.sign_in_as("Storekeeper").await;
        let lot = Label::new(Kind::Lot, "L0396").expect("a code").text();
        let (upper, lower) = (lot.clone(), lot.to_lowercase());
        let enter = Key::Enter;
        for (typed, ending) in [
            (lower, vec![enter.clone()]),
            (upper.clone(), vec![Key::Tab]),
            (upper.clone(), Vec::new()),
            (format!("]Q1{upper}"), vec![enter.clone(), enter]),
        ] {
            browser.open("/now").await;
            forget_last_read(&browser).await;
            scan(&browser, &typed, &ending).await;
            opened(&browser, "/powder/L0396").await;
        }
    })
    .await;
}

/// A note that is written by hand stays as it is: the same letters typed slowly are letters, a label
/// scanned into the middle of them is taken out again, and what is not saved is not left.
#[tokio::test]
async fn what_is_typed_by_hand_is_left_alone() {
    walk("scan-note", Scripts::On, async |browser: Browser| {
        browser.sign_in_as("Cell lead").await;
        browser.open("/powder/L0390/hold").await;
        let label = container("L0396-1");
        focus(&browser, "textarea").await;
        slowly(&browser, &label).await;
        // Long enough for a scan without an end to be taken.
        sleep(LATE).await;
        assert_eq!(value(&browser, "textarea").await, label);

        browser.key(Key::Left).await;
        scan(&browser, &label, &[Key::Enter]).await;
        let notice = browser.text(".notices.read").await;
        assert!(
            notice.contains("What is typed on this page is not saved"),
            "{notice}"
        );
        assert_eq!(value(&browser, "textarea").await, label);
        slowly(&browser, "x").await;
        let (begins, last) = label.split_at(label.len() - 1);
        assert_eq!(
            value(&browser, "textarea").await,
            format!("{begins}x{last}")
        );

        browser.press("Open the label").await;
        assert_eq!(browser.path().await, "/powder/L0396");
    })
    .await;
}

/// A maker's own label may be scanned into a field for its number: it stays there, and its Enter does
/// not send the form. By hand Enter sends it.
#[tokio::test]
async fn a_makers_label_stays_in_its_field_and_sends_nothing() {
    walk("scan-maker", Scripts::On, async |browser: Browser| {
        browser.sign_in_as("Sprayer").await;
        browser.open("/requests/new").await;
        focus(&browser, "#asked_by").await;
        scan(&browser, "4006381 33931", &[Key::Enter]).await;
        assert_eq!(value(&browser, "#asked_by").await, "4006381 33931");
        sleep(SHORTLY).await;
        assert!(browser.texts(".entry-error").await.is_empty(), "not sent");

        // Only long after a scan is an Enter somebody's own.
        sleep(LATE).await;
        browser.key(Key::Enter).await;
        assert!(
            !browser.text(".entry-error").await.is_empty(),
            "sent, and refused"
        );
    })
    .await;
}

/// A trigger held too long reads the same label again: within two seconds that counts once. The page's
/// own clock is set, so that no busy machine moves the two seconds.
#[tokio::test]
async fn the_same_label_again_within_two_seconds_counts_once() {
    walk("scan-again", Scripts::On, async |browser: Browser| {
        browser.sign_in_as("Cell lead").await;
        let label = container("L0396-1");
        clock(&browser, "/now", 1_000_000).await;
        scan(&browser, &label, &[Key::Enter]).await;
        opened(&browser, "/powder/L0396").await;

        clock(&browser, "/now", 1_001_999).await;
        scan(&browser, &label, &[Key::Enter]).await;
        sleep(SHORTLY).await;
        assert_eq!(browser.path().await, "/now", "the same read");
        scan(&browser, &container("L0390-1"), &[Key::Enter]).await;
        opened(&browser, "/powder/L0390").await;

        clock(&browser, "/now", 1_004_000).await;
        scan(&browser, &label, &[Key::Enter]).await;
        opened(&browser, "/powder/L0396").await;
    })
    .await;
}

/// Without scripts the field at the top takes a scan while it has the focus.
#[tokio::test]
async fn without_scripts_the_scan_field_opens_it() {
    walk("scan-no-scripts", Scripts::Off, async |browser: Browser| {
        browser.sign_in_as("Machinist").await;
        browser.open("/now").await;
        browser.tab_to("Scan a label or type its code").await;
        scan(&browser, &container("L0396-1"), &[Key::Enter]).await;
        opened(&browser, "/powder/L0396").await;
    })
    .await;
}

/// What a camera would see of the labels on the screen can be read.
#[tokio::test]
async fn a_label_as_shown_can_be_scanned() {
    walk("scan-shown", Scripts::On, async |browser: Browser| {
        browser.sign_in_as("Cell lead").await;
        browser.open("/labels/lots/L0390").await;
        let shown = browser.driver.screenshot_as_png().await.expect("a picture");
        let picture = image::load_from_memory(&shown).expect("a picture");
        let mut read = squares::of_picture(&picture.to_luma8());
        read.sort();
        let lot = Label::new(Kind::Lot, "L0390").expect("a code").text();
        assert_eq!(read, [container("L0390-1"), container("L0390-2"), lot]);
    })
    .await;
}

fn container(code: &str) -> String {
    Label::new(Kind::Container, code).expect("a code").text()
}

/// Types as a scanner does, a character every five milliseconds by the times that the keys carry, however
/// long the browser takes over each.
async fn scan(browser: &Browser, text: &str, ending: &[Key]) {
    let since = SystemTime::UNIX_EPOCH.elapsed().expect("a time after 1970");
    let mut at = since.as_secs_f64();
    for character in text.chars() {
        at += 0.005;
        let written = character.to_string();
        press(browser, at, &written, &written).await;
    }
    for key in ending {
        at += 0.005;
        match key {
            Key::Enter => press(browser, at, "Enter", "\r").await,
            Key::Tab => press(browser, at, "Tab", "").await,
            other => panic!("no scanner ends with {other:?}"),
        }
    }
}

async fn press(browser: &Browser, at: f64, key: &str, text: &str) {
    let code = match key {
        "Enter" => 13,
        "Tab" => 9,
        _ => 0,
    };
    let down = json!({
        "type": if text.is_empty() { "rawKeyDown" } else { "keyDown" },
        "key": key, "text": text, "timestamp": at, "windowsVirtualKeyCode": code,
    });
    let up = json!({
        "type": "keyUp", "key": key, "timestamp": at + 0.002, "windowsVirtualKeyCode": code,
    });
    for event in [down, up] {
        let cdp = browser.driver.cdp();
        let sent = cdp.send_raw("Input.dispatchKeyEvent", event);
        sent.await.expect("a key can be pressed");
    }
}

/// Types as a hand does.
async fn slowly(browser: &Browser, text: &str) {
    for character in text.chars() {
        sleep(BY_HAND).await;
        let keys = browser
            .driver
            .action_chain()
            .send_keys(character.to_string());
        keys.perform().await.expect("a key can be pressed");
    }
    sleep(BY_HAND).await;
}

/// Waits for the page that a scan opens.
async fn opened(browser: &Browser, path: &str) {
    for _ in 0..PATIENCE {
        if browser.path().await == path {
            return;
        }
        sleep(SHORTLY).await;
    }
    panic!("{} stands where {path} should", browser.path().await);
}

/// The newest entry of the journal.
async fn last_entry(browser: &Browser) -> String {
    browser.open("/journal").await;
    browser.text("main tbody tr").await
}

async fn focus(browser: &Browser, css: &str) {
    run(
        browser,
        &format!("document.querySelector('main {css}').focus()"),
    )
    .await;
}

async fn value(browser: &Browser, css: &str) -> String {
    let script = format!("return document.querySelector('main {css}').value");
    run(browser, &script)
        .await
        .as_str()
        .expect("a text")
        .to_owned()
}

/// Opens a page whose clock stands.
async fn clock(browser: &Browser, path: &str, at: u64) {
    browser.open(path).await;
    run(browser, &format!("Date.now = () => {at}")).await;
}

/// The next scan is the first.
async fn forget_last_read(browser: &Browser) {
    run(browser, "sessionStorage.clear()").await;
}

async fn run(browser: &Browser, script: &str) -> serde_json::Value {
    let ran = browser.driver.execute(script, Vec::new()).await;
    ran.expect("a script runs").json().clone()
}

const BY_HAND: Duration = Duration::from_millis(90);
const SHORTLY: Duration = Duration::from_millis(200);
/// Longer than a scanner's Enter may be late, and than the silence that ends a scan.
const LATE: Duration = Duration::from_millis(1_300);
/// How often is looked whether a page has come.
const PATIENCE: usize = 100;
