//! The order of work: read by the crew, accepted by the lead.

use std::collections::BTreeMap;

use mendpost_tests::browser::Browser;
use mendpost_tests::chromium::Scripts;

use crate::walk;

/// The page says what to spray first, and that its order loses no more than the crew's own ones.
#[tokio::test]
async fn the_line_up_says_what_goes_first_and_what_each_order_loses() {
    walk("line-up", Scripts::On, async |browser: Browser| {
        browser.sign_in_as("Sprayer").await;
        browser.plan().await;

        let answer = browser.answer().await;
        assert!(answer.starts_with("Spray the "), "{answer}");
        let first = browser.text("table.line-up tbody tr a").await;
        let machine = first.lines().next().expect("the row names a machine");
        assert!(
            answer.to_lowercase().contains(&machine.to_lowercase()),
            "'{answer}' names the first row, '{machine}'"
        );

        let losses = losses(&browser).await;
        let of = |order: &str| losses[order];
        for other in ["Oldest first", "Largest rate first", "Do nothing"] {
            assert!(of("Ours") <= of(other), "{losses:?}");
        }
        assert!(of("Ours") < of("Do nothing"), "{losses:?}");
    })
    .await;
}

/// Only the lead sets the order: the crew has no button for it, the lead has, and then all see it.
#[tokio::test]
async fn the_lead_accepts_the_order_that_the_crew_then_works_to() {
    walk("accept", Scripts::On, async |browser: Browser| {
        browser.sign_in_as("Sprayer").await;
        browser.plan().await;
        assert!(!browser.offers("Work to this order").await);
        browser.press("Sign out").await;
        assert_eq!(browser.path().await, "/sign-in");

        browser.sign_in_as("Cell lead").await;
        browser.open("/line-up").await;
        browser.press("Work to this order").await;
        browser.press("Sign order").await;
        let notice = browser.text(".notice").await;
        assert!(notice.contains("SIGNED"), "{notice}");
        let page = browser.text("main").await;
        assert!(page.contains("The crew works to this order."), "{page}");
        browser.press("Sign out").await;

        browser.sign_in_as("Sprayer").await;
        browser.open("/line-up").await;
        let page = browser.text("main").await;
        assert!(page.contains("The crew works to this order."), "{page}");
    })
    .await;
}

/// The loss shown beside each order's name.
async fn losses(browser: &Browser) -> BTreeMap<String, u64> {
    let names = browser.texts(".loss-bars li > :first-child").await;
    let totals = browser.texts(".loss-bars .total").await;
    let figures = totals.iter().map(|total| {
        let figures: String = total.chars().filter(char::is_ascii_digit).collect();
        figures.parse().expect("a loss in whole figures")
    });
    names.into_iter().zip(figures).collect()
}
