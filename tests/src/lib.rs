//! What the tests of the whole share: the service in memory, and a browser's memory in front of it.

pub mod browser;
pub mod chromium;
pub mod decade;
pub mod service;
pub mod solids;
pub mod squares;

use std::collections::BTreeMap;
use std::fs;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicI64, Ordering};

use axum::Router;
use axum::body::Body;
use axum::http::header::{CONTENT_TYPE, COOKIE, HOST, LOCATION, SET_COOKIE};
use axum::http::request::Builder;
use axum::http::{HeaderMap, Method, Request, StatusCode};
use http_body_util::BodyExt;
use mendpost_core::people::Role;
use mendpost_core::situation::Situation;
use mendpost_server::change::{last_sequence, verify_journal};
use mendpost_server::clock::Clock;
use mendpost_server::command::demo;
use mendpost_server::config::Config;
use mendpost_server::db::{Db, FILE};
use mendpost_server::lineup::{Found, compute};
use mendpost_server::routes::Routes;
use mendpost_server::solve::Limits;
use mendpost_server::verify::{Fault, replayed};
use mendpost_server::{AppState, once, people, routes, situation, with_routes};
use tempfile::TempDir;
use tokio::sync::Mutex;
use tower::ServiceExt;

/// When the clock of a test stands at its start: Wednesday, 25 November 2026, 14:40 at the
/// demonstration site.
pub const START: i64 = 1_795_581_600_000;

/// How plans are searched for in tests: by count, so that no test depends on how busy the machine is.
pub const SEARCH: Limits = Limits {
    seconds: None,
    iterations: Some(1_500),
    threads: 2,
    seed: 1,
};

/// The line-up of a situation, the same on every machine.
#[must_use]
pub fn planned(situation: &Situation) -> Found {
    let found = compute(situation, &SEARCH, &AtomicBool::new(false), &mut |_| ());
    found.expect("a verified plan")
}

/// The demonstration's database as it is loaded at a time. Loading takes a second, so all tests of one
/// process that begin at the same time share it; each has a copy of its own.
async fn site_at(start: i64) -> Arc<[u8]> {
    static SITES: Mutex<BTreeMap<i64, Arc<[u8]>>> = Mutex::const_new(BTreeMap::new());
    let mut sites = SITES.lock().await;
    if let Some(site) = sites.get(&start) {
        return Arc::clone(site);
    }
    let folder = TempDir::new().expect("a temporary folder");
    let db = Db::open(folder.path()).await.expect("a new database opens");
    let clock = Clock::Fixed(Arc::new(AtomicI64::new(start)));
    let config = Config {
        demonstration: true,
        ..Config::default()
    };
    let state = AppState::new(db, clock, config);
    demo::load(&state)
        .await
        .expect("the demonstration site loads");
    state.db.close().await;
    let site: Arc<[u8]> = fs::read(folder.path().join(FILE)).expect("the site").into();
    sites.insert(start, Arc::clone(&site));
    site
}

/// The demonstration site, served in memory from a folder of its own to one browser.
pub struct App {
    pub state: AppState,
    time: Arc<AtomicI64>,
    router: Router,
    folder: Arc<TempDir>,
    cookies: BTreeMap<String, String>,
    /// The anti-forgery token of the page last seen.
    pub token: String,
    /// The test wrote to tables that are replayed: only the chain is checked from then on.
    pub past_the_journal: bool,
}

impl App {
    /// The demonstration, with its buttons to sign in.
    pub async fn new() -> App {
        App::with(
            Config {
                demonstration: true,
                ..Config::default()
            },
            Routes::default(),
        )
        .await
    }

    /// The demonstration in the browser of somebody of this role.
    pub async fn signed_in(role: Role) -> App {
        let mut app = App::new().await;
        app.sign_in(role).await;
        app
    }

    /// The demonstration, started so many minutes later in the day.
    pub async fn started(minutes_later: i64) -> App {
        let config = Config {
            demonstration: true,
            ..Config::default()
        };
        App::at(START + minutes_later * 60_000, config, Routes::default()).await
    }

    /// The same site, served by another configuration and with more routes.
    pub async fn with(config: Config, more: Routes) -> App {
        App::at(START, config, more).await
    }

    /// Another site: the demonstration loaded a minute sooner, with a journal of its own.
    pub async fn of_another_site(config: Config) -> App {
        App::at(START - 60_000, config, Routes::default()).await
    }

    async fn at(start: i64, mut config: Config, more: Routes) -> App {
        // Loads are judged by hundreds of plans: coarse ones do for a test.
        config.load_iterations = 100;
        config.search = SEARCH;
        let folder = TempDir::new().expect("a temporary folder");
        fs::write(folder.path().join(FILE), site_at(start).await).expect("a file is written");
        let db = Db::open(folder.path()).await.expect("the site opens");
        let time = Arc::new(AtomicI64::new(start));
        let state = AppState::new(db, Clock::Fixed(Arc::clone(&time)), config);
        let router = with_routes(state.clone(), routes().merge(more));
        App {
            state,
            time,
            router,
            folder: Arc::new(folder),
            cookies: BTreeMap::new(),
            token: String::new(),
            past_the_journal: false,
        }
    }

    /// Another site than the demonstration: this state, whose clock is set by `time`, in this folder.
    pub fn serving(state: AppState, time: Arc<AtomicI64>, folder: TempDir) -> App {
        App {
            router: with_routes(state.clone(), routes()),
            state,
            time,
            folder: Arc::new(folder),
            cookies: BTreeMap::new(),
            token: String::new(),
            past_the_journal: false,
        }
    }

    /// Another browser in front of the same service.
    pub fn other_browser(&self) -> App {
        App {
            state: self.state.clone(),
            time: Arc::clone(&self.time),
            router: self.router.clone(),
            folder: Arc::clone(&self.folder),
            cookies: BTreeMap::new(),
            token: String::new(),
            past_the_journal: self.past_the_journal,
        }
    }

    /// The same browser once more, for what it sends at the same time.
    pub fn same_browser(&self) -> App {
        App {
            cookies: self.cookies.clone(),
            token: self.token.clone(),
            ..self.other_browser()
        }
    }

    /// The same site, served anew from another state.
    pub fn served_with(self, state: AppState) -> App {
        App {
            router: with_routes(state.clone(), routes()),
            state,
            cookies: BTreeMap::new(),
            ..self
        }
    }

    /// Lets time pass, or turns the clock back.
    pub fn wait_minutes(&self, minutes: i64) {
        self.time.fetch_add(minutes * 60_000, Ordering::SeqCst);
    }

    pub fn cookie(&self, name: &str) -> Option<&str> {
        self.cookies.get(name).map(String::as_str)
    }

    pub fn set_cookie(&mut self, name: &str, value: &str) {
        self.cookies.insert(name.to_owned(), value.to_owned());
    }

    /// Signs in as the demonstration's person of this role.
    pub async fn sign_in(&mut self, role: Role) {
        let everybody = people::queries::everybody(&self.state.db.read)
            .await
            .expect("people");
        let person = everybody
            .iter()
            .find(|person| person.role == role)
            .expect("the demonstration has somebody of each role");
        self.get("/sign-in").await;
        let number = person.number.to_string();
        let answer = self
            .post(
                "/sign-in/demonstration",
                &[("person", &number), ("next", "/site")],
            )
            .await;
        assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
        self.get("/site").await;
    }

    pub async fn get(&mut self, path: &str) -> Answer {
        self.send(request(Method::GET, path), "").await
    }

    /// Posts a form as the page last seen would: with its token and, if `once` is not among the
    /// fields, a number of its own.
    pub async fn post(&mut self, path: &str, fields: &[(&str, &str)]) -> Answer {
        let token = self.token.clone();
        let number = once::number();
        let mut fields = fields.to_vec();
        if fields.iter().all(|(name, _)| *name != "once") {
            fields.push(("once", &number));
        }
        fields.push(("csrf", &token));
        self.post_without_token(path, &fields).await
    }

    /// Has the line-up planned, and waits until it is, however long the machine takes.
    pub async fn plan(&mut self) -> Answer {
        let answer = self.post("/line-up/plan", &[]).await;
        self.state.planner.finished().await;
        answer
    }

    /// Posts a form with just these fields.
    pub async fn post_without_token(&mut self, path: &str, fields: &[(&str, &str)]) -> Answer {
        let body = form(fields);
        let request = request(Method::POST, path).header(CONTENT_TYPE, FORM);
        self.send(request, &body).await
    }

    /// Posts a form with files as the page last seen would, each file in the field `files`.
    pub async fn post_files(
        &mut self,
        path: &str,
        fields: &[(&str, &str)],
        files: &[SentFile<'_>],
    ) -> Answer {
        let files: Vec<(&str, SentFile<'_>)> = files.iter().map(|file| ("files", *file)).collect();
        self.post_files_in(path, fields, &files).await
    }

    /// The same, each file in a field of its own.
    pub async fn post_files_in(
        &mut self,
        path: &str,
        fields: &[(&str, &str)],
        files: &[(&str, SentFile<'_>)],
    ) -> Answer {
        let token = self.token.clone();
        let number = once::number();
        let mut fields = fields.to_vec();
        if fields.iter().all(|(name, _)| *name != "once") {
            fields.push(("once", &number));
        }
        fields.push(("csrf", &token));
        let request = request(Method::POST, path).header(CONTENT_TYPE, MULTIPART);
        self.send(request, multipart(&fields, files)).await
    }

    /// A page of a site whose journal was tampered with.
    pub async fn get_unchecked(&mut self, path: &str) -> Answer {
        self.exchange(request(Method::GET, path), b"").await
    }

    /// Sends any request, with this browser's cookies. Whatever it wrote, the journal must hold, and the tables
    /// what it says.
    pub async fn send(&mut self, request: Builder, body: impl AsRef<[u8]>) -> Answer {
        let before = self.journaled().await;
        let answer = self.exchange(request, body.as_ref()).await;
        if self.journaled().await != before {
            let read = &self.state.db.read;
            let found = match self.past_the_journal {
                true => verify_journal(read)
                    .await
                    .map_err(Fault::from)
                    .and_then(|it| {
                        it?;
                        Ok(())
                    }),
                false => replayed(read).await,
            };
            if let Err(fault) = found {
                panic!("the tables do not hold what the journal says: {fault}");
            }
        }
        answer
    }

    /// How many entries the journal has.
    async fn journaled(&self) -> i64 {
        last_sequence(&self.state.db.read)
            .await
            .expect("a readable journal")
    }

    async fn exchange(&mut self, request: Builder, body: &[u8]) -> Answer {
        let cookies: Vec<String> = self
            .cookies
            .iter()
            .map(|(name, value)| format!("{name}={value}"))
            .collect();
        let request = request
            .header(COOKIE, cookies.join("; "))
            .body(Body::from(body.to_vec()))
            .expect("a well-formed request");
        let response = self
            .router
            .clone()
            .oneshot(request)
            .await
            .expect("no request fails outright");
        let (parts, body) = response.into_parts();
        let body = body.collect().await.expect("a whole body").to_bytes();
        self.keep_cookies(&parts.headers);
        let answer = Answer {
            status: parts.status,
            headers: parts.headers,
            body: String::from_utf8_lossy(&body).into_owned(),
            bytes: body.to_vec(),
        };
        if let Some(token) = answer.token() {
            self.token = token;
        }
        answer
    }

    fn keep_cookies(&mut self, headers: &HeaderMap) {
        for cookie in headers.get_all(SET_COOKIE) {
            let cookie = cookie.to_str().expect("a cookie in ASCII");
            let (pair, attributes) = cookie.split_once(';').unwrap_or((cookie, ""));
            let (name, value) = pair.split_once('=').expect("a cookie with a name");
            if attributes.contains("Max-Age=0") {
                self.cookies.remove(name);
            } else {
                self.set_cookie(name, value);
            }
        }
    }
}

/// A number for a form, for one that is sent more than once.
#[must_use]
pub fn once_number() -> String {
    once::number()
}

/// The one text that a query of the database finds.
pub async fn text(app: &App, query: &'static str) -> Option<String> {
    sqlx::query_scalar(query)
        .fetch_one(&app.state.db.read)
        .await
        .expect(query)
}

/// The one number that a query of the database finds.
pub async fn number(app: &App, query: &'static str) -> Option<i64> {
    sqlx::query_scalar(query)
        .fetch_one(&app.state.db.read)
        .await
        .expect(query)
}

/// The site as it stands by the service's clock.
pub async fn site(app: &App) -> Situation {
    situation::now(&app.state).await.expect("a site")
}

/// A request as a browser on this machine makes it.
pub fn request(method: Method, path: &str) -> Builder {
    Request::builder()
        .method(method)
        .uri(path)
        .header(HOST, "localhost:8750")
}

/// Fields as a form sends them.
pub fn form(fields: &[(&str, &str)]) -> String {
    form_urlencoded::Serializer::new(String::new())
        .extend_pairs(fields)
        .finish()
}

/// A file as a browser sends it.
#[derive(Debug, Clone, Copy)]
pub struct SentFile<'a> {
    pub name: &'a str,
    /// What the sender says it is.
    pub media_type: &'a str,
    pub bytes: &'a [u8],
}

/// Fields, and files by their fields, as a form with files sends them (RFC 7578).
///
/// Quotes and line ends in names are written as browsers write them (HTML standard,
/// 'multipart/form-data encoding algorithm').
pub fn multipart(fields: &[(&str, &str)], files: &[(&str, SentFile<'_>)]) -> Vec<u8> {
    let mut body = Vec::new();
    for (name, value) in fields {
        let head =
            format!("--{BOUNDARY}\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n");
        body.extend([head.as_bytes(), value.as_bytes(), b"\r\n"].concat());
    }
    for (field, file) in files {
        let name = file
            .name
            .replace('"', "%22")
            .replace('\r', "%0D")
            .replace('\n', "%0A");
        let head = format!(
            "--{BOUNDARY}\r\nContent-Disposition: form-data; name=\"{field}\"; filename=\"{name}\"\r\n\
             Content-Type: {}\r\n\r\n",
            file.media_type
        );
        body.extend([head.as_bytes(), file.bytes, b"\r\n"].concat());
    }
    body.extend(format!("--{BOUNDARY}--\r\n").as_bytes());
    body
}

const BOUNDARY: &str = "----mendpost-tests-7f3a9c";

/// The media type of forms with files, as [`multipart`] writes them.
pub const MULTIPART: &str = "multipart/form-data; boundary=----mendpost-tests-7f3a9c";

/// The media type of forms.
pub const FORM: &str = "application/x-www-form-urlencoded";

/// What came back.
#[derive(Debug)]
pub struct Answer {
    pub status: StatusCode,
    pub headers: HeaderMap,
    pub body: String,
    /// The body as it came, for what is no text.
    pub bytes: Vec<u8>,
}

impl Answer {
    pub fn header(&self, name: &str) -> Option<&str> {
        self.headers.get(name).and_then(|value| value.to_str().ok())
    }

    /// Where a redirect leads.
    pub fn location(&self) -> &str {
        self.header(LOCATION.as_str()).unwrap_or("")
    }

    pub fn contains(&self, text: &str) -> bool {
        self.body.contains(text)
    }

    /// The fault shown beside a field.
    pub fn field_error(&self, field: &str) -> Option<&str> {
        let below = between(&self.body, &format!("id=\"{field}-below\">"), "</p>")?;
        between(below, "<span>", "</span>")
    }

    fn token(&self) -> Option<String> {
        let token = between(&self.body, "name=\"csrf\" value=\"", "\"")?;
        (!token.is_empty()).then(|| token.to_owned())
    }
}

/// The usual fields of a form with some typed otherwise, or besides.
pub fn altered<'a>(
    usual: &[(&'a str, &'a str)],
    typed: &[(&'a str, &'a str)],
) -> Vec<(&'a str, &'a str)> {
    let mut fields = usual.to_vec();
    for (name, value) in typed {
        match fields.iter_mut().find(|(known, _)| known == name) {
            Some(field) => field.1 = value,
            None => fields.push((name, value)),
        }
    }
    fields
}

/// The addresses on this site that a page links to, without what names a place on them.
pub fn links(page: &str) -> impl Iterator<Item = String> {
    let addresses = page.split("href=\"").skip(1).filter_map(|link| {
        let address = link.split('"').next()?.replace("&#38;", "&");
        Some(address.split('#').next()?.to_owned())
    });
    addresses.filter(|address| address.starts_with('/'))
}

/// What stands between the first `start` and the `end` after it.
pub fn between<'a>(text: &'a str, start: &str, end: &str) -> Option<&'a str> {
    let (_, rest) = text.split_once(start)?;
    rest.split_once(end).map(|(found, _)| found)
}
