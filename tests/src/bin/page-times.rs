//! Opens every page of the demonstration that a link leads to, measures how long the screens and the
//! slowest others take, over loopback and one at a time, and prints a table in Markdown.

use std::cmp::Reverse;
use std::collections::BTreeSet;
use std::time::{Duration, Instant};

use axum::http::header::{CONTENT_TYPE, COOKIE, SET_COOKIE};
use mendpost_server::page::Screen;
use mendpost_tests::service::Service;
use mendpost_tests::{FORM, between, form, links};
use reqwest::redirect::Policy;
use reqwest::{Client, Response};
use tokio::time::sleep;

#[tokio::main]
async fn main() {
    let demonstration = Service::demonstration();
    let mut visitor = Visitor::new(&demonstration);
    visitor.sign_in_as("Cell lead").await;
    visitor.plan().await;

    let mut paths = visitor.pages().await;
    let mut others = visitor.every_page().await;
    let opened = others.len();
    others.sort_by_key(|(_, time)| Reverse(*time));
    let others = others.into_iter().map(|(path, _)| path);
    let slowest: Vec<String> = others
        .filter(|path| !paths.contains(path))
        .take(SLOWEST)
        .collect();
    paths.extend(slowest);

    println!("| page | median | 95 in 100 within | size |");
    println!("| --- | --- | --- | --- |");
    for path in paths {
        println!("{}", visitor.measured(&path).await);
    }
    println!(
        "\n{opened} pages were opened once; the last {SLOWEST} rows are the slowest of the others."
    );
}

fn milliseconds(time: Duration) -> String {
    format!("{:.1} ms", time.as_secs_f64() * 1000.0)
}

const WARM_UP: usize = 5;
const TIMES: usize = 200;
/// Pages that plan take a second each.
const AT_MOST: Duration = Duration::from_secs(10);
const SLOWEST: usize = 5;

/// Somebody signed in, with one connection that is kept open, as a browser does.
struct Visitor<'a> {
    client: Client,
    demonstration: &'a Service,
    session: String,
}

impl<'a> Visitor<'a> {
    fn new(demonstration: &'a Service) -> Self {
        let client = Client::builder()
            .redirect(Policy::none())
            .timeout(Duration::from_secs(30))
            .build();
        Visitor {
            client: client.expect("a client without encryption needs nothing"),
            demonstration,
            session: String::new(),
        }
    }

    async fn sign_in_as(&mut self, name: &str) {
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

    async fn plan(&mut self) {
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
    async fn pages(&mut self) -> Vec<String> {
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
    async fn every_page(&mut self) -> Vec<(String, Duration)> {
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

    /// A row of the table.
    async fn measured(&mut self, path: &str) -> String {
        for _ in 0..WARM_UP {
            self.get(path).await;
        }
        let (mut times, mut size) = (Vec::new(), 0);
        let begin = Instant::now();
        while times.len() < TIMES && begin.elapsed() < AT_MOST {
            let start = Instant::now();
            size = self.get(path).await.len();
            times.push(start.elapsed());
        }
        times.sort();
        let (median, most) = (times[times.len() / 2], times[times.len() * 95 / 100]);
        format!(
            "| {path} | {} | {} | {} KiB |",
            milliseconds(median),
            milliseconds(most),
            size.div_ceil(1024)
        )
    }

    /// The whole page, or the file as far as it is text.
    async fn get(&mut self, path: &str) -> String {
        let request = self.client.get(self.demonstration.url(path));
        let answer = request.header(COOKIE, &self.session).send().await;
        let answer = answer.expect("the demonstration answers");
        assert!(answer.status().is_success(), "{path}: {}", answer.status());
        self.keep_session(&answer);
        answer.text().await.expect("a page is text")
    }

    async fn post(&mut self, path: &str, fields: &[(&str, &str)]) {
        let request = self.client.post(self.demonstration.url(path));
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
