//! A shift change in mid-build: written, told, heard at the machine, taken over, and printed on one page.

use std::time::Duration;

use chrono::NaiveDateTime;
use mendpost_tests::browser::Browser;
use mendpost_tests::chromium::Scripts;
use thirtyfour::Key;
use tokio::time::{Instant, sleep};

use crate::journey::{
    change_hands, draw_powder, empty_the_feeder, prepare_the_part, receive_the_boat,
    release_the_lot, spray,
};
use crate::resupply::sheets;
use crate::walk;

const WRITE: &str = "/handover/write";

/// Powder flows when the shift ends. The sprayer tells it and the lead hears it with Tab, Space, arrows and keys
/// alone, on pages without scripts; what must not be mistaken for finished is read back.
#[tokio::test]
async fn a_shift_changes_in_mid_build_by_keyboard_alone() {
    walk("shift", Scripts::Off, async |browser: Browser| {
        change_hands(&browser, "Storekeeper").await;
        receive_the_boat(&browser).await;
        change_hands(&browser, "Machinist").await;
        release_the_lot(&browser).await;
        change_hands(&browser, "Sprayer").await;
        browser.open("/handover").await;
        browser
            .fill("Why there is no handover", "first shift")
            .await;
        browser.press("Open the shift").await;
        empty_the_feeder(&browser).await;
        prepare_the_part(&browser).await;
        draw_powder(&browser).await;
        spray(&browser).await;

        browser.open(WRITE).await;
        let work = browser.text("fieldset.work").await;
        assert!(
            work.contains("R10") && work.contains("build 1") && work.contains("powder flows"),
            "{work}"
        );
        // From the top of the page.
        browser.open(WRITE).await;
        walk_through(&browser, "Tell").await;
        assert_eq!(
            browser.path().await,
            "/handovers/1",
            "{}",
            browser.text("main").await
        );
        let sheet = browser.text("main").await;
        for said in [
            "STEP-UP",
            "a build runs over the change",
            "drawn 4\u{202f}500 g",
        ] {
            assert!(sheet.contains(said), "{said}: {sheet}");
        }
        assert_eq!(sheets(&browser).await, 1, "A4 and Letter");

        change_hands(&browser, "Cell lead").await;
        browser.open("/powder").await;
        let banner = browser.text(".not-taken").await;
        assert!(banner.contains("HANDOVER 1 IS NOT TAKEN OVER"), "{banner}");
        browser.press("Open it").await;
        browser.open("/handovers/1").await;
        walk_through(&browser, "Heard, checked, mine").await;
        assert_eq!(
            browser.path().await,
            "/handover",
            "{}",
            browser.text("main").await
        );
        let notice = browser.text(".notice").await;
        assert!(notice.contains("HANDOVER 1 IS YOURS"), "{notice}");
        browser.open("/handovers/1").await;
        let sheet = browser.text("main").await;
        assert!(sheet.contains("Read back: said by keys"), "{sheet}");
        assert_eq!(
            sheets(&browser).await,
            1,
            "A4 and Letter, with what was seen"
        );
    })
    .await;
}

/// What is typed is kept without a button: the tablet goes dark, and the draft stands on the next.
#[tokio::test]
async fn a_draft_outlives_its_tablet() {
    walk("draft", Scripts::On, async |browser: Browser| {
        change_hands(&browser, "Sprayer").await;
        browser.open("/handover").await;
        browser
            .fill("Why there is no handover", "first shift")
            .await;
        browser.press("Open the shift").await;
        browser.open(WRITE).await;
        let fear = "a valve of bank N1 may weep";
        browser.fill("What you fear", fear).await;
        browser.key(Key::Tab).await;
        let end = Instant::now() + Duration::from_secs(20);
        while !browser.text("#kept").await.starts_with("kept ") {
            assert!(Instant::now() < end, "{}", browser.text("#kept").await);
            sleep(Duration::from_millis(100)).await;
        }
        // Typed on and kept again: the form goes on under its new numbers.
        browser
            .fill("Who goes, who comes", "sprayer goes, lead comes")
            .await;
        browser.press("Keep the draft").await;
        change_hands(&browser, "Cell lead").await;
        browser.open(WRITE).await;
        for (label, said) in [
            ("could_bite", fear),
            ("people_words", "sprayer goes, lead comes"),
        ] {
            let kept = browser.text(&format!("#{label}")).await;
            assert_eq!(kept, said, "{label}");
        }
    })
    .await;
}

/// What has the focus: tag, type, name, what is typed in it, whether it is ticked.
async fn focus(browser: &Browser) -> [String; 5] {
    let look = "const it = document.activeElement; const of = name => String(it[name] ?? '');
        const ticked = it.type === 'radio' ? !!it.form.querySelector(`[name='${it.name}']:checked`) : it.checked;
        return [it.tagName, of('type'), of('name'), it.tagName === 'BUTTON' ? it.innerText : of('value'), String(!!ticked)];";
    let found = browser.driver.execute(look, Vec::new()).await;
    let found = found.expect("a page has a focus");
    found.convert().expect("five texts")
}

/// Tabs through a page, answers every field that the focus comes to, and presses the button with these words.
async fn walk_through(browser: &Browser, button: &str) {
    for _ in 0..400 {
        browser.key(Key::Tab).await;
        let [tag, kind, name, value, ticked] = focus(browser).await;
        if tag == "BUTTON" && value.starts_with(button) {
            let pressed = browser.path().await;
            browser.key(Key::Enter).await;
            let end = Instant::now() + Duration::from_secs(20);
            while browser.path().await == pressed {
                assert!(Instant::now() < end, "{}", browser.text("main").await);
                sleep(Duration::from_millis(100)).await;
            }
            return;
        }
        answer(browser, (&tag, &kind, &name), (&value, ticked == "true")).await;
    }
    panic!("no '{button}' by Tab: {}", browser.text("main").await);
}

/// Answers a field by keys, where nothing stands in it yet.
async fn answer(
    browser: &Browser,
    (tag, kind, name): (&str, &str, &str),
    (value, ticked): (&str, bool),
) {
    match (tag, kind) {
        ("SELECT", _) if value.is_empty() => browser.key(Key::Down).await,
        // What people say of themselves: no. A guard: none off. What agrees: yes.
        ("INPUT", "radio") if !ticked && name.starts_with("people_") => {
            browser.key(Key::Down).await;
        }
        ("INPUT", "radio" | "checkbox") if !ticked && name != "left_for_reader" => {
            browser.key(Key::Space).await;
        }
        ("INPUT", "time") if name == "round" => {
            let shown = browser.text(".head-clock b").await;
            let now = NaiveDateTime::parse_from_str(&shown, "%a %d %b %Y, %H:%M");
            let typed = now.expect("a time").format("%I%M%p").to_string();
            keys(browser, &typed).await;
        }
        ("INPUT", "text") | ("TEXTAREA", _)
            if value.is_empty() && !["read", "added", "reason", "settled"].contains(&name) =>
        {
            keys(browser, "said by keys").await;
        }
        _ => {}
    }
}

async fn keys(browser: &Browser, text: &str) {
    let typed = browser
        .driver
        .action_chain()
        .send_keys(text)
        .perform()
        .await;
    typed.expect("keys can be pressed");
}
