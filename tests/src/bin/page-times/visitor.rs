//! A browser in front of a service: somebody signed in, with one connection that is kept open.

use std::collections::BTreeSet;
use std::time::{Duration, Instant};

use axum::http::header::{CONTENT_TYPE, COOKIE, SET_COOKIE};
use mendpost_server::page::Screen;
use mendpost_tests::service::Service;
use mendpost_tests::{FORM, between, form, links};
use reqwest::redirect::Policy;
use reqwest::{Client, Response};
use tokio::time::sleep;

/// Somebody signed in, with one connection that is kept open, as a browser does.
pub struct Visitor<'a> {
    client: Client,
    service: &'a Service,
    session: String,
}

impl<'a> Visitor<'a> {
    pub fn new(service: &'a Service) -> Self {
        let client = Client::builder()
            .redirect(Policy::none())
            .timeout(Duration::from_secs(30))
            .build();
        Visitor {
            client: client.expect("a client without encryption needs nothing"),
            service,
            session: String::new(),
        }
    }

    pub async fn sign_in_as(&mut self, name: &str) {
        let page = self.get("/sign-in").await;
        let (_, number) = page
            .split_once(&format!("\">{name}"))
            .and_then(|(before, _)| before.rsplit_once("value=\""))
            .unwrap_or_else(|| panic!("no button for '{name}'"));
        let fields = [
            ("person", number),
            ("next", "/site"),
            ("csrf", token(&page)),
        ];
        self.post("/sign-in/demonstration", &fields).await;
    }

    pub async fn plan(&mut self) {
        let page = self.get("/line-up").await;
        if !page.contains(PLANNING) {
            self.post("/line-up/plan", &[("csrf", token(&page))]).await;
        }
        for _ in 0..PLAN_LOOKS {
            if !self.get("/line-up").await.contains(PLANNING) {
                return;
            }
            sleep(LOOK).await;
        }
        panic!("no order after {PLAN_LOOKS} looks, {LOOK:?} apart");
    }

    /// Every screen, and the first entry of each list.
    pub async fn pages(&mut self) -> Vec<String> {
        let mut paths = vec!["/requests/new".to_owned()];
        for screen in Screen::ALL {
            let page = self.get(screen.path()).await;
            let below = format!("href=\"{}/", screen.path());
            let entry = page
                .split("whole-row\" ")
                .skip(1)
                .find(|rest| rest.starts_with(&below))
                .and_then(|rest| between(rest, "href=\"", "\""));
            paths.push(screen.path().to_owned());
            paths.extend(entry.map(str::to_owned));
        }
        paths
    }

    /// Every page of the site that can be reached by links, with how long it took.
    pub async fn every_page(&mut self) -> Vec<(String, Duration)> {
        let mut known = BTreeSet::from([Screen::ALL[0].path().to_owned()]);
        let mut waiting: Vec<String> = known.iter().cloned().collect();
        let mut opened = Vec::new();
        while let Some(path) = waiting.pop() {
            let start = Instant::now();
            let page = self.get(&path).await;
            opened.push((path, start.elapsed()));
            for address in links(&page) {
                if known.insert(address.clone()) {
                    waiting.push(address);
                }
            }
        }
        opened
    }

    /// The whole page, or the file as far as it is text.
    pub async fn get(&mut self, path: &str) -> String {
        let request = self.client.get(self.service.url(path));
        let answer = request.header(COOKIE, &self.session).send().await;
        let answer = answer.expect("the demonstration answers");
        assert!(answer.status().is_success(), "{path}: {}", answer.status());
        self.keep_session(&answer);
        answer.text().await.expect("a page is text")
    }

    async fn post(&mut self, path: &str, fields: &[(&str, &str)]) {
        let request = self.client.post(self.service.url(path));
        let request = request
            .header(COOKIE, &self.session)
            .header(CONTENT_TYPE, FORM)
            .body(form(fields));
        let answer = request.send().await.expect("the demonstration answers");
        assert!(
            answer.status().is_redirection(),
            "{path}: {}",
            answer.status()
        );
        self.keep_session(&answer);
    }

    fn keep_session(&mut self, answer: &Response) {
        for cookie in answer.headers().get_all(SET_COOKIE) {
            let cookie = cookie.to_str().expect("a cookie in ASCII");
            if cookie.starts_with("session=") {
                let pair = cookie.split(';').next().unwrap_or(cookie);
                self.session = pair.to_owned();
            }
        }
    }
}

/// The anti-forgery token of a page's forms.
fn token(page: &str) -> &str {
    between(page, "name=\"csrf\" value=\"", "\"").expect("a page with a form has a token")
}

/// Stands on the line-up while an order is computed.
const PLANNING: &str = "Look again";
const LOOK: Duration = Duration::from_millis(200);
const PLAN_LOOKS: usize = 150;
