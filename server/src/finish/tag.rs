//! The tag that is wired to a released part: what it is, within which limits it may be used, and until when.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Response;
use chrono::{DateTime, Utc};
use mendpost_core::catalogue::{About, Answer, OperationKind, Said};
use mendpost_core::label::{Kind, Label};
use mendpost_core::situation::{Damage, Situation};
use sqlx::SqliteConnection;

use crate::AppState;
use crate::caution::{self, Caution, cautions};
use crate::error::AppError;
use crate::interim::{self, Interim};
use crate::labels::Square;
use crate::page::{Layout, Screen, page};
use crate::people::Visit;
use crate::requests::{Done, History, Named, named};
use crate::situation;
use crate::trace::queries::lots_in_piece;
use crate::words::authority::who_word;

#[derive(Template)]
#[template(path = "finish/tag.html")]
struct TagPage {
    page: Layout,
    code: String,
    part: String,
    machine: String,
    pairs: Vec<(&'static str, String)>,
    /// Who said yes to its release, and in which words.
    said_yes: Vec<String>,
    limits: Vec<String>,
    /// When it is to be looked at again, by those who said yes; empty where nobody said.
    looks: Vec<String>,
    /// The lots in it; empty where no build is on record, and then they are written by hand.
    lots: String,
    /// When an interim part comes off; empty for one that stays.
    off: String,
    /// Who built it and who released it, with when.
    names: Vec<(&'static str, String)>,
    cautions: Vec<Caution>,
    request_path: String,
    square: Square,
}

/// What is known of a released part.
struct Released {
    request: Named,
    history: History,
    situation: Situation,
    recipe: Option<(String, i64)>,
    answers: Vec<Answer>,
    part: Option<String>,
    lots: Vec<String>,
    looks: Vec<String>,
    /// The interim part that it is, while it is out.
    out: Option<Interim>,
}

impl Released {
    async fn load(
        connection: &mut SqliteConnection,
        number: &str,
        now: DateTime<Utc>,
    ) -> Result<Released, AppError> {
        let request = named(&mut *connection, number).await?;
        let history = History::load(&mut *connection, &request).await?;
        let all = interim::queries::all(&mut *connection).await?;
        let mut out = all.into_iter().filter(|out| out.off.is_none());
        Ok(Released {
            out: out.find(|out| out.request == Some(request.number)),
            recipe: built_by(&mut *connection, &history).await?,
            answers: situation::answers(&mut *connection, request.id).await?,
            part: part_code(&mut *connection, request.id).await?,
            lots: lots_in_piece(&mut *connection, request.number, history.since).await?,
            looks: next_looks(&mut *connection, request.id).await?,
            situation: situation::load(connection, now).await?,
            history,
            request,
        })
    }

    /// The cautions on its way to the machine.
    fn cautions(&self, off: Option<&String>) -> Vec<Caution> {
        let situation = &self.situation;
        let part = self.part.as_ref().and_then(|code| code.parse().ok());
        let part = part.and_then(|code| situation.part(&code));
        let recipe = self
            .recipe
            .as_ref()
            .and_then(|(code, revision)| situation.recipe(&code.parse().ok()?, *revision));
        let kinds = [
            OperationKind::Carry,
            OperationKind::Fit,
            OperationKind::FirstRun,
        ];
        let operations = recipe.iter().flat_map(|recipe| &recipe.operations);
        let names: Vec<&String> = operations
            .filter(|operation| kinds.contains(&operation.kind))
            .map(|operation| &operation.name)
            .collect();
        let all = cautions(&situation.rules, recipe, part, Damage::Damaged);
        let on_its_way = |caution: &Caution| caution.steps.iter().any(|step| names.contains(&step));
        let mut told: Vec<Caution> = all.into_iter().filter(on_its_way).collect();
        told.extend(off.map(|off| caution::interim(off)));
        told
    }

    /// Every yes to its release, in the words in which it was given.
    fn yeses(&self) -> impl Iterator<Item = &Answer> {
        let yes = |it: &&Answer| it.about == About::Release && matches!(it.said, Said::Yes { .. });
        self.answers.iter().filter(yes)
    }

    fn said_yes(&self) -> Vec<String> {
        self.yeses()
            .map(|it| format!("{}, {}: {}", it.name, who_word(it.who), it.words))
            .collect()
    }

    /// The limits that those who said yes have set.
    fn limits(&self) -> Vec<String> {
        self.yeses()
            .filter(|it| !it.limits.is_empty())
            .map(|it| format!("{} ({})", it.limits, it.name))
            .collect()
    }
}

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let now = visit.moment()?;
    let mut reading = state.db.read.begin().await?;
    let part = Released::load(&mut reading, &number, now).await?;
    drop(reading);
    let request = &part.request;
    let still = part.history.still_done();
    let of_kind = |kind| still.iter().find(|done| done.kind == kind).copied();
    let released = of_kind(OperationKind::Release).ok_or_else(|| {
        AppError::Conflict(format!(
            "the part of R{} is not released; its tag is printed then",
            request.number
        ))
    })?;
    let code = format!("R{}", request.number);
    let label = Label::new(Kind::ReleaseTag, &code).map_err(AppError::internal)?;
    let layout = visit
        .layout(Screen::Requests, &format!("Tag of {code}"))
        .await?;
    let by = |done: &Done| format!("{}, {}", done.by, layout.moment(&done.ended_ms));
    let off = part.out.as_ref();
    let off = off.map(|out| interim::take_off(out, now, visit.site.zone));
    let listed = part.part.clone();
    let recipe = part.recipe.as_ref();
    page(&TagPage {
        part: request.part_name.clone(),
        machine: request.asset.clone(),
        pairs: vec![
            ("Request", code.clone()),
            (
                "Part number",
                listed.unwrap_or_else(|| "not listed".to_owned()),
            ),
            (
                "Machine",
                format!("{}, {}", request.asset, request.asset_code),
            ),
            (
                "Built by",
                recipe.map_or_else(String::new, |(code, revision)| {
                    format!("{code} rev {revision}")
                }),
            ),
        ],
        said_yes: part.said_yes(),
        limits: part.limits(),
        looks: part.looks.clone(),
        lots: part.lots.join(", "),
        names: vec![
            (
                "Sprayed by",
                of_kind(OperationKind::Spray).map_or_else(String::new, by),
            ),
            ("Released by", by(released)),
        ],
        cautions: part.cautions(off.as_ref()),
        off: off.unwrap_or_default(),
        request_path: format!("/requests/{}", request.number),
        square: Square::of(&label)?,
        code,
        page: layout,
    })
}

/// Code and revision of the recipe by which it was built.
async fn built_by(
    connection: &mut SqliteConnection,
    history: &History,
) -> Result<Option<(String, i64)>, sqlx::Error> {
    let Some(last) = history.done.last() else {
        return Ok(None);
    };
    let row = sqlx::query!(
        "select r.code, r.revision from work_done w join recipe r on r.id = w.recipe_id
         where w.journal_sequence = ?",
        last.sequence
    )
    .fetch_optional(connection)
    .await?;
    Ok(row.map(|row| (row.code, row.revision)))
}

/// When the part is to be looked at again, as those said who said yes to its release.
async fn next_looks(
    connection: &mut SqliteConnection,
    request: uuid::Uuid,
) -> Result<Vec<String>, sqlx::Error> {
    sqlx::query_scalar!(
        r#"select next_look || ' (' || name || ')' as "look!: String" from answer
           where request_id = ? and about = 'release' and said = 'yes' and next_look <> ''
           order by given_ms, id"#,
        request
    )
    .fetch_all(connection)
    .await
}

async fn part_code(
    connection: &mut SqliteConnection,
    request: uuid::Uuid,
) -> Result<Option<String>, sqlx::Error> {
    sqlx::query_scalar!(
        "select p.code from request r join part p on p.id = r.part_id where r.id = ?",
        request
    )
    .fetch_optional(connection)
    .await
}
