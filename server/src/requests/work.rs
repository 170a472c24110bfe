//! Doing what comes next for a request: one operation of its recipe after another, and the release of
//! its part by somebody who did not build it.

use axum::extract::{Path, State};
use axum::response::Response;
use chrono::{DateTime, TimeDelta, Utc};
use mendpost_core::catalogue::{Operation, OperationKind, Recipe, Timed};
use mendpost_core::code::RecipeCode;
use mendpost_core::course::{Step, step_of};
use mendpost_core::finish::{Stop, cycle, stops};
use mendpost_core::journal::Subject;
use mendpost_core::lineup::{Shut, begin_gates, release_gates, still_done, usable_revision};
use mendpost_core::people::{Act, may};
use mendpost_core::signature::Meaning;
use mendpost_core::situation::{Request, Situation, StandIn, Way};
use serde_json::{Value, json};
use sqlx::SqliteConnection;
use uuid::Uuid;

use super::back;
use super::decision::{History, Named, decide, named};
use super::work_form::{NewEnd, NewWork, WorkForm};
use super::work_page::work_page;
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::finish;
use crate::form::{FieldErrors, Posted};
use crate::interim;
use crate::once::refuse_repeated;
use crate::pace::{self, Took};
use crate::page::act::SIGN_FIELD;
use crate::page::{Notice, moment};
use crate::people::{Visit, Who};
use crate::signature::{prove, sign};
use crate::situation;
use crate::words::Words;

/// What comes next for a request, by the recipe that it is built by.
pub(super) struct Next<'a> {
    pub request: &'a Request,
    pub recipe: &'a Recipe,
    /// Its place among the recipe's operations, from 0.
    pub at: usize,
    /// It is told to have begun in time, though it waits too long by now.
    pub in_time: bool,
}

impl Next<'_> {
    pub fn kind(&self) -> OperationKind {
        self.recipe.operations[self.at].kind
    }

    /// It was sorted to be a stand-in, and nothing else by this recipe.
    pub fn stand_in(&self) -> Option<&StandIn> {
        let code = &self.recipe.code;
        let ways = self.request.ways.iter();
        let mut true_ones = ways
            .clone()
            .filter(|way| matches!(way, Way::Recipe(of) if of == code));
        let mut stand_ins = ways.filter_map(|way| match way {
            Way::StandIn(stand_in) if stand_in.recipe == *code => Some(stand_in),
            _ => None,
        });
        match true_ones.next() {
            Some(_) => None,
            None => stand_ins.next(),
        }
    }

    pub fn is_last(&self) -> bool {
        self.at + 1 == self.recipe.operations.len()
    }

    /// Until when it was to begin, if it is told to have begun in time.
    pub fn latest(&self) -> Option<DateTime<Utc>> {
        let begun = self.request.begun.as_ref().filter(|_| self.in_time)?;
        let within = self.recipe.operations[self.at].within_min?;
        Some(begun.ended_at + TimeDelta::minutes(within))
    }

    /// What is done again, and what waited too long for it.
    pub fn waits_too_long(&self, situation: &Situation) -> Option<(&Operation, &Operation)> {
        let begun = self.request.begun.as_ref()?;
        let still = still_done(self.recipe, begun, situation.now);
        let operations = &self.recipe.operations;
        (still < begun.done).then(|| (&operations[still], &operations[begun.done]))
    }

    /// Why it may not be done now; empty if it may.
    pub fn shut(&self, situation: &Situation) -> Vec<Shut> {
        match self.kind() {
            OperationKind::Release => release_gates(situation, self.request, self.recipe),
            _ if self.at == 0 || self.recipe.operations[self.at].spray.is_some() => {
                let mut shut = begin_gates(situation, self.request, self.recipe);
                if self.request.begun.is_some() {
                    // Begun by an approved revision, it is finished by that one.
                    shut.retain(|s| !is_approval(s));
                }
                shut
            }
            _ => Vec::new(),
        }
    }
}

fn is_approval(shut: &Shut) -> bool {
    matches!(shut.gate, mendpost_core::lineup::Gate::NotApproved { .. })
}

/// What comes next, by the recipe that was begun, the one that the form names, or the only one chosen.
///
/// Before what waits too long comes what is to be done again, unless it was begun in time and is only
/// entered late.
///
/// # Errors
/// Which recipes there are to choose from, where several are open.
pub(super) fn next<'a>(
    situation: &'a Situation,
    request: &'a Request,
    chosen: &str,
    in_time: bool,
) -> Result<Option<Next<'a>>, Vec<String>> {
    let of = |recipe: &'a Recipe, at: usize, in_time: bool| Next {
        request,
        recipe,
        at,
        in_time,
    };
    if let Some(begun) = &request.begun {
        let recipe = situation.recipe(&begun.recipe, begun.revision);
        return Ok(recipe
            .filter(|recipe| begun.done < recipe.operations.len())
            .map(|recipe| {
                let still = still_done(recipe, begun, situation.now);
                match in_time && still < begun.done {
                    true => of(recipe, begun.done, true),
                    false => of(recipe, still, false),
                }
            }));
    }
    let codes: Vec<String> = request
        .ways
        .iter()
        .filter_map(|way| match way {
            Way::Recipe(code) => Some(code.to_string()),
            Way::StandIn(stand_in) => Some(stand_in.recipe.to_string()),
            Way::TruePart { .. } => None,
        })
        .collect();
    let code = match codes.as_slice() {
        [only] => only.clone(),
        _ if codes.iter().any(|code| code == chosen) => chosen.to_owned(),
        [] => return Ok(None),
        _ => return Err(codes),
    };
    let recipe = code.parse().ok();
    let recipe = recipe.and_then(|code| usable_revision(situation, &code));
    Ok(recipe.map(|recipe| of(recipe, 0, false)))
}

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<String>,
    axum::extract::Query(form): axum::extract::Query<WorkForm>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.acquire().await?;
    let request = named(&mut reading, &number).await?;
    let history = History::load(&mut reading, &request).await?;
    drop(reading);
    work_page(
        &state,
        &visit,
        &who,
        &request,
        &history,
        form,
        FieldErrors::default(),
    )
    .await
}

pub(super) async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<String>,
    Posted(form): Posted<WorkForm>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.acquire().await?;
    if let Some(once) = &who.once {
        // Sent twice it is done once, though by now another operation comes next.
        refuse_repeated(&mut reading, who.id, once).await?;
    }
    let request = named(&mut reading, &number).await?;
    let history = History::load(&mut reading, &request).await?;
    drop(reading);
    let situation = situation::now(&state).await?;
    let stands = open_in(&situation, &request)?;
    let Ok(Some(next)) = next(&situation, stands, &form.recipe, form.in_time()) else {
        let mut errors = FieldErrors::default();
        errors.add("recipe", "choose the recipe by which it is built");
        return work_page(&state, &visit, &who, &request, &history, form, errors).await;
    };
    let mut errors = FieldErrors::default();
    let too_long = next.waits_too_long(&situation).is_some();
    form.is_of(&next, too_long, &mut errors);
    for fault in forbidden(&situation, &next, &history, &who) {
        errors.add("note", fault);
    }
    let new = form.parse(&next, &visit, &mut errors);
    let found = found(&state, &next, &form, &visit, new.as_ref(), &mut errors).await?;
    let release = next.kind() == OperationKind::Release;
    let proof = match release {
        true => prove(&state, &visit, &who, &form.sign_passphrase)
            .await?
            .map_err(|fault| errors.add(SIGN_FIELD, fault))
            .ok(),
        false => None,
    };
    let (Some(new), Some(found), true) =
        (new, found, errors.is_empty() && proof.is_some() == release)
    else {
        return work_page(&state, &visit, &who, &request, &history, form, errors).await;
    };
    let mut change = Change::begin(&state, &who).await?;
    still_allowed(&mut change, &number, &next, &who).await?;
    let step = step_of(next.kind(), next.is_last());
    let content = content(&next, &new, &found);
    let subject = Subject::new("request", format!("R{}", request.number));
    let sequence = match &proof {
        Some(proof) => {
            let kind = "request.part-released";
            sign(
                &mut change,
                kind,
                subject,
                content,
                Meaning::ReleasePart,
                proof,
            )
            .await?
        }
        None => {
            change
                .journal("request.work-done", subject, content)
                .await?
        }
    };
    let recipe = insert(&mut change, &request, &next, &new, &who, sequence).await?;
    learn_pace(&mut change, &next, &new, sequence).await?;
    let under = finish::Under {
        request: (request.id, request.number),
        recipe,
        ended_ms: new.ended_ms,
        sequence,
        who: &who,
    };
    let hold = finish::insert(&mut change, &found, &under).await?;
    if let Some(end) = &new.interim {
        release_interim(&mut change, &request, &new, end, &who).await?;
    }
    if step == Step::Finish {
        let told = ("served", "fitted and run");
        decide(&mut change, &request, told, &who.name, json!({})).await?;
    }
    let machine = match step {
        Step::Finish => back::tell(&mut change, &request).await?,
        _ => "",
    };
    let text = told(&request, &next, &new, machine, sequence, visit.site.zone);
    let location = format!("/requests/{}", request.number);
    let notice = match hold {
        None => Notice::done("SAVED", text),
        Some(hold) => Notice::wrong(
            "ON HOLD",
            format!("{text} Something is out: somebody else judges hold {hold}."),
        ),
    };
    change.finish(&who, &location, notice).await
}

/// What the journal holds of it.
fn content(next: &Next<'_>, new: &NewWork, found: &finish::Entry) -> Value {
    let mut content = json!({
        "recipe": next.recipe.code,
        "revision": next.recipe.revision,
        "position": next.at + 1,
        "kind": next.kind(),
        "ended_ms": new.ended_ms,
        "note": new.note,
    });
    if let Some(begun_ms) = new.begun_ms {
        content["begun_ms"] = json!(begun_ms);
    }
    if let Some(took_min) = new.took_min {
        content["took_min"] = json!(took_min);
    }
    if let Some((word, found)) = found.content() {
        content[word] = found;
    }
    content
}

/// What was found at the operation, told beside its field where it is wrong.
async fn found(
    state: &AppState,
    next: &Next<'_>,
    form: &WorkForm,
    visit: &Visit,
    new: Option<&NewWork>,
    errors: &mut FieldErrors,
) -> Result<Option<finish::Entry>, AppError> {
    let at = instant(new.map_or(visit.now, |new| new.ended_ms))?;
    let asks = finish::asks(next.recipe, next.at);
    let typed = (&form.sizes, &form.cracks, form.note.as_str());
    let mut reading = state.db.read.acquire().await?;
    let when = (at, visit.site.zone);
    Ok(finish::parse(&mut reading, asks, typed, when, errors).await?)
}

/// What there is to say once it is entered.
fn told(
    request: &Named,
    next: &Next<'_>,
    new: &NewWork,
    machine: &str,
    sequence: i64,
    zone: chrono_tz::Tz,
) -> String {
    let name = &next.recipe.operations[next.at].name;
    let ended = moment(new.ended_ms, zone);
    format!(
        "R{}: {name} done {ended}, journal {sequence}.{machine}",
        request.number
    )
}

/// Lets the line-up learn how long it takes, where somebody said so.
async fn learn_pace(
    change: &mut Change,
    next: &Next<'_>,
    new: &NewWork,
    sequence: i64,
) -> Result<(), AppError> {
    let operation = &next.recipe.operations[next.at];
    let Some(took_min) = new.took_min else {
        return Ok(());
    };
    let took = Took {
        recipe: &next.recipe.code,
        operation,
        timed: Timed {
            reckoned_min: operation.minutes,
            took_min,
        },
    };
    Ok(pace::record(change, &took, sequence).await?)
}

/// A part that goes out with an end is watched from then on, and asks for its successor.
async fn release_interim(
    change: &mut Change,
    request: &Named,
    new: &NewWork,
    end: &NewEnd,
    who: &Who,
) -> Result<(), AppError> {
    let released = interim::Released {
        request: Some(request.number),
        asset: &request.asset_code,
        part: None,
        part_name: &request.part_name,
        place: "",
        since: instant(new.ended_ms)?,
        end: end.end,
        owner: &end.owner,
        plan: &end.plan,
        released_by: &who.name,
    };
    interim::record(change, &released, &who.name).await?;
    Ok(())
}

pub(super) fn open_in<'a>(
    situation: &'a Situation,
    request: &Named,
) -> Result<&'a Request, AppError> {
    let code = format!("R{}", request.number);
    let found = code.parse().ok().and_then(|code| situation.request(&code));
    found.ok_or_else(|| AppError::NotFound {
        what: format!("open request '{code}'"),
    })
}

/// Why this person may not do it now.
pub(super) fn forbidden(
    situation: &Situation,
    next: &Next<'_>,
    history: &History,
    who: &Who,
) -> Vec<String> {
    if let Some(build) = next.request.building {
        return vec![format!(
            "build {build} of it is under way; finish that first"
        )];
    }
    let words = Words::new(situation);
    let mut faults: Vec<String> = next
        .shut(situation)
        .iter()
        .map(|shut| format!("{}; {}", words.gate(&shut.gate), words.opens(&shut.opens)))
        .collect();
    if cycle(next.recipe, next.at).is_some() {
        faults.push("in the furnace: its load enters it as done when that is closed".to_owned());
    }
    let held = history.holds.iter().filter(|hold| hold.is_open());
    faults.extend(held.map(|hold| {
        format!(
            "hold {}, {}; somebody judges it first",
            hold.number, hold.what
        )
    }));
    let step = step_of(next.kind(), next.is_last());
    if let Err(fault) = history.stand.after(step) {
        faults.push(match history.stand {
            mendpost_core::course::Stand::Reported => {
                "nobody has sorted this request yet; sort it first".to_owned()
            }
            _ => fault.to_string(),
        });
    }
    if next.kind() == OperationKind::Release {
        if !may(who.role, Act::ReleasePart) {
            faults.push("a checker or the lead releases a part; ask one of them".to_owned());
        }
        let stops = stops(next.recipe, &history.checked).into_iter();
        let stops = stops.filter(|it| !matches!(it, Stop::Hold { .. }));
        faults.extend(stops.map(|it| finish::stop(next.recipe, &it)));
        let built = history
            .done
            .iter()
            .find(|done| done.kind == OperationKind::Spray && done.person == who.id);
        if built.is_some() && history.other_releases {
            faults.push(
                "you sprayed this part; somebody else looks at it and releases it".to_owned(),
            );
        }
    }
    faults
}

/// What was looked at before still holds: nobody has done, said or sorted otherwise meanwhile.
async fn still_allowed(
    change: &mut Change,
    number: &str,
    seen: &Next<'_>,
    who: &Who,
) -> Result<(), AppError> {
    let now = instant(change.now())?;
    let request = named(change.connection(), number).await?;
    let history = History::load(change.connection(), &request).await?;
    let situation = situation::load(change.connection(), now).await?;
    let stands = open_in(&situation, &request)?;
    let code = seen.recipe.code.as_str();
    let next = next(&situation, stands, code, seen.in_time);
    let same = next.ok().flatten().filter(|next| {
        next.at == seen.at
            && next.recipe.code == seen.recipe.code
            && next.recipe.revision == seen.recipe.revision
    });
    let holds = same.is_some_and(|next| forbidden(&situation, &next, &history, who).is_empty());
    match holds {
        true => Ok(()),
        false => Err(AppError::Conflict(format!(
            "somebody changed what R{} stands at meanwhile; look at it again",
            request.number
        ))),
    }
}

/// What comes next for a request and is sprayed, as somebody is about to begin it.
pub(crate) struct Sprayable {
    pub situation: Situation,
    pub request: Named,
    /// Code and revision.
    pub recipe: (RecipeCode, i64),
    /// Place among its operations, from 0.
    pub at: usize,
}

/// What comes next for a request, if this person may do it now.
///
/// # Errors
/// [`AppError::Conflict`] with everything that is in the way.
pub(crate) async fn sprayable(
    connection: &mut SqliteConnection,
    now_ms: i64,
    number: &str,
    chosen: &str,
    who: &Who,
) -> Result<Sprayable, AppError> {
    let request = named(connection, number).await?;
    let history = History::load(connection, &request).await?;
    let situation = situation::load(connection, instant(now_ms)?).await?;
    let stands = open_in(&situation, &request)?;
    let code = format!("R{}", request.number);
    let found = next(&situation, stands, chosen, false).map_err(|codes| {
        let codes = codes.join(" or ");
        AppError::Conflict(format!(
            "{code} can be built by {codes}; choose one on its work page"
        ))
    })?;
    let next =
        found.ok_or_else(|| AppError::Conflict(format!("nothing is left to do for {code}")))?;
    let faults = forbidden(&situation, &next, &history, who);
    if !faults.is_empty() {
        return Err(AppError::Conflict(format!("{code}: {}", faults.join("; "))));
    }
    let (recipe, at) = ((next.recipe.code.clone(), next.recipe.revision), next.at);
    Ok(Sprayable {
        situation,
        request,
        recipe,
        at,
    })
}

/// A stage that was sprayed in a build, as work done.
pub(crate) struct SprayedStage<'a> {
    pub request: i64,
    pub recipe: &'a str,
    pub revision: i64,
    /// From 1.
    pub position: i64,
}

/// Enters a stage that was sprayed in a build as done now; the build's entry is that of the work.
pub(crate) async fn insert_sprayed(
    change: &mut Change,
    stage: &SprayedStage<'_>,
    note: &str,
    who: &Who,
    entry: i64,
) -> Result<(), AppError> {
    let now = change.now();
    sqlx::query!(
        "insert into work_done (journal_sequence, request_id, recipe_id, position, ended_ms, done_by, person_id, note)
         select ?, r.id, c.id, ?, ?, ?, ?, ? from request r, recipe c
         where r.number = ? and c.code = ? and c.revision = ?",
        entry,
        stage.position,
        now,
        who.name,
        who.id,
        note,
        stage.request,
        stage.recipe,
        stage.revision,
    )
    .execute(change.connection())
    .await?;
    Ok(())
}

async fn insert(
    change: &mut Change,
    request: &Named,
    next: &Next<'_>,
    new: &NewWork,
    who: &Who,
    sequence: i64,
) -> Result<Uuid, AppError> {
    let (code, revision) = (next.recipe.code.as_str(), next.recipe.revision);
    let recipe: Uuid = sqlx::query_scalar!(
        r#"select id as "id: Uuid" from recipe where code = ? and revision = ?"#,
        code,
        revision
    )
    .fetch_one(change.connection())
    .await?;
    let position = i64::try_from(next.at + 1).unwrap_or(i64::MAX);
    sqlx::query!(
        "insert into work_done (journal_sequence, request_id, recipe_id, position, ended_ms, done_by,
           person_id, note)
         values (?, ?, ?, ?, ?, ?, ?, ?)",
        sequence,
        request.id,
        recipe,
        position,
        new.ended_ms,
        who.name,
        who.id,
        new.note,
    )
    .execute(change.connection())
    .await?;
    Ok(recipe)
}

fn instant(unix_ms: i64) -> Result<DateTime<Utc>, AppError> {
    situation::moment(unix_ms).map_err(AppError::internal)
}
