//! Entering an interim part that is out there already.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use chrono::{DateTime, Utc};
use serde::Deserialize;

use super::end::{End, EndForm, FARTHEST};
use super::record::{Recorded, Released, record};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, local_time, optional_text, text};
use crate::page::{Layout, Notice, Screen, age, page_with};
use crate::people::{Visit, Who};
use crate::requests::queries::{Choice, assets, parts};
use crate::situation::moment;

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct EnterForm {
    asset: String,
    part: String,
    part_name: String,
    place: String,
    since: String,
    #[serde(flatten)]
    end: EndForm,
    owner: String,
    plan: String,
    released_by: String,
}

#[derive(Template)]
#[template(path = "interim/new.html")]
struct NewPage {
    page: Layout,
    form: EnterForm,
    errors: FieldErrors,
    assets: Vec<(String, String)>,
    parts: Vec<(String, String)>,
}

impl NewPage {
    fn limits(&self) -> [(&'static str, &'static str); 2] {
        [("date", "a date"), ("hours", "running hours")]
    }
}

pub async fn blank(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let form = EnterForm {
        end: EndForm {
            limit: "date".to_owned(),
            ..EndForm::default()
        },
        ..EnterForm::default()
    };
    show(&state, &visit, form, FieldErrors::default()).await
}

pub async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(form): Posted<EnterForm>,
) -> Result<Response, AppError> {
    let known = Known {
        assets: assets(&state.db.read).await?,
        parts: parts(&state.db.read).await?,
    };
    let told = match form.parse(&known, &visit) {
        Ok(told) => told,
        Err(errors) => return show(&state, &visit, form, errors).await,
    };
    let mut change = Change::begin(&state, &who).await?;
    let released = Released {
        request: None,
        asset: &told.asset.code,
        part: told.part.as_deref(),
        part_name: &told.part_name,
        place: &told.place,
        since: told.since,
        end: told.end,
        owner: &told.owner,
        plan: &told.plan,
        released_by: &told.released_by,
    };
    let Recorded {
        number,
        follow_on,
        journal,
    } = record(&mut change, &released, &who.name).await?;
    let text = format!(
        "I{number}, {} {}; R{follow_on} asks for what replaces it. Journal {journal}.",
        told.asset.name, told.part_name
    );
    let notice = Notice::done("SAVED", text);
    let path = format!("/interim/{number}");
    change.finish(&who, &path, notice).await
}

async fn show(
    state: &AppState,
    visit: &Visit,
    form: EnterForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let layout = visit.layout(Screen::Requests, "Enter an interim part");
    let name = |choice: Choice| (choice.code, choice.name);
    let page = NewPage {
        page: layout.await?,
        assets: assets(&state.db.read)
            .await?
            .into_iter()
            .map(name)
            .collect(),
        parts: parts(&state.db.read)
            .await?
            .into_iter()
            .map(|part| {
                let words = format!("{}, {}", part.name, part.code);
                (part.code, words)
            })
            .collect(),
        form,
        errors,
    };
    page_with(page.errors.status(), &page)
}

/// What may be named.
struct Known {
    assets: Vec<Choice>,
    parts: Vec<Choice>,
}

struct Told {
    asset: Choice,
    part: Option<String>,
    part_name: String,
    place: String,
    since: DateTime<Utc>,
    end: End,
    owner: String,
    plan: String,
    released_by: String,
}

impl EnterForm {
    fn parse(&self, known: &Known, visit: &Visit) -> Result<Told, FieldErrors> {
        let mut errors = FieldErrors::default();
        let asset = known.assets.iter().find(|asset| asset.code == self.asset);
        if asset.is_none() {
            errors.add("asset", "choose the machine");
        }
        let part = self.part(&known.parts, &mut errors);
        let part_name = self.name(part, &mut errors);
        let place = errors.check("place", optional_text(&self.place, 80));
        let since = self.since(visit, &mut errors);
        let clock = (visit.site.zone, visit.now);
        let end = self.end.read(since, clock, &mut errors);
        let owner = errors.check("owner", text(&self.owner, 80));
        let plan = errors.check("plan", text(&self.plan, 400));
        let released_by = errors.check("released_by", text(&self.released_by, 80));
        let whole = || {
            Some(Told {
                asset: asset?.clone(),
                part: part?.map(|part| part.code.clone()),
                part_name: part_name?,
                place: place?.unwrap_or_default(),
                since: since?,
                end: end?,
                owner: owner?,
                plan: plan?,
                released_by: released_by?,
            })
        };
        whole().filter(|_| errors.is_empty()).ok_or(errors)
    }

    /// Within: none for one that is not listed.
    fn part<'a>(
        &self,
        parts: &'a [Choice],
        errors: &mut FieldErrors,
    ) -> Option<Option<&'a Choice>> {
        if self.part.is_empty() {
            return Some(None);
        }
        let part = parts.iter().find(|part| part.code == self.part);
        if part.is_none() {
            errors.add(
                "part",
                "the catalogue has no such part; choose from the list",
            );
        }
        part.map(Some)
    }

    fn name(&self, part: Option<Option<&Choice>>, errors: &mut FieldErrors) -> Option<String> {
        let typed = errors.check("part_name", optional_text(&self.part_name, 80))?;
        let listed = part.flatten().map(|part| part.name.clone());
        let name = typed.or(listed);
        if name.is_none() && part.is_some() {
            errors.add(
                "part_name",
                "say what the part is called, or choose it above",
            );
        }
        name
    }

    fn since(&self, visit: &Visit, errors: &mut FieldErrors) -> Option<DateTime<Utc>> {
        let at = errors.check("since", local_time(&self.since, visit.site.zone))?;
        if at > visit.now {
            let distance = age(at, visit.now);
            errors.add(
                "since",
                format!("that is {distance}; give the time at which it was fitted"),
            );
            return None;
        }
        if visit.now - at > FARTHEST.num_milliseconds() {
            errors.add("since", "that is more than ten years ago; look at the year");
            return None;
        }
        moment(at).ok()
    }
}
