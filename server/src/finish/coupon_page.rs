//! The page on which results of coupons are entered.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::catalogue::Recipe;
use mendpost_core::finish::{Condition, Expected, Property, missed};
use mendpost_core::journal::Subject;
use mendpost_core::people::Act;
use serde_json::json;
use sqlx::SqliteConnection;

use super::coupons::{self, Coupon, CouponForm, CouponRow, NEW, New, Which, rows};
use super::entry::short;
use super::fate::{self, Fate};
use super::words::{condition, property};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted};
use crate::hold::{Cause, Held, hold_part};
use crate::page::{Layout, Notice, Screen, page_with};
use crate::people::{Visit, Who};
use crate::requests::{History, Named, named};
use crate::situation;
use crate::tools::queries::{Listed, all as all_tools};

#[derive(Template)]
#[template(path = "finish/coupons.html")]
struct CouponPage {
    page: Layout,
    answer: String,
    number: i64,
    /// What the approver expects: in words, and whether a result of now meets it.
    expected: Vec<(String, &'static str, &'static str)>,
    rows: Vec<CouponRow>,
    /// Of each miss what shares its fate and is not held yet.
    fates: Vec<Fate>,
    may_hold: bool,
    /// To choose from, where a new coupon may be of several.
    builds: Vec<(String, String)>,
    coupons: Vec<(String, String)>,
    properties: Vec<(String, String)>,
    conditions: Vec<(String, String)>,
    tools: Vec<(String, String)>,
    may_enter: bool,
    form: CouponForm,
    errors: FieldErrors,
}

/// A request with its coupons.
pub(super) struct About {
    pub request: Named,
    pub history: History,
    pub recipe: Option<Recipe>,
    pub coupons: Vec<Coupon>,
    builds: Vec<(i64, String)>,
    pub results: Vec<coupons::Result>,
    tools: Vec<Listed>,
}

impl About {
    pub async fn load(
        connection: &mut SqliteConnection,
        number: &str,
        now: i64,
    ) -> Result<About, AppError> {
        let request = named(&mut *connection, number).await?;
        let history = History::load(&mut *connection, &request).await?;
        let now = situation::moment(now).map_err(AppError::internal)?;
        let situation = situation::load(&mut *connection, now).await?;
        let code = format!("R{}", request.number).parse().ok();
        let open = code.and_then(|code| situation.request(&code));
        let begun = open.and_then(|open| open.begun.as_ref());
        let recipe = begun.and_then(|it| situation.recipe(&it.recipe, it.revision));
        let tools = all_tools(&mut *connection).await?;
        let since = history.coupons_since;
        Ok(About {
            recipe: recipe.cloned(),
            coupons: coupons::coupons(&mut *connection, request.id).await?,
            builds: coupons::builds(&mut *connection, request.id, history.since).await?,
            results: coupons::results(connection, request.id, since).await?,
            tools: tools
                .into_iter()
                .filter(|it| it.tool.measures != mendpost_core::finish::Measures::Length)
                .collect(),
            history,
            request,
        })
    }

    /// Why nothing is entered here.
    fn closed(&self) -> Option<String> {
        let number = self.request.number;
        if !self.history.stand.is_open() {
            return Some(format!(
                "R{number} is {}, and nothing is tested for it",
                self.history.stand
            ));
        }
        self.recipe
            .is_none()
            .then(|| format!("nothing of R{number} is begun; its coupons come with its build"))
    }
}

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.begin().await?;
    let about = About::load(&mut reading, &number, visit.now).await?;
    let fates = fate::of(&mut reading, &about).await?;
    drop(reading);
    let form = CouponForm {
        tested_by: visit
            .who
            .as_ref()
            .map_or_else(String::new, |who| who.name.clone()),
        ..CouponForm::default()
    };
    coupon_page(&visit, &about, fates, form, FieldErrors::default()).await
}

pub(super) async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<String>,
    Posted(form): Posted<CouponForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let mut change = Change::begin(&state, &who).await?;
    let about = About::load(change.connection(), &number, visit.now).await?;
    if let Some(why) = about.closed() {
        return Err(AppError::Conflict(why));
    }
    let clock = (visit.now, visit.site.zone);
    let known = (about.coupons.as_slice(), about.builds.as_slice());
    let new = form.parse(known, &about.tools, clock, &mut errors);
    let (Some(new), Some(recipe), true) = (new, &about.recipe, errors.is_empty()) else {
        let fates = fate::of(change.connection(), &about).await?;
        drop(change);
        return coupon_page(&visit, &about, fates, form, errors).await;
    };
    let request = about.request.number;
    let (coupon, sequence) = insert(&mut change, &about.request, &new, &who).await?;
    let found = new.measured.with_unit();
    let limits: Vec<String> = missed(&recipe.coupons, &new.measured)
        .map(|expected| expected.limits())
        .collect();
    let text = format!("coupon {coupon} of R{request}: {found}. Journal {sequence}.");
    let notice = match limits.is_empty() {
        true => Notice::done("SAVED", text),
        false => {
            let what = format!(
                "coupon {coupon}, {}, expected {}",
                coupons::found(&new.measured),
                limits.join("; ")
            );
            let held = Held {
                request,
                cause: Cause::Coupon,
                of_sequence: Some(sequence),
                what: &short(&what),
            };
            let hold = hold_part(&mut change, &held, &who).await?;
            Notice::wrong(
                "ON HOLD",
                format!(
                    "{text} It misses what is expected: somebody else judges hold {hold}. See below what shares its fate."
                ),
            )
        }
    };
    let location = format!("/requests/{request}/coupons");
    change.finish(&who, &location, notice).await
}

/// Stores a result, with its coupon if that is new: the coupon's number, and the entry.
async fn insert(
    change: &mut Change,
    request: &Named,
    new: &New,
    who: &Who,
) -> Result<(i64, i64), AppError> {
    let subject = || Subject::new("request", format!("R{}", request.number));
    let now = change.now();
    let coupon = match &new.coupon {
        Which::Known(number) => *number,
        Which::New(label, build) => {
            let number: i64 = sqlx::query_scalar!(
                r#"select coalesce(max(number), 0) + 1 as "number!: i64" from coupon"#
            )
            .fetch_one(change.connection())
            .await?;
            let content = json!({ "coupon": number, "label": label, "build": build });
            let sequence = change.journal("request.coupon", subject(), content).await?;
            sqlx::query!(
                "insert into coupon (number, request_id, build_number, label, entered_by, entered_ms, journal_sequence)
                 values (?, ?, ?, ?, ?, ?, ?)",
                number,
                request.id,
                build,
                label,
                who.name,
                now,
                sequence,
            )
            .execute(change.connection())
            .await?;
            number
        }
    };
    let measured = &new.measured;
    let content = json!({
        "coupon": coupon,
        "property": measured.property,
        "condition": measured.condition,
        "figure": measured.figure,
        "load_gf": measured.load_gf,
        "with": new.with,
        "tested_by": new.tested_by,
        "tested_ms": new.tested_ms,
    });
    let sequence = change
        .journal("request.coupon-tested", subject(), content)
        .await?;
    let (property, condition) = (measured.property.as_str(), measured.condition.as_str());
    let laboratory = if new.tool.is_some() {
        ""
    } else {
        new.with.as_str()
    };
    sqlx::query!(
        "insert into coupon_result (journal_sequence, coupon_number, property, condition, figure, load_gf, tool_id,
           laboratory, tested_by, tested_ms, entered_by)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        sequence,
        coupon,
        property,
        condition,
        measured.figure,
        measured.load_gf,
        new.tool,
        laboratory,
        new.tested_by,
        new.tested_ms,
        who.name,
    )
    .execute(change.connection())
    .await?;
    Ok((coupon, sequence))
}

/// What the approver expects in words, with mark and word of whether what was found meets it.
fn expectations(
    limits: &[Expected],
    results: &[coupons::Result],
) -> Vec<(String, &'static str, &'static str)> {
    let one = |it: &Expected| {
        let words = format!(
            "{}, {}: {}",
            property(it.property),
            condition(it.condition),
            it.limits()
        );
        let of_it = || results.iter().filter(|result| it.is_of(&result.measured));
        let (mark, word) = if of_it().next().is_none() {
            ("waits", "not tested")
        } else if of_it().any(|result| !it.accepts(result.measured.figure)) {
            ("hold", "missed")
        } else {
            ("done", "met")
        };
        (words, mark, word)
    };
    limits.iter().map(one).collect()
}

async fn coupon_page(
    visit: &Visit,
    about: &About,
    fates: Vec<Fate>,
    form: CouponForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let number = about.request.number;
    let layout = visit
        .layout(Screen::Requests, &format!("Coupons of R{number}"))
        .await?;
    let now = visit.moment()?;
    let limits = about
        .recipe
        .as_ref()
        .map(|recipe| recipe.coupons.as_slice())
        .unwrap_or_default();
    let expected = expectations(limits, &about.results);
    let open = expected
        .iter()
        .filter(|(_, _, word)| *word == "not tested")
        .count();
    let new = (NEW.to_owned(), "a new one".to_owned());
    let known = about.coupons.iter();
    let known = known.map(|it| (it.number.to_string(), format!("{} {}", it.number, it.label)));
    let builds = about.builds.iter().filter(|_| about.builds.len() > 1);
    let builds =
        builds.map(|(number, name)| (number.to_string(), format!("build {number}, {name}")));
    let page = CouponPage {
        answer: match (about.closed(), open) {
            (Some(_), _) => format!("Coupons of R{number}, {}.", about.request.part_name),
            (None, 0) if expected.is_empty() => {
                format!(
                    "Nothing is expected in figures of the coupons of R{number}; enter what was found."
                )
            }
            (None, 0) => format!("Every expectation of R{number} is tested."),
            (None, 1) => format!("Test a coupon of R{number}: one expectation is open."),
            (None, open) => format!("Test the coupons of R{number}: {open} expectations are open."),
        },
        number,
        expected,
        rows: rows(&layout, limits, &about.results),
        fates,
        may_hold: visit.may(Act::HoldLot),
        builds: builds.collect(),
        coupons: std::iter::once(new).chain(known).collect(),
        properties: [
            "bond strength, MPa",
            "hardness, HV",
            "density, %",
            "porosity, %",
        ]
        .iter()
        .zip(Property::ALL)
        .map(|(words, of)| (of.to_string(), (*words).to_owned()))
        .collect(),
        conditions: Condition::ALL
            .iter()
            .map(|of| (of.to_string(), condition(*of).to_owned()))
            .collect(),
        tools: about
            .tools
            .iter()
            .map(|it| {
                let but = if it.tool.fault_at(now).is_some() {
                    ": does not count now"
                } else {
                    ""
                };
                (
                    it.tool.code.clone(),
                    format!("{} {}{but}", it.tool.code, it.tool.name),
                )
            })
            .collect(),
        may_enter: visit.may(Act::DoWork) && about.closed().is_none(),
        page: layout,
        form,
        errors,
    };
    page_with(page.errors.status(), &page)
}
