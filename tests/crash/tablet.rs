//! A tablet on the network: signs in, sends forms, and knows which were acknowledged.

use axum::http::header::{CONTENT_TYPE, COOKIE, LOCATION, SET_COOKIE};
use mendpost_tests::{FORM, between, form};
use reqwest::redirect::Policy;
use reqwest::{Client, Response};

pub struct Tablet {
    client: Client,
    address: String,
    cookie: String,
    token: String,
}

impl Tablet {
    pub fn new(address: String) -> Tablet {
        let client = Client::builder().redirect(Policy::none()).build();
        Tablet {
            client: client.expect("a client without more ado"),
            address,
            cookie: String::new(),
            token: String::new(),
        }
    }

    /// Signs in as the demonstration's person of this name.
    pub async fn sign_in(&mut self, name: &str) {
        let page = self.page("/sign-in").await;
        let (before, _) = page.split_once(&format!(">{name} ")).expect("a button");
        let (_, number) = before.rsplit_once("value=\"").expect("a number");
        let number = number.trim_end_matches('"').to_owned();
        let answer = self
            .post("/sign-in/demonstration", &[("person", &number)])
            .await;
        self.keep_cookie(&answer.expect("the service runs"));
        self.page("/site").await;
    }

    /// Reports a part; whether that was acknowledged.
    pub async fn report(&mut self, part_name: &str) -> bool {
        let number = mendpost_server::once::number();
        let fields = [
            ("once", number.as_str()),
            ("asset", "IP1"),
            ("part", "not-listed"),
            ("part_name", part_name),
            ("damage", "damaged"),
            ("broken_part", "here"),
            ("description", "Torn"),
            ("danger", "no"),
            ("asked_by", "Ice plant keeper"),
        ];
        let Some(answer) = self.post("/requests/new", &fields).await else {
            return false;
        };
        let location = answer
            .headers()
            .get(LOCATION)
            .and_then(|value| value.to_str().ok());
        let filed = location.is_some_and(|location| location.starts_with("/requests/"));
        assert!(filed, "{} {location:?}", answer.status());
        true
    }

    async fn page(&mut self, path: &str) -> String {
        let request = self.client.get(format!("{}{path}", self.address));
        let answer = request.header(COOKIE, &self.cookie).send().await;
        let answer = answer.expect("the service runs");
        self.keep_cookie(&answer);
        let page = answer.text().await.expect("a page is text");
        if let Some(token) = between(&page, "name=\"csrf\" value=\"", "\"") {
            self.token = token.to_owned();
        }
        page
    }

    /// None when the service was gone before it answered.
    async fn post(&self, path: &str, fields: &[(&str, &str)]) -> Option<Response> {
        let mut fields = fields.to_vec();
        fields.push(("csrf", &self.token));
        let request = self.client.post(format!("{}{path}", self.address));
        request
            .header(COOKIE, &self.cookie)
            .header(CONTENT_TYPE, FORM)
            .body(form(&fields))
            .send()
            .await
            .ok()
    }

    fn keep_cookie(&mut self, answer: &Response) {
        for cookie in answer.headers().get_all(SET_COOKIE) {
            let cookie = cookie.to_str().expect("a cookie in ASCII");
            let pair = cookie.split(';').next().unwrap_or_default();
            if pair.starts_with("session=") {
                self.cookie = pair.to_owned();
            }
        }
    }
}
