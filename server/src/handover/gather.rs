//! What a handover says by itself, from the site as it stands and from what was journaled in the shift; and what it
//! proposes for the rest.

use std::collections::{BTreeMap, BTreeSet};

use mendpost_core::build::{Doing, doing};
use mendpost_core::powder::LotState;
use mendpost_core::shift::{
    ClockBox, GOOD_FOR_MIN, Guard, GuardLine, Half, HalfKind, Held, HeldKind, Line, Moved, People,
    Place, Question, Record, Stand,
};
use mendpost_core::situation::{Begun, Request, Situation};
use sqlx::SqliteConnection;

use super::queries::{self, Shift};
use super::{CarriedKind, fields};
use crate::AppState;
use crate::backup::Standing;
use crate::book::queries::{InFeeder, feeder, in_words};
use crate::build::queries::{self as builds, Build};
use crate::cell::gauge::Gauge;
use crate::cell::queries::{Gauges, Latest, gauges};
use crate::clock_check::InDoubt;
use crate::db::decoded;
use crate::error::AppError;
use crate::form::section::Fields;
use crate::furnace::queries::{Load, open_loads};
use crate::health::space;
use crate::page::{Layout, hour, whole};
use crate::people::Visit;
use crate::situation;
use crate::words::build::stopped;
use crate::words::work::sentence;
use crate::words::{Words, bar, litres, tenths_of};

/// A record with what is known of it, before anything that was typed.
pub(super) struct Gathered {
    pub record: Record,
    /// What stands in a field until somebody writes there.
    pub proposed: Fields,
    /// What the service knows of a place, beside its fields.
    pub known: BTreeMap<String, String>,
    /// The request that half-done work belongs to, by the key of the work.
    pub requests: BTreeMap<String, i64>,
}

/// How the site stands, and what happened in the shift. Inside a change it is of the moment of that change, since
/// nobody else writes meanwhile.
pub(super) async fn gather(
    state: &AppState,
    visit: &Visit,
    page: &Layout,
    shift: &Shift,
) -> Result<Gathered, AppError> {
    let mut reading = state.db.read.begin().await?;
    let (mut gathered, holds) = site(state, &mut reading, page, shift).await?;
    let record = &mut gathered.record;
    record.holds = holds;
    record.moved = moved(&mut reading, shift.sequence).await?;
    for line in queries::carried(&mut *reading).await? {
        let to = match line.kind {
            CarriedKind::Promise => &mut record.promises,
            CarriedKind::Must => &mut record.musts,
        };
        to.push(Line {
            number: line.number,
            text: line.text,
            due_ms: line.due_ms,
        });
    }
    let doubt = InDoubt::load(state, visit).await?;
    record.clock.doubt = doubt.map_or_else(String::new, |it| it.text);
    record.clock.copies = Standing::load(state, page).await?.line(page);
    record.clock.free_mb = space::free_mb(&state.db.folder);
    Ok(gathered)
}

/// Only what has fields: enough to keep them while somebody writes, without looking through copies and the book.
pub(super) async fn asked(
    state: &AppState,
    page: &Layout,
    shift: &Shift,
) -> Result<Gathered, AppError> {
    let mut reading = state.db.read.begin().await?;
    let (gathered, _) = site(state, &mut reading, page, shift).await?;
    Ok(gathered)
}

/// The places and the work of the site with what is proposed, and what is on hold there.
async fn site(
    state: &AppState,
    reading: &mut SqliteConnection,
    page: &Layout,
    shift: &Shift,
) -> Result<(Gathered, Vec<Held>), AppError> {
    let now = situation::moment(page.now()).map_err(AppError::internal)?;
    let situation = situation::load(&mut *reading, now).await?;
    let gauges = gauges(&state.db.read).await?;
    let fed = feeder(&mut *reading).await?;
    let mut gathered = Gathered {
        record: blank(shift),
        proposed: Fields::new(),
        known: BTreeMap::new(),
        requests: BTreeMap::new(),
    };
    gathered.places(&gauges, &fed, page);
    for work in half(&mut *reading, &situation, &fed).await? {
        let key = &work.half.key;
        if let Some(next) = work.next {
            gathered.proposed.insert(format!("{key}_next"), next);
        }
        if let Some(request) = work.request {
            gathered.requests.insert(key.clone(), request);
        }
        gathered.record.half.push(work.half);
    }
    gathered.said_before(reading).await?;
    Ok((gathered, holds(&situation)))
}

/// A record in which nothing is said yet.
fn blank(shift: &Shift) -> Record {
    Record {
        shift: shift.number,
        from_ms: shift.opened_ms,
        stands: Vec::new(),
        half: Vec::new(),
        guards: Guard::ALL.iter().map(|guard| unanswered(*guard)).collect(),
        holds: Vec::new(),
        moved: Vec::new(),
        promises: Vec::new(),
        musts: Vec::new(),
        could_bite: String::new(),
        people: People {
            answers: Question::ALL.iter().map(|it| (*it, None)).collect(),
            words: String::new(),
        },
        clock: ClockBox {
            agrees: None,
            doubt: String::new(),
            copies: String::new(),
            free_mb: None,
        },
    }
}

fn unanswered(guard: Guard) -> GuardLine {
    GuardLine {
        guard,
        off: None,
        what: String::new(),
        restore: String::new(),
    }
}

impl Gathered {
    /// The places that there are here, with what was read last.
    fn places(&mut self, gauges: &Gauges, fed: &[InFeeder], page: &Layout) {
        self.place(Place::Booth, "booth", "Booth", String::new());
        let held = match fed {
            [] => "by the book it is empty".to_owned(),
            fed => format!("by the book {}", in_words(fed).join(" and ")),
        };
        self.place(Place::Feeder, "feeder", "Feeder", held);
        for bank in &gauges.banks {
            let key = format!("bank-{}", bank.code);
            let read = gauges.latest(Gauge::BankPressure, Some(bank.id));
            let name = format!("Bank {}", bank.code);
            self.gauge(Place::Bank, &key, &name, (read, page), bar);
        }
        self.place(Place::Heater, "heater", "Heater", String::new());
        for furnace in &gauges.furnaces {
            let key = format!("furnace-{}", furnace.code);
            let read = gauges.latest(Gauge::FurnaceTemperature, Some(furnace.id));
            let celsius = |milli| format!("{} °C", tenths_of(milli, 1000));
            self.gauge(
                Place::Furnace,
                &key,
                &sentence(&furnace.name),
                (read, page),
                celsius,
            );
        }
        let read = gauges.only(Gauge::CollectorDrop);
        let drop = |pascal| format!("{} kPa", tenths_of(pascal, 1000));
        self.gauge(
            Place::Collector,
            "collector",
            "Collector",
            (read, page),
            drop,
        );
        if gauges.compressor {
            self.place(Place::Compressor, "compressor", "Compressor", String::new());
        }
        let read = gauges.only(Gauge::Fuel);
        self.gauge(Place::Fuel, "fuel", "Fuel", (read, page), litres);
    }

    fn place(&mut self, place: Place, key: &str, name: &str, known: String) {
        self.record.stands.push(Stand {
            key: key.to_owned(),
            place,
            name: name.to_owned(),
            word: String::new(),
            reading: String::new(),
            read_ms: None,
        });
        self.known.insert(key.to_owned(), known);
    }

    /// A place with a gauge: what it showed within the hour is proposed.
    fn gauge(
        &mut self,
        place: Place,
        key: &str,
        name: &str,
        (read, page): (Option<&Latest>, &Layout),
        shown: impl Fn(i64) -> String,
    ) {
        let known = read.map_or_else(
            || "never read".to_owned(),
            |read| format!("last {}, {}", shown(read.value), page.clock(&read.at_ms)),
        );
        self.place(place, key, name, known);
        let fresh = read.filter(|it| {
            let age_min = (page.now() - it.at_ms) / 60_000;
            (0..GOOD_FOR_MIN).contains(&age_min)
        });
        if let Some(read) = fresh {
            self.proposed
                .insert(format!("{key}_reading"), shown(read.value));
            self.proposed
                .insert(format!("{key}_read"), hour(read.at_ms, page.zone()));
        }
    }

    /// Of work that has not moved since the handover before, where it is parked and what it is not.
    async fn said_before(&mut self, connection: &mut SqliteConnection) -> Result<(), AppError> {
        let Some(last) = queries::last(connection).await? else {
            return Ok(());
        };
        for before in last.told.record.half {
            if self.record.half.iter().any(|it| it.key == before.key) {
                let key = before.key;
                self.proposed.insert(format!("{key}_next"), before.next);
                self.proposed.insert(format!("{key}_parked"), before.parked);
                self.proposed.insert(format!("{key}_not"), before.not_for);
            }
        }
        Ok(())
    }

    /// What stands in each field: what was kept, else what is proposed.
    pub fn typed(&self, kept: impl Fn(&str) -> Option<String>) -> Fields {
        let names = fields::names(&self.record).into_iter();
        let value = |name: &String| kept(name).or_else(|| self.proposed.get(name).cloned());
        names
            .map(|name| {
                let value = value(&name).unwrap_or_default();
                (name, value)
            })
            .collect()
    }
}

/// Half-done work, with what comes next by its recipe or its page.
struct Work {
    half: Half,
    next: Option<String>,
    request: Option<i64>,
}

fn next_of(words: &Words<'_>, request: &Request) -> Option<String> {
    let begun = request.begun.as_ref()?;
    let recipe = words.situation().recipe(&begun.recipe, begun.revision)?;
    let next = recipe.operations.get(begun.done)?;
    let place = next.station.as_ref();
    let place = place.map_or_else(String::new, |it| {
        format!(", {}", words.station(it.as_str()))
    });
    Some(format!("{}{place}", sentence(&next.name)))
}

/// Builds, loads, parts between two operations, and powder left in the feeder. A key changes as soon as the work
/// moves, so that what was said of it before is not said of it then.
async fn half(
    connection: &mut SqliteConnection,
    situation: &Situation,
    fed: &[InFeeder],
) -> Result<Vec<Work>, AppError> {
    let build = builds::under_way(&mut *connection).await?;
    let loads = open_loads(&mut *connection).await?;
    let mut half = Vec::new();
    if let Some(build) = &build {
        half.push(under_nozzle(connection, situation, build).await?);
    }
    half.extend(loads.iter().map(load));
    let in_load = loads.iter().flat_map(|load| &load.parts);
    let in_load: BTreeSet<String> = in_load.map(|it| format!("R{}", it.request)).collect();
    for request in &situation.requests {
        let elsewhere = request.building.is_some() || in_load.contains(request.code.as_str());
        let begun = request.begun.as_ref().filter(|it| it.done > 0);
        if let Some(begun) = begun.filter(|_| !elsewhere) {
            half.push(between(connection, situation, (request, begun)).await?);
        }
    }
    if build.is_none() && !fed.is_empty() {
        half.push(left_in(fed));
    }
    Ok(half)
}

async fn between(
    connection: &mut SqliteConnection,
    situation: &Situation,
    (request, begun): (&Request, &Begun),
) -> Result<Work, AppError> {
    let recipe = situation.recipe(&begun.recipe, begun.revision);
    let operation = recipe.and_then(|it| it.operations.get(begun.done - 1));
    let key = format!("half-{}-{}", request.code, begun.done);
    let finished = operation.map_or_else(String::new, |it| format!("{} is done", it.name));
    let number = decoded(request.code.as_str().trim_start_matches('R').parse())?;
    let mut half = new(HalfKind::Part, key, of(situation, request), finished);
    half.photos = photos(connection, number).await?;
    Ok(Work {
        half,
        next: next_of(&Words::new(situation), request),
        request: Some(number),
    })
}

fn left_in(fed: &[InFeeder]) -> Work {
    let lots: Vec<&str> = fed.iter().map(|it| it.lot.as_str()).collect();
    let key = format!("half-feeder-{}", lots.join("-"));
    let what = format!("{} left in", in_words(fed).join(" and "));
    let mut half = new(HalfKind::Feeder, key, "Feeder".to_owned(), what);
    half.parked = "in the feeder".to_owned();
    Work {
        half,
        next: Some("Pour it back and weigh it before any other lot".to_owned()),
        request: None,
    }
}

async fn under_nozzle(
    connection: &mut SqliteConnection,
    situation: &Situation,
    build: &Build,
) -> Result<Work, AppError> {
    let marks = builds::marks(&mut *connection, build.id).await?;
    let pass = marks.iter().rev().find_map(|it| it.pass);
    let stands = match doing(&builds::times(&marks)) {
        Doing::SettingUp => "set up, nothing sprayed".to_owned(),
        Doing::Spraying => "powder flows".to_owned(),
        Doing::Stopped(cause) => stopped(cause).to_lowercase(),
    };
    let pass = pass.map_or_else(String::new, |pass| format!(", pass {pass} done"));
    let code = format!("R{}", build.request);
    let mut requests = situation.requests.iter();
    let request = requests.find(|it| it.code.as_str() == code);
    let what = request.map_or_else(
        || format!("{code} {}", build.part_name),
        |it| of(situation, it),
    );
    let key = format!("half-{code}-b{}-{}", build.number, marks.len());
    let what = format!("{what}, build {}", build.number);
    let finished = format!("{}: {stands}{pass}", build.operation);
    let mut half = new(HalfKind::Build, key, what, finished);
    half.photos = photos(connection, build.request).await?;
    Ok(Work {
        half,
        next: Some(format!("Go on spraying, or end build {}", build.number)),
        request: Some(build.request),
    })
}

fn load(load: &Load) -> Work {
    let parts = load.parts.iter();
    let parts = parts.map(|it| format!("R{} {}", it.request, it.part_name));
    let cans = load.containers.iter().map(|it| it.code.clone());
    let holds: Vec<String> = parts.chain(cans).collect();
    let set_c = whole(load.set_c);
    let mut half = new(
        HalfKind::Load,
        format!("half-{}", load.code()),
        format!("{} in the {}", load.code(), load.station_name),
        format!("{} in at {set_c} °C", holds.join(", ")),
    );
    half.parked = format!("in the {}", load.station_name);
    let code = load.code();
    Work {
        half,
        next: Some(format!(
            "Hold {set_c} °C to the end of the soak, then close {code}"
        )),
        request: None,
    }
}

fn new(kind: HalfKind, key: String, what: String, finished: String) -> Half {
    Half {
        key,
        kind,
        what,
        finished,
        next: String::new(),
        parked: String::new(),
        not_for: String::new(),
        photos: 0,
        confirmed: false,
    }
}

fn of(situation: &Situation, request: &Request) -> String {
    let words = Words::new(situation);
    let what = words.asset_part(request.asset.as_str(), &request.part_name);
    format!("{} {what}", request.code)
}

/// Pictures that hang on a request.
async fn photos(connection: &mut SqliteConnection, request: i64) -> Result<i64, sqlx::Error> {
    let number = request.to_string();
    sqlx::query_scalar!(
        r#"select count(*) as "photos!: i64" from attached
           join attachment on attachment.hash = attached.hash
           where subject_kind = 'request' and subject = ? and off_reason is null and width is not null"#,
        number
    )
    .fetch_one(connection)
    .await
}

fn holds(situation: &Situation) -> Vec<Held> {
    let requests = situation.requests.iter();
    let parts = requests.flat_map(|request| {
        request.on_hold.iter().map(|hold| Held {
            kind: HeldKind::Part,
            what: of(situation, request),
            why: format!("hold {}, {}", hold.number, hold.what),
        })
    });
    let lots = situation
        .lots
        .iter()
        .filter(|lot| lot.state == LotState::Hold);
    let lots = lots.map(|lot| Held {
        kind: HeldKind::Lot,
        what: format!("lot {}", lot.code),
        why: lot.state_note.clone(),
    });
    parts.chain(lots).collect()
}

/// Powder that moved since an entry of the journal, by lot.
async fn moved(connection: &mut SqliteConnection, since: i64) -> Result<Vec<Moved>, sqlx::Error> {
    sqlx::query_as!(
        Moved,
        r#"with late as (
             select lot, into_lot, from_kind, to_kind, milligrams, reason from movement_line
             where journal_sequence > ?
           ), of_lot as (
             select lot, -milligrams as in_mg, reason, from_kind as kind, to_kind as other from late
             union all
             select into_lot, milligrams, reason, to_kind, from_kind from late
           )
           select l.code as "lot!: String",
             coalesce(-sum(o.in_mg) filter (where o.kind = 'container' and o.other = 'feeder' and o.in_mg < 0), 0)
               as "drawn_mg!: i64",
             coalesce(sum(o.in_mg) filter (where o.kind = 'container' and o.other = 'feeder' and o.in_mg > 0), 0)
               as "returned_mg!: i64",
             sum(o.in_mg) filter (where o.reason = 'count' and o.kind in ('container', 'feeder')) as "gap_mg?: i64",
             coalesce((select sum(c.milligrams) from container_now c where c.lot_id = l.id), 0) as "on_hand_mg!: i64"
           from of_lot o
           join lot l on l.code = o.lot
           group by l.id
           order by l.code"#,
        since
    )
    .fetch_all(connection)
    .await
}
