//! What a person does in a browser: opens pages, reads, presses, types. Whatever cannot be done fails
//! the test and tells what the page showed.

use std::path::Path;
use std::time::Duration;

use axum::http::Method;
use serde_json::json;
use thirtyfour::common::command::FormatRequestData;
use thirtyfour::prelude::{ElementQueryable, ElementWaitable};
use thirtyfour::{By, ElementId, Key, RequestData, SessionId, WebDriver, WebElement};
use tokio::time::{Instant, sleep};

/// A browser in front of one site.
#[derive(Debug, Clone)]
pub struct Browser {
    pub driver: WebDriver,
    site: String,
}

impl Browser {
    /// `site` is the address of its first page.
    pub fn new(driver: WebDriver, site: impl Into<String>) -> Browser {
        Browser {
            driver,
            site: site.into(),
        }
    }

    pub async fn open(&self, path: &str) {
        let address = format!("{}{path}", self.site.trim_end_matches('/'));
        let opened = self.driver.goto(&address).await;
        opened.unwrap_or_else(|error| panic!("cannot open {address}: {error}"));
    }

    /// Where the page stands in the site.
    pub async fn path(&self) -> String {
        let address = self.driver.current_url().await;
        address.expect("a page has an address").path().to_owned()
    }

    /// The demonstration's button for this person.
    pub async fn sign_in_as(&self, name: &str) {
        self.open("/sign-in").await;
        self.press(name).await;
    }

    /// What the page answers to its question.
    pub async fn answer(&self) -> String {
        self.text(".answer h1").await
    }

    /// The text that the first such element shows.
    pub async fn text(&self, css: &str) -> String {
        let element = self.find(By::Css(css), css).await;
        element.text().await.expect("what is shown has a text")
    }

    /// The text of each such element, in the page's order; none is no failure.
    pub async fn texts(&self, css: &str) -> Vec<String> {
        let elements = self.driver.find_all(By::Css(css)).await;
        let mut texts = Vec::new();
        for element in elements.expect("a page can be searched") {
            texts.push(element.text().await.expect("an element has a text"));
        }
        texts
    }

    /// Where each such link leads, in the page's order; none is no failure.
    pub async fn links(&self, css: &str) -> Vec<String> {
        let elements = self.driver.find_all(By::Css(css)).await;
        let mut links = Vec::new();
        for element in elements.expect("a page can be searched") {
            let link = element.attr("href").await.expect("a link has attributes");
            links.push(link.unwrap_or_default());
        }
        links
    }

    /// Whether a button or link that begins with these words is in view.
    pub async fn offers(&self, words: &str) -> bool {
        let found = self.driver.query(button(words)).and_displayed().nowait();
        found.exists().await.expect("a page can be searched")
    }

    /// Presses the button or link that begins with these words, and waits for the page that follows.
    pub async fn press(&self, words: &str) {
        let element = self.find(button(words), words).await;
        let page = self.find(By::Tag("html"), "a page").await;
        let pressed = element.click().await;
        pressed.unwrap_or_else(|error| panic!("cannot press '{words}': {error}"));
        gone(page, words).await;
    }

    /// Types into the field with this label.
    pub async fn fill(&self, label: &str, text: &str) {
        let field = self.field(label).await;
        field.clear().await.expect("a field can be emptied");
        field.send_keys(text).await.expect("a field takes text");
    }

    /// Sets a day, or a day and time, as '2026-12-01T06:55': how such a field takes keys is up to the browser's
    /// language.
    pub async fn set(&self, label: &str, value: &str) {
        let field = self.field(label).await;
        let id = field.id().await.expect("a field has attributes");
        let set = "document.getElementById(arguments[0]).value = arguments[1];";
        let done = self.driver.execute(set, vec![json!(id), json!(value)]);
        done.await.expect("a field can be set");
    }

    /// Opens the folded part of a page under these words.
    pub async fn unfold(&self, words: &str) {
        let path = format!("//summary[starts-with(normalize-space(.), '{words}')]");
        let summary = self.find(By::XPath(path), words).await;
        summary.click().await.expect("it can be opened");
    }

    /// Chooses a file for the field with this label.
    pub async fn attach(&self, label: &str, file: &Path) {
        let field = self.field(label).await;
        let file = file.to_str().expect("a file's name in letters");
        field.send_keys(file).await.expect("a field takes a file");
    }

    /// Chooses the first option with these words from the list with this label.
    pub async fn choose(&self, label: &str, words: &str) {
        let list = self.field(label).await;
        let option = list
            .find(By::XPath(format!(".//option[contains(., '{words}')]")))
            .await;
        let option = option.unwrap_or_else(|_| panic!("'{label}' does not offer '{words}'"));
        option.click().await.expect("an option can be chosen");
    }

    /// Chooses the one of a few, all in view, with this label.
    pub async fn tick(&self, words: &str) {
        let path = format!(
            "//label[contains(@class, 'choice')][starts-with(normalize-space(.), '{words}')]"
        );
        let label = self.find(By::XPath(path), words).await;
        label.click().await.expect("a choice can be made");
    }

    /// Presses Tab until the focus stands on what a screen reader calls by these words, and checks
    /// that the focus can be seen there.
    pub async fn tab_to(&self, words: &str) {
        for _ in 0..TABS {
            self.key(Key::Tab).await;
            let focused = self.driver.active_element().await;
            let focused = focused.expect("a page has a focus");
            if self.name_of(&focused).await.starts_with(words) {
                assert!(self.outlined(&focused).await, "no outline round '{words}'");
                return;
            }
        }
        panic!(
            "no way to '{words}' in {TABS} steps with Tab\n{}",
            self.page().await
        );
    }

    /// Presses a key, wherever the focus stands.
    pub async fn key(&self, key: Key) {
        let pressed = self.driver.action_chain().send_keys(key).perform().await;
        pressed.expect("a key can be pressed");
    }

    /// Presses Enter on what these words name, reached by Tab, and waits for the page that follows.
    pub async fn enter(&self, words: &str) {
        let page = self.find(By::Tag("html"), "a page").await;
        self.tab_to(words).await;
        self.key(Key::Enter).await;
        gone(page, words).await;
    }

    /// Has an order computed from what stands now, and waits until it is shown.
    pub async fn plan(&self) {
        self.open("/line-up").await;
        self.wait_for_plan().await;
        let first = self.offers("Plan the order").await;
        let words = if first {
            "Plan the order"
        } else {
            "Plan again"
        };
        self.press(words).await;
        self.wait_for_plan().await;
    }

    /// Looks again while a plan is computed, and fails if that takes far too long.
    pub async fn wait_for_plan(&self) {
        self.look_again("/line-up").await;
    }

    /// Looks at a page again while what it shows is computed, and fails if that takes far too long.
    pub async fn look_again(&self, path: &str) {
        let end = Instant::now() + LOOK_LIMIT;
        while self.offers("Look again").await {
            assert!(Instant::now() < end, "nothing at {path} in {LOOK_LIMIT:?}");
            sleep(STEP).await;
            self.open(path).await;
        }
    }

    async fn find(&self, by: By, what: &str) -> WebElement {
        let query = self.driver.query(by).and_displayed();
        match query.wait(PATIENCE, STEP).first().await {
            Ok(element) => {
                let shown = element.scroll_into_view().await;
                shown.expect("what is shown can be scrolled to");
                element
            }
            Err(_) => panic!("no '{what}' in view\n{}", self.page().await),
        }
    }

    /// Whether an outline shows round an element, or round the row or box that it fills.
    async fn outlined(&self, element: &WebElement) -> bool {
        let around = By::XPath("ancestor-or-self::*[position() <= 4]");
        for element in element.find_all(around).await.expect("an element is there") {
            let outline = element.css_value("outline-style").await;
            if outline.expect("every element has a style") != "none" {
                return true;
            }
        }
        false
    }

    /// The field with this label, or else the first whose label begins with it.
    async fn field(&self, label: &str) -> WebElement {
        let whole = format!("//label[normalize-space(.) = '{label}']");
        let found = self.driver.query(By::XPath(whole.as_str()));
        let is_whole = found.and_displayed().nowait().exists().await;
        let path = match is_whole.expect("a page can be searched") {
            true => whole,
            false => format!("//label[starts-with(normalize-space(.), '{label}')]"),
        };
        let element = self.find(By::XPath(path), label).await;
        let id = element.attr("for").await.expect("a label has attributes");
        let id = id.unwrap_or_else(|| panic!("the label '{label}' is for no field"));
        self.find(By::Id(id), label).await
    }

    /// What a screen reader calls it.
    async fn name_of(&self, element: &WebElement) -> String {
        let named = self.driver.cmd(NameOf(element.element_id())).await;
        let named = named.and_then(|answer| answer.value());
        named.expect("every element has a name, if an empty one")
    }

    /// Where we are and what is in view.
    async fn page(&self) -> String {
        let address = self.driver.current_url().await;
        let text = match self.driver.find(By::Tag("body")).await {
            Ok(body) => body.text().await.unwrap_or_default(),
            Err(error) => error.to_string(),
        };
        format!("{address:?}\n{text}")
    }
}

/// Waits until another page stands in the place of this one.
async fn gone(page: WebElement, words: &str) {
    let another = page.wait_until().wait(PATIENCE, STEP).stale().await;
    another.unwrap_or_else(|_| panic!("'{words}' leads to no other page"));
}

/// A link or button.
fn button(words: &str) -> By {
    By::XPath(format!(
        "//*[self::a or self::button][starts-with(normalize-space(.), '{words}')]"
    ))
}

/// The command 'Get Computed Label' of the W3C's `WebDriver`.
#[derive(Debug)]
struct NameOf(ElementId);

impl FormatRequestData for NameOf {
    fn format_request(&self, session: &SessionId) -> RequestData {
        let path = format!("/session/{session}/element/{}/computedlabel", self.0);
        RequestData::new(Method::GET, path)
    }
}

/// How long a page may take to show what is looked for.
const PATIENCE: Duration = Duration::from_secs(20);
const STEP: Duration = Duration::from_millis(100);

/// Far longer than a plan or a coarse load of the demonstration site takes, even on a busy machine.
const LOOK_LIMIT: Duration = Duration::from_secs(120);

/// More than any page has links, buttons and fields.
const TABS: usize = 200;
