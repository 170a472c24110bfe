//! Without a mouse: gloves, a wet screen, a broken touchpad.

use mendpost_tests::browser::Browser;
use mendpost_tests::chromium::Scripts;

use crate::walk;

/// From signing in to the accepted order with Tab and Enter alone, and the focus always in view.
#[tokio::test]
async fn the_order_is_planned_and_accepted_by_keyboard_alone() {
    walk("keyboard", Scripts::On, async |browser: Browser| {
        browser.open("/").await;
        browser.enter("Cell lead").await;
        browser.enter("Line-up").await;
        browser.wait_for_plan().await;
        browser.enter("Plan ").await;
        browser.wait_for_plan().await;
        browser.enter("Work to this order").await;
        browser.enter("Sign order").await;
        let notice = browser.text(".notice").await;
        assert!(notice.contains("SIGNED"), "{notice}");
    })
    .await;
}
