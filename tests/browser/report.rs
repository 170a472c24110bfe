//! A damaged part is reported and planned in.

use mendpost_tests::browser::Browser;
use mendpost_tests::chromium::Scripts;

use crate::walk;

#[tokio::test]
async fn a_reported_part_finds_its_place_in_the_next_plan() {
    walk("report", Scripts::On, report).await;
}

/// Pages must do without scripts: a tablet may block them.
#[tokio::test]
async fn the_same_without_scripts() {
    walk("no-scripts", Scripts::Off, async |browser: Browser| {
        let proof = "data:text/html,<title>still</title><script>document.title='ran'</script>";
        browser
            .driver
            .goto(proof)
            .await
            .expect("a page in the address");
        assert_eq!(browser.driver.title().await.expect("a title"), "still");
        report(browser).await;
    })
    .await;
}

/// The ice plant's tray frame stands in the catalogue, with an approved recipe; this is a second one.
async fn report(browser: Browser) {
    browser.sign_in_as("Sprayer").await;
    browser.plan().await;
    let before = requests_in_line_up(&browser).await;

    browser.open("/requests/new").await;
    browser.choose("Machine", "ice plant").await;
    browser.choose("Part", "tray frame").await;
    browser
        .fill("What is broken", "Frame torn along one side")
        .await;
    browser.tick("nobody").await;
    browser.fill("Who asks", "Ice plant keeper").await;
    browser.press("Report").await;
    let notice = browser.text(".notice").await;
    assert!(notice.contains("SAVED"), "{notice}");
    let request = browser.path().await;

    browser.open("/line-up").await;
    assert!(
        browser
            .text(".answer")
            .await
            .contains("change since: plan again")
    );
    browser.plan().await;
    let after = requests_in_line_up(&browser).await;
    assert!(
        !before.contains(&request) && after.contains(&request),
        "{request} in {after:?}"
    );
}

/// Where each request of the line-up, placed or waiting, leads to.
async fn requests_in_line_up(browser: &Browser) -> Vec<String> {
    browser.open("/line-up").await;
    browser.links("main a.whole-row").await
}
