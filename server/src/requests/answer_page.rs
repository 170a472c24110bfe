//! The form on which an answer is recorded.

use askama::Template;
use axum::response::Response;
use mendpost_core::catalogue::{About, Came, Who as Authority};
use mendpost_core::signature::Meaning;

use super::answer::{ANY, AnswerForm, Choices, NONE};
use super::queries::OpenRequest;
use crate::AppState;
use crate::attachment::AttachmentHash;
use crate::error::AppError;
use crate::form::FieldErrors;
use crate::page::act::SIGN_FIELD;
use crate::page::{Layout, Screen, page_with};
use crate::people::{Visit, Who};
use crate::signature::{Ask, Secret, ask};
use crate::situation;
use crate::words::authority::{about_word, authority, came_word, said_word, who_word};
use crate::words::work::sentence;

/// Value and words of each choice.
type Options = Vec<(String, String)>;

#[derive(Template)]
#[template(path = "requests/answer.html")]
struct AnswerPage {
    page: Layout,
    number: i64,
    pairs: Vec<(&'static str, String)>,
    abouts: Options,
    whose: Options,
    saids: Options,
    cames: Options,
    only: Options,
    papers: Options,
    form: AnswerForm,
    ask: Ask,
    errors: FieldErrors,
}

pub(super) async fn answer_page(
    state: &AppState,
    visit: &Visit,
    who: &Who,
    request: &OpenRequest,
    form: AnswerForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let choices = Choices::load(state, request).await?;
    let mut asked = ask(state, visit, who, Meaning::RecordYes).await?;
    errors.of(SIGN_FIELD).clone_into(&mut asked.error);
    let title = format!("Request R{}", request.number);
    let page = AnswerPage {
        page: visit.layout(Screen::Requests, &title).await?,
        number: request.number,
        pairs: vec![
            ("Machine", request.asset.clone()),
            ("Part", request.part_name.clone()),
            ("Asks for", asks_for(state, request.number).await?),
        ],
        abouts: options(About::ALL, About::as_str, about_word),
        whose: options(Authority::ALL, Authority::as_str, who_word),
        saids: ["yes", "no", "awaited"]
            .map(|said| (said.to_owned(), said_word(said).to_owned()))
            .to_vec(),
        cames: options(Came::ALL, Came::as_str, came_word),
        only: only(choices.recipes),
        papers: papers(choices.papers),
        form,
        ask: asked,
        errors,
    };
    page_with(page.errors.status(), &page)
}

fn options<T: Copy>(
    all: &[T],
    value: impl Fn(T) -> &'static str,
    word: impl Fn(T) -> &'static str,
) -> Options {
    let option = |one: &T| (value(*one).to_owned(), word(*one).to_owned());
    all.iter().map(option).collect()
}

/// What its part asks for, by all its flags.
async fn asks_for(state: &AppState, number: i64) -> Result<String, AppError> {
    let situation = situation::now(state).await?;
    let code = format!("R{number}").parse().ok();
    let request = code.and_then(|code| situation.request(&code));
    let part = request.and_then(|request| request.part.as_ref());
    let part = part.and_then(|code| situation.part(code));
    Ok(part.map_or_else(
        || "its part is not listed in the catalogue".to_owned(),
        |part| sentence(&authority(&situation.rules.authority(&part.flags))),
    ))
}

fn only(recipes: Vec<(String, i64)>) -> Options {
    let any = (ANY.to_owned(), "whatever recipe is used".to_owned());
    let only = recipes.into_iter().map(|(code, revision)| {
        let value = format!("{code}/{revision}");
        (value, format!("{code} rev {revision} alone"))
    });
    std::iter::once(any).chain(only).collect()
}

fn papers(papers: Vec<(AttachmentHash, String)>) -> Options {
    let none = (NONE.to_owned(), "none added".to_owned());
    let papers = papers.into_iter();
    let papers = papers.map(|(hash, name)| (hash.to_string(), name));
    std::iter::once(none).chain(papers).collect()
}
