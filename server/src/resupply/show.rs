//! The Resupply screen: what goes on a trip, what stays, and what that stops.

use askama::Template;
use axum::extract::{Query, State};
use axum::response::{IntoResponse, Redirect, Response};
use mendpost_core::code::{DeliveryCode, RequestCode};
use mendpost_core::people::Act;
use mendpost_core::resupply::{Slip, Trip};
use serde::Deserialize;

use super::proposal::{ProposalRows, Told};
use super::run::{self, Found, NEXT_DAYS};
use super::trip;
use crate::AppState;
use crate::background::Running;
use crate::change::last_sequence;
use crate::error::AppError;
use crate::form::Posted;
use crate::page::{Layout, Screen, loss, minutes, page, whole};
use crate::people::{Visit, Who};
use crate::situation;
use crate::words::Words;

const PATH: &str = "/resupply";

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    trip: String,
}

#[derive(Template)]
#[template(path = "resupply/show.html")]
struct ShowPage {
    page: Layout,
    answer: String,
    reason: String,
    unit: String,
    /// The trip that is looked at.
    trip: Option<TripHead>,
    /// Address and word of the other trips.
    others: Vec<(String, String)>,
    running: Option<RunningRow>,
    failed: bool,
    found: Option<FoundRows>,
    may_start: bool,
    may_keep: bool,
}

struct TripHead {
    code: String,
    path: String,
    name: String,
    when: String,
    closes: String,
    takes_back: String,
}

pub struct RunningRow {
    pub by: String,
    pub line: String,
}

struct FoundRows {
    stale: Option<String>,
    proposal: ProposalRows,
    /// The chance that nothing lacks until the next trip, with this load and without the trip.
    chance_with: i64,
    chance_without: i64,
    chance_line: String,
    first_out: Vec<String>,
    slips: Vec<SlipRow>,
    how: String,
}

struct SlipRow {
    days: String,
    costs: String,
    told: Vec<String>,
    now: String,
}

/// The row of a run that goes on.
pub fn running<A>(running: &Running<A>) -> RunningRow {
    let tried = i64::try_from(running.done).unwrap_or(i64::MAX);
    RunningRow {
        by: running.by.clone(),
        line: format!(
            "{} whole loads planned with after {} s; it takes some hundreds.",
            whole(tried),
            running.since.elapsed().as_secs()
        ),
    }
}

pub async fn show(
    State(state): State<AppState>,
    Query(asked): Query<Asked>,
    visit: Visit,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.begin().await?;
    let trips = trip::queries::all(&mut reading).await?;
    let newest = last_sequence(&mut *reading).await?;
    let situation = situation::load(&mut reading, visit.moment()?).await?;
    drop(reading);
    let trip = trips.iter().find(|it| it.code.as_str() == asked.trip);
    if trip.is_none() && !asked.trip.is_empty() {
        return Err(trip::unknown(&asked.trip));
    }
    let trip = trip.or(trips.first());
    let shown = state.proposals.shown();
    let about = |code: &DeliveryCode| trip.is_some_and(|trip| trip.code == *code);
    let found = shown
        .found
        .as_deref()
        .filter(|it| about(&it.basis.trip.code));
    let layout = visit.layout(Screen::Resupply, "Resupply").await?;
    let words = Words::new(&situation);
    let (answer, reason) = answer(&words, &layout, trip, found, shown.running.is_some());
    page(&ShowPage {
        answer,
        reason,
        unit: situation.site.loss_word.clone(),
        trip: trip.map(|trip| head(&layout, trip)),
        others: trips
            .iter()
            .filter(|it| trip.is_none_or(|trip| trip.code != it.code))
            .map(|it| {
                (
                    format!("{PATH}?trip={}", it.code),
                    format!("{}, {}", it.code, it.name),
                )
            })
            .collect(),
        running: shown.running.as_ref().map(running),
        failed: shown.failed,
        found: found.map(|found| rows(&words, &layout, found, newest)),
        may_start: visit.may(Act::Plan),
        may_keep: visit.may(Act::KeepItems),
        page: layout,
    })
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct WorkOut {
    trip: String,
}

pub async fn start(
    State(state): State<AppState>,
    who: Who,
    Posted(asked): Posted<WorkOut>,
) -> Result<Response, AppError> {
    let code: DeliveryCode = asked.trip.parse().map_err(|_| trip::unknown(&asked.trip))?;
    run::start(&state, &code, who.name.clone()).await?;
    Ok(Redirect::to(&format!("{PATH}?trip={code}")).into_response())
}

pub async fn stop(State(state): State<AppState>) -> Response {
    state.proposals.stop();
    state.proposals.finished().await;
    Redirect::to(PATH).into_response()
}

fn head(page: &Layout, trip: &Trip) -> TripHead {
    let at = |time: chrono::DateTime<chrono::Utc>| page.clock(&time.timestamp_millis());
    TripHead {
        code: trip.code.to_string(),
        path: trip::path(&trip.code),
        name: trip.name.clone(),
        when: format!(
            "usually here {}, {} at the earliest, {} at the latest",
            at(trip.usual),
            at(trip.earliest),
            at(trip.latest)
        ),
        closes: at(trip.closes),
        takes_back: trip.takes_back.clone(),
    }
}

fn answer(
    words: &Words<'_>,
    page: &Layout,
    trip: Option<&Trip>,
    found: Option<&Found>,
    is_running: bool,
) -> (String, String) {
    let Some(trip) = trip else {
        return (
            "Announce the next trip: no list is made without one.".to_owned(),
            "A trip says what it may carry, and when its list closes.".to_owned(),
        );
    };
    let closes = page.clock(&trip.closes.timestamp_millis());
    let Some(found) = found else {
        let answer = if is_running {
            "Look again in a moment: loads are being planned with.".to_owned()
        } else {
            format!(
                "Work out what goes on {}: its list closes {closes}.",
                trip.code
            )
        };
        return (answer, "It changes nothing.".to_owned());
    };
    let averted = found.proposal.truly.averted();
    let unit = words.loss_word();
    if found.proposal.lines.is_empty() {
        return (
            format!("Nothing on {} averts a loss.", trip.code),
            format!("Counted from {}.", words.clock(found.basis.from)),
        );
    }
    let lines = found.proposal.lines.len();
    (
        format!(
            "Send {lines} lines on {} by {closes}: they avert {} {unit}.",
            trip.code,
            loss(averted)
        ),
        served(words, found),
    )
}

/// What becomes of failures to come. Fewer of them may be served with a load than without one.
fn served(words: &Words<'_>, found: &Found) -> String {
    let with = found.proposal.truly.outlook.served_permille / 10;
    let without = found.without.served_permille / 10;
    let end = words.clock_day(found.end);
    let told = format!(
        "Of failures to come until {end} {with} of 100 are served, and {without} without the trip"
    );
    match with < without {
        true => format!(
            "{told}: what it brings lets today’s requests be built, and these take gas and fuel too."
        ),
        false => format!("{told}."),
    }
}

fn rows(words: &Words<'_>, page: &Layout, found: &Found, newest: i64) -> FoundRows {
    let told = Told {
        words: *words,
        basis: &found.basis,
    };
    let outlook = &found.proposal.truly.outlook;
    let next = match &found.next {
        Some(code) => format!("the latest arrival of {code}"),
        None => format!("{NEXT_DAYS} days after it, since no later trip is announced"),
    };
    let changes = newest - found.basis.sequence;
    FoundRows {
        stale: (changes > 0).then(|| match changes {
            1 => "One change since this was worked out: work it out again.".to_owned(),
            n => format!(
                "{} changes since this was worked out: work it out again.",
                whole(n)
            ),
        }),
        proposal: told.rows(&found.proposal, &found.needs),
        chance_with: outlook.enough_permille / 10,
        chance_without: found.without.enough_permille / 10,
        chance_line: format!(
            "{} failures are to be expected until {}; {} of 100 of those that this cell can make are served, without the trip {}.",
            crate::form::plain_decimal((outlook.failures_milli + 50) / 100, 1),
            words.clock_day(found.end),
            outlook.served_permille / 10,
            found.without.served_permille / 10,
        ),
        first_out: outlook
            .runs_out
            .iter()
            .take(3)
            .map(|out| told.runs_out(out))
            .collect(),
        slips: found
            .slips
            .iter()
            .map(|slip| slip_row(&told, slip))
            .collect(),
        how: format!(
            "Worked out {} in {} s on things as they stood {}. The trip is taken to bring nothing else, to land as usual, and to last until {next}, {}. Failures come by what was said and seen of each part, {} courses of them, the same for every load; each takes the first approved recipe, and waits where anything lacks. Searches of one plan differ by {} {}; less than that counts for nothing. Cans of one powder are asked of one lot.",
            page.clock(&found.basis.computed_ms),
            found.basis.took.as_secs(),
            words.clock(found.basis.from),
            words.clock_day(found.end),
            mendpost_core::resupply::COURSES,
            loss(found.noise),
            words.loss_word(),
        ),
    }
}

fn slip_row(told: &Told<'_>, slip: &Slip) -> SlipRow {
    let words = told.words;
    let name = |code: &RequestCode| words.request(code.as_str());
    let names = |codes: &[RequestCode]| {
        let names: Vec<String> = codes.iter().map(name).collect();
        names.join("; ")
    };
    let out = (!slip.out.is_empty()).then(|| format!("No place any more: {}.", names(&slip.out)));
    let later = slip.later.iter().take(3);
    let later = later.map(|(code, min)| format!("{} {} later.", name(code), minutes(*min)));
    let first = slip.runs_out.first();
    let first = first.map(|out| format!("Lacks first: {}.", told.runs_out(out)));
    let sooner: Vec<RequestCode> = slip.sooner.iter().map(|(code, _)| code.clone()).collect();
    SlipRow {
        days: match slip.days {
            1 => "One day late".to_owned(),
            days => format!("{days} days late"),
        },
        costs: loss(slip.costs),
        told: out.into_iter().chain(later).chain(first).collect(),
        now: if sooner.is_empty() {
            "Do nothing otherwise: the same order is best.".to_owned()
        } else {
            format!("Take up sooner: {}.", names(&sooner[..sooner.len().min(3)]))
        },
    }
}
