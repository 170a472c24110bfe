//! The end of a build: what the part and its coupons weigh more, what is left, and what became of the rest.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::build::Mark;
use mendpost_core::catalogue::{Operation, Timed};
use mendpost_core::journal::Subject;
use mendpost_core::powder::book::{NoMovement, Place, take};
use mendpost_core::powder::{Gap, Reason};
use mendpost_core::quantity::Milligrams;
use mendpost_core::situation::Situation;
use serde_json::json;

use super::finish_form::{FinishForm, Weighed};
use super::mark::open;
use super::pages::took;
use super::path;
use super::queries::{self, Build, times};
use crate::AppState;
use crate::book::queries::{InFeeder, feeder, in_words, lots, mix, total};
use crate::book::{self, Line};
use crate::catalogue::queries::{NewWeighed, enter as enter_weighed, throat_um};
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted};
use crate::pace::{self, Took};
use crate::page::{Layout, Notice, Screen, grams_exact, page_with};
use crate::people::{Visit, Who};
use crate::powder::stop_lots;
use crate::requests::work::insert_sprayed;
use crate::requests::{decide, named};
use crate::site::weighing::allowance;
use crate::situation;

#[derive(Template)]
#[template(path = "build/finish.html")]
struct FinishPage {
    page: Layout,
    number: i64,
    what: String,
    in_feeder: String,
    form: FinishForm,
    errors: FieldErrors,
}

impl FinishPage {
    fn outcomes(&self) -> [(&'static str, &'static str); 2] {
        [
            ("done", "goes on to the next step"),
            ("scrapped", "is scrapped"),
        ]
    }
}

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
    Path(number): Path<i64>,
) -> Result<Response, AppError> {
    let form = FinishForm::default().with_division(allowance(&state.db.read).await?);
    finish_page(&state, &visit, number, form, FieldErrors::default()).await
}

pub(super) async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<i64>,
    Posted(form): Posted<FinishForm>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let build = open(&mut change, number).await?;
    let fed = feeder(change.connection()).await?;
    let in_feeder = total(&fed).0;
    let mut errors = FieldErrors::default();
    let parsed = form.parse(in_feeder, &mut errors);
    let marks = queries::marks(change.connection(), build.id).await?;
    let sprayed = times(&marks).iter().any(|(_, mark)| *mark == Mark::Spray);
    if let Some((weighed, _)) = &parsed
        && !weighed.scrapped
        && !sprayed
    {
        errors
            .add_whole("nothing was sprayed in this build yet; say when powder flows, or scrap it");
    }
    let (Some((weighed, note)), true) = (parsed, errors.is_empty()) else {
        drop(change);
        return finish_page(&state, &visit, number, form, errors).await;
    };
    let site = allowance(change.connection()).await?;
    let allowance = weighed.allowance(site);
    let lines = lines(&build, &fed, weighed, change.now())
        .map_err(|fault| AppError::Conflict(fault.to_string()))?;
    let balance = weighed.balance();
    let content = json!({
        "request": format!("R{}", build.request),
        "outcome": outcome(weighed),
        "part_mg": weighed.part,
        "coupon_mg": weighed.coupon,
        "left_mg": weighed.left,
        "fed_mg": weighed.fed,
        "swept_mg": weighed.swept,
        "division_mg": weighed.division,
        "watch_mg": allowance.watch_line(balance.drawn),
        "stop_mg": allowance.stop_line(balance.drawn),
        "note": note,
    });
    let subject = Subject::new("build", number);
    let entry = book::record(&mut change, "build.finished", subject, content, &lines).await?;
    let (watch, stop) = (
        allowance.watch_line(balance.drawn).0,
        allowance.stop_line(balance.drawn).0,
    );
    insert_end(
        &mut change,
        &build,
        weighed,
        (watch, stop),
        (&note, &who),
        entry,
    )
    .await?;
    if let Some(swept) = weighed.swept {
        insert_swept(&mut change, &build, swept, &who, entry).await?;
    }
    let lots = lots(&fed);
    let held = match weighed.swept {
        Some(_) => {
            held_for_gap(
                &mut change,
                number,
                &lots,
                (balance.unexplained(), watch, stop),
            )
            .await?
        }
        None => String::new(),
    };
    if weighed.scrapped {
        let request = named(change.connection(), &build.request.to_string()).await?;
        let told = ("scrapped", note.as_str());
        let more = json!({ "build": number });
        decide(&mut change, &request, told, &who.name, more).await?;
    } else {
        insert_sprayed(&mut change, &build.done(), &note, &who, entry).await?;
        let now = change.moment()?;
        let situation = situation::load(change.connection(), now).await?;
        if let Some(operation) = operation_of(&situation, &build) {
            let took = took(&build, &marks, change.now())?.of_recipe();
            learn_pace(&mut change, &build, operation, took, entry).await?;
            learn(&mut change, &build, operation, &lots, weighed, &who).await?;
        }
    }
    let text = told(&build, weighed, entry) + &held;
    change
        .finish(&who, &path(number), Notice::done("SAVED", text))
        .await
}

fn outcome(weighed: Weighed) -> &'static str {
    if weighed.scrapped { "scrapped" } else { "done" }
}

fn told(build: &Build, weighed: Weighed, entry: i64) -> String {
    let number = build.number;
    match weighed.scrapped {
        true => format!(
            "Build {number} is scrapped, journal {entry}. R{} waits for another build: plan again.",
            build.request
        ),
        false => format!(
            "Build {number} has ended, journal {entry}. Tag the part HOT with the time, then plan again."
        ),
    }
}

/// What went out of the feeder into the build, and of that onto coupons and into waste: of each lot as its share is.
///
/// # Errors
/// Where more is said to have gone on than was there.
fn lines(
    build: &Build,
    fed: &[InFeeder],
    weighed: Weighed,
    at_ms: i64,
) -> Result<Vec<Line<'static>>, NoMovement> {
    let (sprayed, coupons) = (Place::Build(build.number), Place::Coupon(build.number));
    let mut in_feeder = mix(fed);
    let into = take(&mut in_feeder, Milligrams(weighed.fed))?;
    let mut in_build = into.clone();
    let on_coupons = take(&mut in_build, Milligrams(weighed.coupon))?;
    let swept = take(&mut in_build, Milligrams(weighed.swept.unwrap_or(0)))?;
    let ways = [
        (into, &Place::Feeder, &sprayed, Reason::Spray),
        (on_coupons, &sprayed, &coupons, Reason::Coupon),
        (swept, &sprayed, &Place::Waste, Reason::Sweep),
    ];
    let lines = ways.into_iter().flat_map(|(shares, from, to, reason)| {
        shares.into_iter().map(move |(lot, mass)| Line {
            movement: book::movement(&lot, from.clone(), to.clone(), mass.0, reason),
            note: "",
            at_ms,
        })
    });
    Ok(lines.collect())
}

async fn insert_end(
    change: &mut Change,
    build: &Build,
    weighed: Weighed,
    (watch, stop): (i64, i64),
    (note, who): (&str, &Who),
    entry: i64,
) -> Result<(), AppError> {
    let (now, outcome) = (change.now(), outcome(weighed));
    sqlx::query!(
        "insert into build_end (build_id, journal_sequence, ended_ms, outcome, part_mg, coupon_mg, left_mg, fed_mg,
           division_mg, watch_mg, stop_mg, note, done_by, person_id)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        build.id,
        entry,
        now,
        outcome,
        weighed.part,
        weighed.coupon,
        weighed.left,
        weighed.fed,
        weighed.division,
        watch,
        stop,
        note,
        who.name,
        who.id,
    )
    .execute(change.connection())
    .await?;
    Ok(())
}

pub(super) async fn insert_swept(
    change: &mut Change,
    build: &Build,
    swept: i64,
    who: &Who,
    entry: i64,
) -> Result<(), AppError> {
    let now = change.now();
    sqlx::query!(
        "insert into build_swept (build_id, journal_sequence, swept_mg, at_ms, done_by, person_id) values (?, ?, ?, ?, ?, ?)",
        build.id,
        entry,
        swept,
        now,
        who.name,
        who.id,
    )
    .execute(change.connection())
    .await?;
    Ok(())
}

/// Holds the lots of a build whose balance is beyond the stop line; what there is to say of it.
pub(super) async fn held_for_gap(
    change: &mut Change,
    number: i64,
    lots: &[mendpost_core::code::LotCode],
    (unexplained, watch, stop): (Milligrams, i64, i64),
) -> Result<String, AppError> {
    let gap = gap(unexplained.0, watch, stop);
    let amount = grams_exact(unexplained.0.abs());
    match gap {
        Gap::Allowed => Ok(String::new()),
        Gap::Watch => Ok(format!(
            " {amount} are unexplained, beyond the watch line of {}: look for it.",
            grams_exact(watch)
        )),
        Gap::Stop => {
            let why = format!(
                "build {number}: {amount} unexplained, stop line {}; count again",
                grams_exact(stop)
            );
            stop_lots(change, lots, &why).await
        }
    }
}

/// What a difference asks for by two lines.
pub(super) fn gap(unexplained: i64, watch: i64, stop: i64) -> Gap {
    match unexplained.abs() {
        it if it > stop => Gap::Stop,
        it if it > watch => Gap::Watch,
        _ => Gap::Allowed,
    }
}

/// Lets the recipe learn from it, where what was fed to the part can be told and something stuck.
async fn learn(
    change: &mut Change,
    build: &Build,
    operation: &Operation,
    lots: &[mendpost_core::code::LotCode],
    weighed: Weighed,
    who: &Who,
) -> Result<(), AppError> {
    let Some(spray) = operation.spray.as_ref() else {
        return Ok(());
    };
    let beside = (spray.start_stop_loss_g + spray.coupon_g) * 1000;
    let fed_mg = weighed.fed - beside;
    let is_efficiency = fed_mg >= 1000 && weighed.part <= fed_mg && weighed.part * 50 >= fed_mg;
    if !is_efficiency {
        return Ok(());
    }
    let built_ms = change.now();
    let throat = throat_um(change.connection(), built_ms).await?;
    let note = format!("build {}", build.number);
    let new = NewWeighed {
        recipe: &build.recipe,
        revision: build.revision,
        position: build.position,
        fed_mg,
        deposited_mg: weighed.part,
        lot: match lots {
            [only] => Some(only.as_str()),
            _ => None,
        },
        throat_um: throat,
        request: Some(build.request),
        built_ms,
        by: &who.name,
        note: &note,
    };
    enter_weighed(change, &new).await?;
    Ok(())
}

/// Lets the line-up learn how long it takes.
async fn learn_pace(
    change: &mut Change,
    build: &Build,
    operation: &Operation,
    took_min: i64,
    entry: i64,
) -> Result<(), AppError> {
    let recipe = build.recipe.parse().map_err(AppError::internal)?;
    let took = Took {
        recipe: &recipe,
        operation,
        timed: Timed {
            reckoned_min: build.reckoned_min,
            took_min,
        },
    };
    Ok(pace::record(change, &took, entry).await?)
}

fn operation_of<'a>(situation: &'a Situation, build: &Build) -> Option<&'a Operation> {
    let code = build.recipe.parse().ok()?;
    let recipe = situation.recipe(&code, build.revision)?;
    let at = usize::try_from(build.position - 1).ok()?;
    recipe.operations.get(at)
}

async fn finish_page(
    state: &AppState,
    visit: &Visit,
    number: i64,
    form: FinishForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let build = queries::build(&state.db.read, number).await?;
    let build = build.ok_or_else(|| AppError::NotFound {
        what: format!("build {number}"),
    })?;
    if build.ended_ms.is_some() {
        return Err(AppError::Conflict(format!("build {number} has ended")));
    }
    let fed = feeder(&state.db.read).await?;
    let held = in_words(&fed);
    let page = FinishPage {
        page: visit
            .layout(Screen::Requests, &format!("Build {number}"))
            .await?,
        number,
        what: format!("{} {}, R{}", build.asset, build.part_name, build.request),
        in_feeder: match held.as_slice() {
            [] => "nothing; book what was drawn first".to_owned(),
            held => held.join(" and "),
        },
        form,
        errors,
    };
    page_with(page.errors.status(), &page)
}
