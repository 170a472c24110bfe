//! What is done with an interim part: its hour meter is read, it is taken off, it comes back.

use axum::extract::{Path, State};
use axum::response::Response;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use mendpost_core::interim::Limit;
use mendpost_core::journal::Subject;
use mendpost_core::word_enum;
use serde::Deserialize;
use serde_json::{Value, json};

use super::find;
use super::hours::{meter_if, shown};
use super::inserts::{self, Entered, Fate};
use super::machine::{Machine, Then};
use super::queries::{self, Interim};
use super::telling::{left_words, take_off};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, local_time, optional_text, text};
use crate::page::act::{ActPage, Field};
use crate::page::{Notice, Screen, age, moment};
use crate::people::{Visit, Who};
use crate::requests::filing::move_needed_by;
use crate::situation;
use crate::words::work::sentence;

word_enum! {
    /// What is done with it.
    What {
        /// Its machine's hour meter is read.
        Reading = "reading",
        /// It is taken off.
        Off = "off",
        /// It is back at the cell, and judged.
        Return = "return",
    }
}

impl What {
    /// What may be done with a part now, the likeliest first.
    pub fn possible(interim: &Interim) -> impl Iterator<Item = What> {
        let acts: &[What] = match (&interim.off, &interim.returned, interim.limit) {
            (None, _, Limit::Running { .. }) => &[What::Reading, What::Off],
            (None, _, Limit::Date { .. }) => &[What::Off],
            (Some(_), None, _) => &[What::Return],
            (Some(_), Some(_), _) => &[],
        };
        acts.iter().copied()
    }

    pub const fn verb(self) -> &'static str {
        match self {
            What::Reading => "Enter a meter reading",
            What::Off => "Take it off",
            What::Return => "Say what became of it",
        }
    }
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct ActForm {
    at: String,
    meter: String,
    machine: String,
    fate: String,
    wear: String,
    note: String,
}

pub async fn ask(
    State(state): State<AppState>,
    visit: Visit,
    Path((number, what)): Path<(String, String)>,
) -> Result<Response, AppError> {
    let what = what_of(&what)?;
    let interim = find(&state, &number).await?;
    allowed(&interim, what)?;
    show(
        &visit,
        &interim,
        what,
        &ActForm::default(),
        FieldErrors::default(),
    )
    .await
}

pub async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path((number, what)): Path<(String, String)>,
    Posted(form): Posted<ActForm>,
) -> Result<Response, AppError> {
    let what = what_of(&what)?;
    let number = find(&state, &number).await?.number;
    let mut change = Change::begin(&state, &who).await?;
    let stands = queries::one(change.connection(), number).await?;
    let interim = stands.ok_or_else(|| AppError::internal("an interim part is gone"))?;
    allowed(&interim, what)?;
    // A part may come back when its machine is long retired.
    let machine = match what {
        What::Reading | What::Off => Some(Machine::find(&mut change, &interim).await?),
        What::Return => None,
    };
    let told = match Told::read(&form, &interim, what, &visit, machine.as_ref()) {
        Ok(told) => told,
        Err(errors) => {
            drop(change);
            return show(&visit, &interim, what, &form, errors).await;
        }
    };
    let journal = told
        .write(
            &mut change,
            &interim,
            machine.as_ref(),
            (&who.name, visit.site.zone),
        )
        .await?;
    let words = match what {
        What::Reading => "its meter is read",
        What::Off => "is off; say what became of it when it is back",
        What::Return => "is back",
    };
    let text = format!(
        "{}, {}, {words}. Journal {journal}.",
        interim.code(),
        interim.name()
    );
    let notice = Notice::done("SAVED", text);
    change.finish(&who, &interim.path(), notice).await
}

fn what_of(word: &str) -> Result<What, AppError> {
    word.parse().map_err(|_| AppError::NotFound {
        what: format!("act '{word}' on an interim part"),
    })
}

/// Refuses what does not come next.
fn allowed(interim: &Interim, what: What) -> Result<(), AppError> {
    if What::possible(interim).any(|possible| possible == what) {
        return Ok(());
    }
    let code = interim.code();
    Err(AppError::Conflict(match (what, &interim.off) {
        (What::Return, Some(_)) => format!("{code} is back already; look at its page"),
        (What::Return, None) => format!("{code} is still on its machine; take it off first"),
        (_, Some(off)) => format!("{code} was taken off by {}; look at its page", off.by),
        (_, None) => format!("{code} must come off by a date; its meter does not count"),
    }))
}

/// What was told, read against what stands.
struct Told {
    at: DateTime<Utc>,
    note: String,
    act: Act,
}

/// What each act tells.
enum Act {
    /// What the meter shows.
    Reading(i64),
    /// What the meter shows, if anybody read it, and how its machine stands.
    Off(Option<i64>, Then),
    /// Its fate and its wear.
    Return(&'static str, String),
}

impl Told {
    fn read(
        form: &ActForm,
        interim: &Interim,
        what: What,
        visit: &Visit,
        machine: Option<&Machine>,
    ) -> Result<Told, FieldErrors> {
        let mut errors = FieldErrors::default();
        let at = time(&form.at, interim, what, visit, &mut errors);
        let meter = match what {
            What::Return => Some(None),
            What::Reading | What::Off => meter(form, interim, what, at, visit, &mut errors),
        };
        let act = match what {
            What::Reading => meter.flatten().map(Act::Reading),
            What::Off => {
                let then = then(form, machine, visit, &mut errors);
                meter.zip(then).map(|(meter, then)| Act::Off(meter, then))
            }
            What::Return => {
                let fate = fate(form, &mut errors);
                let wear = errors.check("wear", text(&form.wear, 400));
                fate.zip(wear).map(|(fate, wear)| Act::Return(fate, wear))
            }
        };
        let note = errors.check("note", optional_text(&form.note, 400));
        let whole = || {
            Some(Told {
                at: at?,
                note: note?.unwrap_or_default(),
                act: act?,
            })
        };
        whole().filter(|_| errors.is_empty()).ok_or(errors)
    }

    /// Kind and content of its journal entry.
    fn content(&self) -> (&'static str, Value) {
        let (at_ms, note) = (self.at.timestamp_millis(), &self.note);
        match &self.act {
            Act::Reading(meter_min) => (
                "interim.read",
                json!({ "read_ms": at_ms, "meter_min": meter_min }),
            ),
            Act::Off(meter_min, then) => (
                "interim.off",
                json!({ "off_ms": at_ms, "meter_min": meter_min, "machine": then, "note": note }),
            ),
            Act::Return(fate, wear) => (
                "interim.returned",
                json!({ "returned_ms": at_ms, "fate": fate, "wear": wear, "note": note }),
            ),
        }
    }

    async fn write(
        &self,
        change: &mut Change,
        interim: &Interim,
        machine: Option<&Machine>,
        (by, zone): (&str, Tz),
    ) -> Result<i64, AppError> {
        let (kind, content) = self.content();
        let subject = Subject::new("interim", interim.code());
        let journal = change.journal(kind, subject, content).await?;
        let entered = Entered {
            by,
            at_ms: change.now(),
            journal,
        };
        let (id, at_ms, note) = (interim.id, self.at.timestamp_millis(), &self.note);
        let connection = change.connection();
        match &self.act {
            Act::Reading(meter_min) => {
                let sequence = i64::try_from(interim.meter.len() + 1).unwrap_or(i64::MAX);
                inserts::insert_reading(connection, id, sequence, at_ms, *meter_min, entered)
                    .await?;
                let why = format!("the hour meter of {} was read", interim.code());
                move_end(change, interim, &why, (by, zone)).await?;
                if let Some(machine) = machine {
                    machine.end_moved(change, interim, &why).await?;
                }
            }
            Act::Off(meter_min, then) => {
                inserts::insert_off(connection, id, at_ms, *meter_min, note, entered).await?;
                if let Some(machine) = machine {
                    machine.taken_off(change, interim, at_ms, *then).await?;
                }
            }
            Act::Return(fate, wear) => {
                let fate = Fate {
                    returned_ms: at_ms,
                    fate,
                    wear,
                    note,
                };
                inserts::insert_return(connection, id, &fate, entered).await?;
            }
        }
        Ok(journal)
    }
}

/// How its machine stands once it is off.
fn then(
    form: &ActForm,
    machine: Option<&Machine>,
    visit: &Visit,
    errors: &mut FieldErrors,
) -> Option<Then> {
    let Ok(then) = form.machine.parse() else {
        errors.add("machine", "say whether its machine stands still or runs");
        return None;
    };
    if let Some(fault) = machine.and_then(|machine| machine.contradicts(then, visit.site.zone)) {
        errors.add("machine", fault);
        return None;
    }
    Some(then)
}

fn fate(form: &ActForm, errors: &mut FieldErrors) -> Option<&'static str> {
    let fate = FATES.into_iter().find(|fate| *fate == form.fate);
    if fate.is_none() {
        errors.add("fate", "say whether it is kept or scrapped");
    }
    fate
}

const FATES: [&str; 2] = ["kept", "scrapped"];

/// What replaces it is needed when its hours are reckoned to end after this reading, unless somebody has
/// said otherwise than before it.
async fn move_end(
    change: &mut Change,
    interim: &Interim,
    why: &str,
    by: (&str, Tz),
) -> Result<(), AppError> {
    let stands = queries::one(change.connection(), interim.number).await?;
    let now = change.moment()?;
    let Some(end_ms) = stands.map(|stands| stands.end_ms(now)) else {
        return Ok(());
    };
    let moved = (interim.end_ms(now), end_ms);
    move_needed_by(change, interim.follow_on, moved, why, by).await
}

/// When it was done: not before what was done before it, not to come; empty: now.
fn time(
    typed: &str,
    interim: &Interim,
    what: What,
    visit: &Visit,
    errors: &mut FieldErrors,
) -> Option<DateTime<Utc>> {
    let now = visit.now - visit.now.rem_euclid(60_000);
    let at = match typed.trim() {
        "" => now,
        typed => errors.check("at", local_time(typed, visit.site.zone))?,
    };
    if at > visit.now {
        let distance = age(at, visit.now);
        errors.add("at", format!("that is {distance}; give a time up to now"));
        return None;
    }
    let (before, words) = match (&interim.off, interim.meter.last()) {
        (Some(off), _) if what == What::Return => (off.at, "it came off"),
        (_, Some(meter)) => (meter.at, "its meter was read"),
        _ => (interim.since, "it was fitted"),
    };
    if at < this_minute(before) {
        let before = moment(before.timestamp_millis(), visit.site.zone);
        errors.add(
            "at",
            format!("{words} only {before}; give a time since then"),
        );
        return None;
    }
    errors.check(
        "at",
        situation::moment(at).map_err(|_| crate::form::FieldError::NotTime {
            given: typed.to_owned(),
        }),
    )
}

/// The whole minute in which something was: a field for a time knows no seconds.
fn this_minute(at: DateTime<Utc>) -> i64 {
    let at_ms = at.timestamp_millis();
    at_ms - at_ms.rem_euclid(60_000)
}

/// What the meter shows: never less than before, nor more than the clock allows.
fn meter(
    form: &ActForm,
    interim: &Interim,
    what: What,
    at: Option<DateTime<Utc>>,
    visit: &Visit,
    errors: &mut FieldErrors,
) -> Option<Option<i64>> {
    let shows = meter_if("meter", &form.meter, errors)?;
    let Some(meter_min) = shows else {
        if what == What::Reading {
            errors.add("meter", "enter what the hour meter shows");
            return None;
        }
        return Some(None);
    };
    let Some((last_at, last_min)) = interim.last_meter() else {
        return Some(Some(meter_min));
    };
    let last = moment(last_at.timestamp_millis(), visit.site.zone);
    if meter_min < last_min {
        errors.add(
            "meter",
            format!(
                "it showed {} on {last}, and a meter never falls; read it again",
                shown(last_min)
            ),
        );
        return None;
    }
    let gone = at.map_or(0, |at| {
        (at.timestamp_millis() - this_minute(last_at)) / 60_000
    });
    // A meter shows tenths of an hour: it may stand six minutes ahead.
    if at.is_some() && meter_min - last_min > gone + 6 {
        errors.add(
            "meter",
            format!(
                "it showed {} on {last}, and only {} have passed since; read it again",
                shown(last_min),
                shown(gone)
            ),
        );
        return None;
    }
    Some(Some(meter_min))
}

async fn show(
    visit: &Visit,
    interim: &Interim,
    what: What,
    form: &ActForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let name = format!("{}, {}", interim.code(), interim.name());
    let answer = match what {
        What::Reading => format!("Read the hour meter for {name}."),
        What::Off => format!("Take off {name}."),
        What::Return => format!("Say what became of {name}."),
    };
    let title = sentence(what.verb());
    let act = ActPage {
        page: visit.layout(Screen::Requests, &title).await?,
        answer,
        reason: match what {
            What::Off => "Tag the machine out before, and the part out of use after.".to_owned(),
            What::Reading | What::Return => String::new(),
        },
        pairs: pairs(visit, interim)?,
        fields: fields(what, form),
        action: format!("{}/{what}", interim.path()),
        verb: what.verb(),
        detail: "stays on record".to_owned(),
        back: ("Leave it", interim.path()),
        ask: None,
        errors,
    };
    act.answer()
}

fn fields(what: What, form: &ActForm) -> Vec<Field> {
    let at = Field::time("at", "When", &form.at, "left empty: now");
    let meter = |hint| Field::amount("meter", "The hour meter shows", &form.meter, "h", hint);
    let note = Field::area("note", "Note", &form.note, "may stay empty");
    match what {
        What::Reading => vec![meter("as it stands on the meter, with one decimal"), at],
        What::Off => {
            let then = [
                (Then::Stands.as_str(), "stands still"),
                (Then::Runs.as_str(), "runs with what replaces the part"),
            ];
            let then = then.map(|(value, words)| (value.to_owned(), words.to_owned()));
            vec![
                at,
                meter("empty if it has none"),
                Field::choose(
                    "machine",
                    "Its machine",
                    &form.machine,
                    then.to_vec(),
                    "counts at once; plan again after it",
                ),
                note,
            ]
        }
        What::Return => {
            let fates = FATES.map(|fate| (fate.to_owned(), fate.to_owned()));
            vec![
                Field::choose("fate", "It is", &form.fate, fates.to_vec(), ""),
                Field::area(
                    "wear",
                    "Wear",
                    &form.wear,
                    "what, where, how deep in millimetres",
                ),
                at,
                note,
            ]
        }
    }
}

fn pairs(visit: &Visit, interim: &Interim) -> Result<Vec<(&'static str, String)>, AppError> {
    let now = visit.moment()?;
    let zone = visit.site.zone;
    let mut pairs = vec![
        (
            "Where",
            match interim.place.is_empty() {
                true => sentence(&interim.asset),
                false => format!("{}, {}", sentence(&interim.asset), interim.place),
            },
        ),
        ("Part", interim.part_name.clone()),
        ("Take off", take_off(interim, now, zone)),
        ("Left", left_words(&interim.left(now), now)),
        ("Owner", interim.owner.clone()),
        ("How it comes off", interim.removal_plan.clone()),
    ];
    if let Some((at, meter_min)) = interim.last_meter() {
        let at = moment(at.timestamp_millis(), zone);
        pairs.push(("Meter last", format!("{}, {at}", shown(meter_min))));
    }
    Ok(pairs)
}
