//! The page of a build: what it does, what comes next, and everything on record of it.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::build::{self as building, Doing, Minutes, doing, minutes};
use mendpost_core::people::Act;

use super::mark::{DeviationForm, MarkForm, causes};
use super::queries::{self, BankRead, Build, End, Marked, times};
use super::reading::{FIELDS, Field, ReadForm};
use super::{balance, finish};
use crate::AppState;
use crate::attachment::{Holder, Photos};
use crate::book::queries::{InFeeder, feeder, in_words};
use crate::drawing::{Drawing, Mark};
use crate::error::AppError;
use crate::feeder;
use crate::finish::{Tested, tested};
use crate::form::FieldErrors;
use crate::page::{Layout, Screen, grams_exact, minutes as spoken, page_with, whole};
use crate::people::Visit;
use crate::powder::lot_path;
use crate::requests::named;
use crate::situation;
use crate::words::bar;
use crate::words::build::{cause_word, reading_value, reading_word, stopped};
use crate::words::work::sentence;

#[derive(Template)]
#[template(path = "build/show.html")]
struct BuildPage {
    page: Layout,
    answer: String,
    reason: String,
    number: i64,
    request: i64,
    pairs: Vec<(&'static str, String)>,
    lots: Vec<(String, String, String)>,
    /// It is under way, and this person may work on it.
    work: Option<Work>,
    minutes: Vec<(String, String)>,
    planned: String,
    /// With set-up, by the recipe's figures alone.
    reckoned: String,
    ended: Option<Ended>,
    /// Sprayed beside it, with what was found.
    coupons: Vec<Tested>,
    photos: Photos,
    lines: Vec<Line>,
    fields: &'static [Field; 9],
    typed: Typed,
}

/// What can be done now.
struct Work {
    sprays: bool,
    causes: Vec<(&'static str, &'static str)>,
    feeder: Vec<String>,
    draw: String,
}

/// What became of its powder.
struct Ended {
    drawn: Drawing,
    rows: Vec<(&'static str, String)>,
    judged: String,
    may_sweep: bool,
    /// Whether the lots are held for what is missing.
    held: bool,
}

/// One line of its record.
struct Line {
    when: String,
    what: String,
    note: String,
    by: String,
    sequence: i64,
}

/// What was typed on the page and was not right.
#[derive(Default)]
pub(super) struct Typed {
    pub mark: MarkForm,
    pub read: ReadForm,
    pub deviation: DeviationForm,
    pub errors: FieldErrors,
}

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
    Path(number): Path<i64>,
) -> Result<Response, AppError> {
    build_page(&state, &visit, number, Typed::default()).await
}

pub(super) async fn build_page(
    state: &AppState,
    visit: &Visit,
    number: i64,
    typed: Typed,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.acquire().await?;
    let build = queries::build(&mut *reading, number).await?;
    let build = build.ok_or_else(|| AppError::NotFound {
        what: format!("build {number}"),
    })?;
    let marks = queries::marks(&mut *reading, build.id).await?;
    let end = queries::end(&mut *reading, build.id).await?;
    let lots = queries::lots(&mut *reading, build.id).await?;
    let fed = feeder(&mut *reading).await?;
    let readings = queries::readings(&mut *reading, build.id).await?;
    let deviations = queries::deviations(&mut *reading, build.id).await?;
    let request = named(&mut reading, &build.request.to_string()).await?;
    let coupons = tested(&mut reading, request.id, Some(number)).await?;
    let bank = queries::bank_read(&mut *reading, build.id).await?;
    drop(reading);
    let holder = Holder::build(&state.db.read, number).await?;
    let holder = holder.ok_or_else(|| AppError::internal("the build was just there"))?;
    let photos = Photos::load(state, visit, &holder).await?;
    let layout = visit
        .layout(Screen::Requests, &format!("Build {number}"))
        .await?;
    let does = doing(&times(&marks));
    let took = took(&build, &marks, visit.now)?;
    let (answer, reason) = answer(&layout, &build, does, &marks, &fed);
    let may = visit.may(Act::DoWork);
    let mut lines: Vec<Line> = marks.iter().map(|it| marked(&layout, it)).collect();
    lines.extend(readings.iter().map(|it| Line {
        when: layout.moment(&it.at_ms),
        what: format!(
            "{} {}",
            sentence(reading_word(it.what)),
            reading_value(it.what, it.value)
        ),
        note: pass(it.pass),
        by: it.by.clone(),
        sequence: it.sequence,
    }));
    lines.extend(deviations.iter().map(|it| Line {
        when: layout.moment(&it.at_ms),
        what: "Otherwise than the recipe".to_owned(),
        note: it.words.clone(),
        by: it.by.clone(),
        sequence: it.sequence,
    }));
    lines.sort_by_key(|it| std::cmp::Reverse(it.sequence));
    let shown = BuildPage {
        answer,
        reason,
        number,
        request: build.request,
        pairs: pairs(&layout, &build, bank),
        lots: lots
            .iter()
            .map(|(lot, mass)| (lot_path(lot.as_str()), lot.to_string(), grams_exact(mass.0)))
            .collect(),
        work: (may && build.ended_ms.is_none()).then(|| Work {
            sprays: does == Doing::Spraying,
            causes: causes(),
            feeder: in_words(&fed),
            draw: format!("{}/draw?for=R{}", feeder::PATH, build.request),
        }),
        minutes: spent(&took),
        planned: spoken(build.planned_min),
        reckoned: spoken(build.reckoned_min),
        ended: end.map(|end| ended(&end, may)),
        coupons,
        photos,
        lines,
        fields: &FIELDS,
        typed,
        page: layout,
    };
    page_with(shown.typed.errors.status(), &shown)
}

/// What the build that is under way does, in the words of its page.
pub struct Running {
    pub answer: String,
    pub reason: String,
    pub path: String,
}

/// The build that is under way, if there is one.
pub async fn running(state: &AppState, page: &Layout) -> Result<Option<Running>, AppError> {
    let Some(build) = queries::under_way(&state.db.read).await? else {
        return Ok(None);
    };
    let marks = queries::marks(&state.db.read, build.id).await?;
    let fed = feeder(&state.db.read).await?;
    let (answer, reason) = answer(page, &build, doing(&times(&marks)), &marks, &fed);
    Ok(Some(Running {
        answer,
        reason,
        path: super::path(build.number),
    }))
}

pub(super) fn took(build: &Build, marks: &[Marked], now_ms: i64) -> Result<Minutes, AppError> {
    let at = |ms| situation::moment(ms).map_err(AppError::internal);
    let end = at(build.ended_ms.unwrap_or(now_ms))?;
    Ok(minutes(at(build.begun_ms)?, &times(marks), end))
}

fn answer(
    page: &Layout,
    build: &Build,
    does: Doing,
    marks: &[Marked],
    fed: &[InFeeder],
) -> (String, String) {
    let what = format!("{} {}", build.asset, build.part_name);
    if let Some(ended) = &build.ended_ms {
        let word = match build.outcome.as_deref() {
            Some("scrapped") => "was scrapped",
            _ => "has ended",
        };
        return (
            format!("Build {} {word}: {what}.", build.number),
            page.moment(ended) + ".",
        );
    }
    let last = marks.last();
    let since = last
        .map(|it| page.clock(&it.at.timestamp_millis()))
        .unwrap_or_default();
    match does {
        Doing::SettingUp if fed.is_empty() => (
            format!(
                "Draw {} g for R{} first.",
                whole(build.planned_g),
                build.request
            ),
            format!("Build {} is being set up: {what}.", build.number),
        ),
        Doing::SettingUp => (
            format!("Set up, then say when powder flows: {what}."),
            "Extraction on, oxygen read, ears on before gas.".to_owned(),
        ),
        Doing::Spraying => (
            format!("{} is being sprayed since {since}.", sentence(&what)),
            last.and_then(|it| it.pass)
                .map(|pass| format!("Pass {pass}."))
                .unwrap_or_default(),
        ),
        Doing::Stopped(cause) => {
            let by = last.map(|it| it.by.clone()).unwrap_or_default();
            let note = last.map(|it| it.note.clone()).unwrap_or_default();
            let found = if note.is_empty() {
                String::new()
            } else {
                format!(" {}.", sentence(&note))
            };
            (
                format!(
                    "{} stands since {since}: {}.",
                    sentence(&what),
                    cause_word(cause)
                ),
                format!("Stopped by {by}.{found}"),
            )
        }
    }
}

fn pairs(page: &Layout, build: &Build, bank: Option<BankRead>) -> Vec<(&'static str, String)> {
    let mut pairs = vec![
        ("Recipe", format!("{} rev {}", build.recipe, build.revision)),
        (
            "Operation",
            format!("{}, {}", build.position, build.operation),
        ),
        (
            "Begun",
            format!("{} by {}", page.moment(&build.begun_ms), build.begun_by),
        ),
    ];
    if let Some(line_up) = build.line_up {
        pairs.push(("By order", line_up.to_string()));
    }
    pairs.push(("Planned powder", format!("{} g", whole(build.planned_g))));
    if let Some(nozzle) = &build.nozzle {
        pairs.push(("Nozzle", nozzle.clone()));
    }
    if let Some(read) = bank {
        let told = |of: Option<(i64, i64)>| {
            of.map_or_else(
                || "not read".to_owned(),
                |(mbar, at)| format!("{} abs, read {}", bar(mbar), page.clock(&at)),
            )
        };
        let (before, after) = (told(read.before), told(read.after));
        pairs.push(("Gas", format!("bank {}, before {before}", read.bank)));
        if build.ended_ms.is_some() {
            pairs.push(("After it", after));
        }
    }
    pairs
}

fn marked(page: &Layout, it: &Marked) -> Line {
    let note = [pass(it.pass), it.note.clone()];
    let note: Vec<String> = note.into_iter().filter(|it| !it.is_empty()).collect();
    Line {
        when: page.moment(&it.at.timestamp_millis()),
        what: match it.mark {
            building::Mark::Spray => "Powder flows".to_owned(),
            building::Mark::Stop(cause) => stopped(cause),
        },
        note: note.join("; "),
        by: it.by.clone(),
        sequence: it.sequence,
    }
}

fn pass(pass: Option<i64>) -> String {
    pass.map(|pass| format!("pass {pass}")).unwrap_or_default()
}

/// Where its minutes went, as word and figure.
fn spent(took: &Minutes) -> Vec<(String, String)> {
    let mut spent = vec![
        ("Set up".to_owned(), spoken(took.set_up)),
        ("Sprayed".to_owned(), spoken(took.spraying)),
    ];
    let stopped = took.stopped.iter().filter(|(_, it)| **it > 0);
    spent.extend(stopped.map(|(cause, it)| (sentence(cause_word(*cause)), spoken(*it))));
    spent.push(("In all".to_owned(), spoken(took.all())));
    spent
}

fn ended(end: &End, may: bool) -> Ended {
    let balance = end.balance();
    let unexplained = balance.unexplained().0;
    let gap = finish::gap(unexplained, end.watch_mg, end.stop_mg);
    let swept = end.swept_mg.is_some();
    let lines = format!(
        "watch line {}, stop line {}",
        grams_exact(end.watch_mg),
        grams_exact(end.stop_mg)
    );
    let judged = match (swept, gap) {
        (false, _) => {
            "What was swept up is not weighed yet, so that nothing can be said of the rest."
                .to_owned()
        }
        (true, mendpost_core::powder::Gap::Allowed) => {
            format!("Within what scales allow: {lines}.")
        }
        (true, mendpost_core::powder::Gap::Watch) => {
            format!("Look for it: beyond the watch line; {lines}.")
        }
        (true, mendpost_core::powder::Gap::Stop) => format!(
            "Count again: beyond the stop line; {lines}. Its lots are on hold until two have looked."
        ),
    };
    let percent = (end.part_mg * 1000)
        .checked_div(end.fed_mg.max(1))
        .unwrap_or(0);
    let mut rows = vec![
        ("Drawn", grams_exact(balance.drawn.0)),
        ("Part", grams_exact(end.part_mg)),
        ("Coupons", grams_exact(end.coupon_mg)),
        ("Left in the feeder", grams_exact(end.left_mg)),
        (
            "Swept up",
            end.swept_mg
                .map_or_else(|| "not weighed yet".to_owned(), grams_exact),
        ),
    ];
    if swept {
        rows.push(("Unexplained", grams_exact(unexplained)));
    }
    rows.push((
        "Of what was fed, on the part",
        format!("{}.{} %", percent / 10, percent % 10),
    ));
    Ended {
        drawn: balance::draw(&balance, swept),
        rows,
        judged,
        may_sweep: may && !swept,
        held: swept && gap == mendpost_core::powder::Gap::Stop,
    }
}
