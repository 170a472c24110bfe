//! A broken part comes to the cell, or what was reported of it is put right: one more saying, and the
//! newest holds.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use mendpost_core::course::Stand;
use mendpost_core::journal::Subject;
use mendpost_core::situation::Damage;
use sqlx::SqliteConnection;

use super::arrival_form::{ArrivalForm, Known, Read};
use super::decision::{History, named};
use super::detail::{self, Detail, HistoryRow, Listed, Metal};
use super::filing::{gone, hang, hangs_elsewhere};
use super::form::NOT_LISTED;
use super::particulars::{DANGERS, SPARES, SURE};
use super::queries::{self, Choice, OpenRequest, PartRow};
use super::times::Times;
use crate::AppState;
use crate::attachment::{self, Named, WithFiles};
use crate::change::Change;
use crate::error::AppError;
use crate::finish::{METHODS, keep_look};
use crate::form::FieldErrors;
use crate::page::{Layout, Notice, Screen, page_with};
use crate::people::{Visit, Who};
use crate::version::{Field, Stale, is_current};

/// The page on which a part is received or put right.
#[derive(Template)]
#[template(path = "requests/arrival.html")]
struct ArrivalPage {
    page: Layout,
    number: i64,
    /// Where the request's own page stands.
    back: String,
    asset: String,
    part_name: String,
    form: ArrivalForm,
    errors: FieldErrors,
    /// What another person saved while this form was open.
    stale: Option<Stale>,
    metals: Vec<(String, String)>,
    /// Code and words of each part that may be chosen.
    parts: Vec<(String, String)>,
    /// Why none may be chosen any more; empty where one may.
    part_fixed: String,
    /// Whether photos were sent that a page cannot give back.
    photos_again: bool,
    history: Vec<HistoryRow>,
}

pub async fn show(
    State(state): State<AppState>,
    visit: Visit,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let about = About::find(&state, &number).await?;
    let form = ArrivalForm::of(about.newest()?, visit.site.zone);
    let shown = Shown::new(form);
    about.page(&visit, shown, StatusCode::OK).await
}

pub async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<String>,
    WithFiles { mut form, files }: WithFiles<ArrivalForm>,
) -> Result<Response, AppError> {
    let about = About::find(&state, &number).await?;
    let (newest, photos_again) = (about.newest()?, !files.is_empty());
    let times = Times {
        zone: visit.site.zone,
        now: visit.now,
    };
    let shown = |form, errors| Shown {
        errors,
        photos_again,
        ..Shown::new(form)
    };
    if !is_current(&form.version, newest.sequence) {
        return about.overtaken(&state, &visit, form, photos_again).await;
    }
    let read = match form.parse(newest, &about.known, files.len(), &times) {
        Ok(read) => read,
        Err(errors) => {
            let status = errors.status();
            return about.page(&visit, shown(form, errors), status).await;
        }
    };
    let photos = match attachment::ready(&state, files).await? {
        Ok(photos) => photos,
        Err(errors) => {
            let status = errors.status();
            return about.page(&visit, shown(form, errors), status).await;
        }
    };
    match about.write(&state, &who, &visit, read, photos).await? {
        Written::Done(response) => Ok(response),
        Written::Overtaken => {
            let about = About::find(&state, &number).await?;
            form.version = String::new();
            about.overtaken(&state, &visit, form, photos_again).await
        }
        Written::Wrong(errors) => {
            let status = errors.status();
            about.page(&visit, shown(form, errors), status).await
        }
    }
}

/// What is shown of the form beside what is on record.
struct Shown {
    form: ArrivalForm,
    errors: FieldErrors,
    stale: Option<Stale>,
    photos_again: bool,
}

impl Shown {
    fn new(form: ArrivalForm) -> Shown {
        Shown {
            form,
            errors: FieldErrors::default(),
            stale: None,
            photos_again: false,
        }
    }
}

enum Written {
    Done(Response),
    /// Somebody else saved first.
    Overtaken,
    Wrong(FieldErrors),
}

/// An open request with everything that was said of it, and what may be said now.
struct About {
    request: OpenRequest,
    history: Vec<Detail>,
    known: Known,
}

impl About {
    async fn find(state: &AppState, number: &str) -> Result<About, AppError> {
        let mut reading = state.db.read.begin().await?;
        let request = queries::open_request(&mut *reading, number).await?;
        let history = detail::history(&mut *reading, request.number).await?;
        let known = Known {
            metals: queries::metals(&mut *reading).await?,
            parts: queries::parts(&mut *reading).await?,
            part_fixed: part_fixed(&mut reading, number).await?,
        };
        Ok(About {
            request,
            history,
            known,
        })
    }

    fn newest(&self) -> Result<&Detail, AppError> {
        let newest = self.history.first();
        newest.ok_or_else(|| AppError::internal("a request of which nothing was ever said"))
    }

    fn path(&self) -> String {
        format!("/requests/{}", self.request.number)
    }

    fn subject(&self) -> Subject {
        Subject::new("request", format!("R{}", self.request.number))
    }

    async fn write(
        &self,
        state: &AppState,
        who: &Who,
        visit: &Visit,
        mut read: Read,
        photos: Vec<Named>,
    ) -> Result<Written, AppError> {
        let look = read.look.take();
        let number = self.request.number;
        let mut change = Change::begin(state, who).await?;
        queries::open_request(change.connection(), &number.to_string()).await?;
        let stands = detail::history(change.connection(), number).await?;
        let Some(before) = stands.into_iter().next() else {
            return Ok(Written::Overtaken);
        };
        if before.sequence != self.newest()?.sequence {
            return Ok(Written::Overtaken);
        }
        let mut errors = FieldErrors::default();
        let part_before = before.told.part.as_ref().map(|part| part.code.as_str());
        let is_other_part = part_before != read.part.as_deref();
        if is_other_part {
            let fixed = part_fixed(change.connection(), &number.to_string()).await?;
            if let Some(fixed) = fixed {
                errors.add("part", fixed);
                return Ok(Written::Wrong(errors));
            }
        }
        let tag = read.told.tag.as_deref();
        if let Some(text) = hangs_elsewhere(&mut change, tag, Some(number)).await? {
            errors.add("tag", text);
            return Ok(Written::Wrong(errors));
        }
        let after = Detail {
            sequence: before.sequence + 1,
            entered_by: who.name.clone(),
            entered_ms: change.now(),
            why: read.why.clone(),
            told: self.told(&mut change, read).await?,
        };
        detail::insert(change.connection(), self.request.id, &after).await?;
        let recipes = match is_other_part {
            true => Some(self.ways_anew(&mut change, &after.told).await?),
            false => None,
        };
        let told = (visit.site.zone, recipes.as_deref());
        let journal = detail::note(&mut change, number, &before, &after, told).await?;
        let mut held = String::new();
        if let Some(look) = &look {
            let under = (self.request.id, number, journal);
            if let Some(hold) = keep_look(&mut change, look, under, who).await? {
                held = format!(" Cracks: on hold, somebody else judges hold {hold}.");
            }
        }
        let pictures = match hang(&mut change, who, number, photos).await? {
            Ok(pictures) => pictures,
            Err(errors) => return Ok(Written::Wrong(errors)),
        };
        let said = if after.arrives_after(&before) {
            "is received"
        } else {
            "is put right"
        };
        let OpenRequest { asset, .. } = &self.request;
        let name = &after.told.part_name;
        let plan = if is_other_part {
            " Plan again to count with it."
        } else {
            ""
        };
        let text =
            format!("R{number}, {asset} {name}, {said}{pictures}. Journal {journal}.{held}{plan}");
        let notice = Notice::done("SAVED", text);
        let response = change.finish(who, &self.path(), notice).await?;
        Ok(Written::Done(response))
    }

    /// Another part is rebuilt by other recipes; a true part that was ordered stays a way. Their codes.
    async fn ways_anew(
        &self,
        change: &mut Change,
        told: &detail::Told,
    ) -> Result<Vec<String>, AppError> {
        let recipes = match &told.part {
            None => Vec::new(),
            Some(part) => queries::recipes(change.connection(), part.id).await?,
        };
        queries::replace_recipes(change.connection(), self.request.id, &recipes).await?;
        Ok(recipes)
    }

    /// What is told, with the rows of its part and its metal.
    async fn told(&self, change: &mut Change, read: Read) -> Result<detail::Told, AppError> {
        let mut told = read.told;
        if let (None, Some(code)) = (&told.part, read.part) {
            let found = queries::part(change.connection(), &code).await?;
            let PartRow { id, name } = found.ok_or_else(|| gone("part", &code))?;
            told.part = Some(Listed { id, code, name });
        }
        if let (None, Some(metal)) = (&told.metal, read.metal) {
            let found = queries::metal_named(change.connection(), &metal.metal).await?;
            let (id, name) = found.ok_or_else(|| gone("metal", &metal.metal))?;
            told.metal = Some(Metal {
                id,
                code: metal.metal,
                name,
                known: metal.known,
            });
        }
        Ok(told)
    }

    /// Shows what another person saved beside what was typed here.
    async fn overtaken(
        &self,
        state: &AppState,
        visit: &Visit,
        mut form: ArrivalForm,
        photos_again: bool,
    ) -> Result<Response, AppError> {
        let newest = self.newest()?;
        let stands = ArrivalForm::of(newest, visit.site.zone).fields();
        let fields = stands
            .iter()
            .zip(form.fields())
            .map(|((name, stands), (_, yours))| Field::new(name, stands, &yours))
            .collect();
        let read = &state.db.read;
        let stale = Stale::of(read, &self.subject(), newest.sequence, fields).await?;
        form.version = newest.sequence.to_string();
        let shown = Shown {
            stale: Some(stale),
            photos_again,
            ..Shown::new(form)
        };
        self.page(visit, shown, StatusCode::CONFLICT).await
    }

    /// The parts to choose from; the one that stands is among them, retired or not.
    fn parts(&self, offered: &[Choice]) -> Result<Vec<(String, String)>, AppError> {
        let words = |part: &Choice| (part.code.clone(), format!("{}, {}", part.name, part.code));
        let mut parts: Vec<(String, String)> = offered.iter().map(words).collect();
        if let Some(stands) = &self.newest()?.told.part
            && !parts.iter().any(|(code, _)| *code == stands.code)
        {
            parts.push((stands.code.clone(), stands.words()));
        }
        parts.insert(0, (NOT_LISTED.to_owned(), "not listed".to_owned()));
        Ok(parts)
    }

    async fn page(
        &self,
        visit: &Visit,
        shown: Shown,
        status: StatusCode,
    ) -> Result<Response, AppError> {
        let number = self.request.number;
        let title = format!("Receive or put right R{number}");
        let Known {
            metals,
            parts,
            part_fixed,
        } = &self.known;
        let page = ArrivalPage {
            page: visit.layout(Screen::Requests, &title).await?,
            number,
            back: self.path(),
            asset: self.request.asset.clone(),
            part_name: self.request.part_name.clone(),
            form: shown.form,
            errors: shown.errors,
            stale: shown.stale,
            metals: metals
                .iter()
                .map(|m| (m.code.clone(), m.name.clone()))
                .collect(),
            parts: self.parts(parts)?,
            part_fixed: part_fixed.clone().unwrap_or_default(),
            photos_again: shown.photos_again,
            history: detail::rows(&self.history, visit.site.zone, visit.now),
        };
        page_with(status, &page)
    }
}

/// Why the part of a request may not be chosen otherwise any more; none while it may. Ways are sorted by the
/// recipes of its part, and a yes is said to that part.
async fn part_fixed(
    connection: &mut SqliteConnection,
    number: &str,
) -> Result<Option<String>, AppError> {
    let request = named(&mut *connection, number).await?;
    let history = History::load(&mut *connection, &request).await?;
    // An answer stays on record when the request is taken up again: then its part is fixed for good.
    let is_answered = queries::is_answered(&mut *connection, request.id).await?;
    let fixed = match history.stand {
        Stand::Reported | Stand::Sorted if is_answered => {
            "an answer to building or releasing this part is on record; withdraw the request, and report the right part"
        }
        Stand::Reported => return Ok(None),
        Stand::Sorted => {
            "it is sorted by the recipes of this part; withdraw the request, take it up again, and choose then"
        }
        _ => "work on this part has begun; withdraw the request, and report the right part",
    };
    Ok(Some(fixed.to_owned()))
}

impl ArrivalForm {
    /// Every field as it stands in the form, by its words.
    fn fields(&self) -> Vec<(&'static str, String)> {
        [
            ("The broken part is", &self.broken_part),
            ("Received", &self.arrived_at),
            ("Arrives", &self.arrives_at),
            ("Tag", &self.tag),
            ("Weighs, kg", &self.mass),
            ("Base metal", &self.base_metal),
            ("Base metal is", &self.base_metal_known),
            ("Serial number", &self.serial),
            ("First crack check", &self.crack_check),
            ("In the catalogue", &self.part),
            ("Part", &self.part_name),
            ("Damage", &self.damage),
            ("What is broken", &self.description),
            ("Danger", &self.danger),
            ("Who asks", &self.asked_by),
            ("Needed by", &self.needed_by),
            ("Spare", &self.spare),
            ("Where the spare lies", &self.spare_where),
        ]
        .map(|(name, value)| (name, value.clone()))
        .to_vec()
    }
}

impl ArrivalPage {
    fn whereabouts(&self) -> [(&'static str, &'static str); 3] {
        [
            ("received", "received here"),
            ("here", "here, not yet received"),
            ("arrives", "arrives later"),
        ]
    }

    fn sure(&self) -> [(&'static str, &'static str); 2] {
        SURE
    }

    fn dangers(&self) -> [(&'static str, &'static str); 2] {
        DANGERS
    }

    fn spares(&self) -> [(&'static str, &'static str); 3] {
        SPARES
    }

    fn methods(&self) -> [(&'static str, &'static str); 5] {
        METHODS
    }

    fn checks(&self) -> [(&'static str, &'static str); 3] {
        [
            ("found", "cracks found"),
            ("none", "none found"),
            ("not-done", "not done"),
        ]
    }

    fn damages(&self) -> [(&'static str, &'static str); 3] {
        [
            (Damage::Damaged.as_str(), "damaged"),
            (Damage::Worn.as_str(), "worn"),
            (Damage::Interim.as_str(), "interim"),
        ]
    }

    /// Whether the second part is open: something in it is wrong.
    fn more(&self) -> bool {
        let fields = [
            "part",
            "part_name",
            "damage",
            "description",
            "danger",
            "asked_by",
            "needed_by",
            "spare",
            "spare_where",
        ];
        self.stale.is_some() || fields.iter().any(|field| !self.errors.of(field).is_empty())
    }
}
