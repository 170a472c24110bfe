//! From a broken part that holds pressure to its refusal.

use mendpost_tests::browser::Browser;
use mendpost_tests::chromium::Scripts;

use crate::walk;

/// The lid of the feed pumps stands in the catalogue with an approved recipe, and holds pressure: however
/// much powder there is, it is not built here. The page says who alone may decide; the lead refuses it
/// with the reason, and it stands among the open requests no more.
#[tokio::test]
async fn a_pressure_part_is_refused() {
    walk("refusal", Scripts::Off, async |browser: Browser| {
        browser.sign_in_as("Sprayer").await;
        browser.open("/requests").await;
        browser.press("Report a damaged part").await;
        browser.choose("Machine", "feed pump 1").await;
        browser.choose("Part", "pump lid").await;
        browser
            .fill("What is broken", "Cracked between two stud holes")
            .await;
        browser.tick("nobody").await;
        browser.fill("Who asks", "Waterworks engineer").await;
        browser.unfold("More").await;
        browser.choose("What it is made of", "grey cast iron").await;
        browser.tick("known").await;
        browser.press("Report").await;
        let notice = browser.text(".notice").await;
        assert!(notice.contains("SAVED"), "{notice}");
        let request = browser.path().await;
        browser.plan().await;

        browser.open(&request).await;
        let gates = browser.texts(".gates li").await.join("\n");
        assert!(
            gates.contains("authority, not built here: it holds pressure")
                && gates.contains("the licensed pressure inspector"),
            "{gates}"
        );
        assert!(
            !browser.offers("Refuse").await,
            "the crew decides no request"
        );

        browser.press("Sign out").await;
        browser.sign_in_as("Cell lead").await;
        browser.open(&request).await;
        browser.press("Refuse").await;
        let why = "Sees 9 bar; the inspector alone may decide, a true lid is asked for";
        browser.fill("Why", why).await;
        browser.press("Refuse").await;
        assert_eq!(browser.path().await, request);
        let answer = browser.text(".answer").await;
        assert!(
            answer.contains("is refused.") && answer.contains(why),
            "{answer}"
        );

        browser.open("/requests").await;
        let open = browser.links("main a.whole-row").await;
        assert!(open.len() >= 30, "{open:?}");
        assert!(!open.contains(&request), "{request} in {open:?}");
    })
    .await;
}
