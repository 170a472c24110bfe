//! Full bottles that came and stand with no bank yet, and the act by which they join one: open to the others they
//! are one bank, whose pressure nobody knows before it is read again.

use axum::extract::State;
use axum::response::Response;
use mendpost_core::journal::Subject;
use serde::Deserialize;
use serde_json::json;
use sqlx::{SqliteConnection, SqliteExecutor};
use uuid::Uuid;

use super::enter::keep;
use super::gauge::Gauge;
use super::reading::{Of, Read, Round};
use super::scale::Scale;
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, choice, decimal, integer};
use crate::page::act::{ActPage, Field};
use crate::page::{Notice, Screen, whole};
use crate::people::{Visit, Who};
use crate::words::{bar, litres};

pub const PATH: &str = "/cell/bottles";

/// Alike bottles that wait.
pub struct Waiting {
    pub gas: String,
    pub bottle_ml: i64,
    pub pressure_mbar: i64,
    pub bottles: i64,
}

impl Waiting {
    /// '5 of nitrogen, 50 L at 200 bar'.
    pub fn words(&self) -> String {
        format!(
            "{} of {}, {} at {}",
            whole(self.bottles),
            self.gas,
            litres(self.bottle_ml),
            bar(self.pressure_mbar)
        )
    }

    /// What a form knows them by.
    fn key(&self) -> String {
        format!("{}-{}-{}", self.gas, self.bottle_ml, self.pressure_mbar)
    }
}

/// All bottles that wait.
pub async fn waiting(executor: impl SqliteExecutor<'_>) -> Result<Vec<Waiting>, sqlx::Error> {
    sqlx::query_as!(
        Waiting,
        r#"select gas as "gas!: String", bottle_ml as "bottle_ml!: i64", pressure_mbar as "pressure_mbar!: i64",
             sum(bottles) as "bottles!: i64"
           from bottle_move
           group by gas, bottle_ml, pressure_mbar having sum(bottles) > 0
           order by gas, bottle_ml, pressure_mbar"#
    )
    .fetch_all(executor)
    .await
}

/// Notes that so many sound bottles of a delivery's line came: they wait.
pub async fn came(
    change: &mut Change,
    (receipt, journal): (Uuid, i64),
    line: Uuid,
    bottles: i64,
    who: &Who,
) -> Result<(), sqlx::Error> {
    let (id, now) = (Uuid::now_v7(), change.now());
    sqlx::query!(
        "insert into bottle_move (id, gas, bottle_ml, pressure_mbar, bottles, receipt_id, moved_by, moved_ms,
           journal_sequence)
         select ?, b.gas, b.bottle_ml, d.pressure_mbar, ?, ?, ?, ?, ?
         from delivery_line d join bank b on b.id = d.bank_id where d.id = ?",
        id,
        bottles,
        receipt,
        who.name,
        now,
        journal,
        line,
    )
    .execute(change.connection())
    .await?;
    Ok(())
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct JoinForm {
    of: String,
    bank: String,
    bottles: String,
    taken_off: String,
    pressure: String,
    scale: String,
    temperature: String,
}

struct Bank {
    id: Uuid,
    code: String,
    gas: String,
    bottles: i64,
    bottle_ml: i64,
}

async fn banks(connection: &mut SqliteConnection) -> Result<Vec<Bank>, sqlx::Error> {
    sqlx::query_as!(
        Bank,
        r#"select id as "id!: Uuid", code, gas, bottles, bottle_ml from bank order by code"#
    )
    .fetch_all(connection)
    .await
}

/// What waits, and the banks that it may join.
struct Here {
    waiting: Vec<Waiting>,
    banks: Vec<Bank>,
}

impl Here {
    async fn load(connection: &mut SqliteConnection) -> Result<Here, AppError> {
        Ok(Here {
            waiting: waiting(&mut *connection).await?,
            banks: banks(connection).await?,
        })
    }
}

/// Bottles as they will join.
struct Join<'a> {
    waiting: &'a Waiting,
    bank: &'a Bank,
    bottles: i64,
    taken_off: i64,
    pressure_mbar: i64,
    temperature_mc: i64,
}

impl Join<'_> {
    fn after(&self) -> i64 {
        self.bank.bottles - self.taken_off + self.bottles
    }
}

const MOST_BOTTLES: i64 = 1000;

impl JoinForm {
    fn parse<'a>(
        &self,
        here: &'a Here,
        altitude_m: i64,
        errors: &mut FieldErrors,
    ) -> Option<Join<'a>> {
        let waiting = here.waiting.iter().find(|it| it.key() == self.of);
        if waiting.is_none() {
            errors.add("of", "choose the bottles that join");
        }
        let bank = self.bank(here, waiting, errors);
        let most = waiting.map_or(MOST_BOTTLES, |it| it.bottles);
        let bottles = errors.check("bottles", integer(&self.bottles, 1..=most));
        let taken_off = match self.taken_off.trim() {
            "" => Some(0),
            typed => {
                let most = bank.map_or(MOST_BOTTLES, |it| it.bottles);
                errors.check("taken_off", integer(typed, 0..=most))
            }
        };
        let scale = errors.check("scale", choice::<Scale>(&self.scale));
        let pressure_mbar = scale
            .and_then(|scale| errors.check("pressure", scale.mbar(&self.pressure, altitude_m)));
        let celsius = decimal(&self.temperature, 3, -60_000..=80_000);
        let temperature_mc = errors.check("temperature", celsius);
        let join = Join {
            waiting: waiting?,
            bank: bank?,
            bottles: bottles?,
            taken_off: taken_off?,
            pressure_mbar: pressure_mbar?,
            temperature_mc: temperature_mc?,
        };
        if join.after() > MOST_BOTTLES {
            let told = format!(
                "bank {} would have {} bottles; at most {MOST_BOTTLES} stand together",
                join.bank.code,
                whole(join.after())
            );
            errors.add("bottles", told);
            return None;
        }
        Some(join)
    }

    fn bank<'a>(
        &self,
        here: &'a Here,
        waiting: Option<&Waiting>,
        errors: &mut FieldErrors,
    ) -> Option<&'a Bank> {
        let Some(bank) = here.banks.iter().find(|it| it.code == self.bank) else {
            errors.add("bank", "choose the bank that they join");
            return None;
        };
        let fits = |it: &Waiting| it.gas == bank.gas && it.bottle_ml == bank.bottle_ml;
        if let Some(waiting) = waiting.filter(|it| !fits(it)) {
            let told = format!(
                "bank {} is of {} in bottles of {}; {} of {} do not join it",
                bank.code,
                bank.gas,
                litres(bank.bottle_ml),
                waiting.gas,
                litres(waiting.bottle_ml)
            );
            errors.add("bank", told);
            return None;
        }
        Some(bank)
    }
}

pub(super) async fn ask(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let mut reading = state.db.read.acquire().await?;
    let here = Here::load(&mut reading).await?;
    drop(reading);
    let form = JoinForm {
        of: here.waiting.first().map(Waiting::key).unwrap_or_default(),
        bottles: here
            .waiting
            .first()
            .map_or_else(String::new, |it| it.bottles.to_string()),
        scale: Scale::BarGauge.to_string(),
        ..JoinForm::default()
    };
    join_page(&visit, &here, &form, FieldErrors::default()).await
}

pub(super) async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(form): Posted<JoinForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let mut change = Change::begin(&state, &who).await?;
    let here = Here::load(change.connection()).await?;
    let join = form.parse(&here, visit.site.altitude_m, &mut errors);
    let (Some(join), true) = (join, errors.is_empty()) else {
        drop(change);
        return join_page(&visit, &here, &form, errors).await;
    };
    let journal = put(&mut change, &who, &join).await?;
    let code = &join.bank.code;
    let round = Round {
        at_ms: change.now(),
        readings: [
            (Gauge::BankPressure, join.pressure_mbar),
            (Gauge::BankTemperature, join.temperature_mc),
        ]
        .map(|(gauge, value)| Read {
            gauge,
            of: Of::Bank(join.bank.id, code.clone()),
            value,
        })
        .into(),
    };
    keep(&mut change, &who, &round).await?;
    let text = format!(
        "bank {code} has {} bottles at {}. Journal {journal}. Plan again to count with them.",
        whole(join.after()),
        bar(join.pressure_mbar)
    );
    let notice = Notice::done("SAVED", text);
    change.finish(&who, Screen::Cell.path(), notice).await
}

/// Writes that they joined; the journal entry.
async fn put(change: &mut Change, who: &Who, join: &Join<'_>) -> Result<i64, AppError> {
    let (after, out) = (join.after(), -join.bottles);
    let content = json!({
        "gas": join.waiting.gas,
        "bottle_ml": join.waiting.bottle_ml,
        "filled_mbar": join.waiting.pressure_mbar,
        "joined": join.bottles,
        "taken_off": join.taken_off,
        "before": join.bank.bottles,
        "after": after,
    });
    let subject = Subject::new("bank", &join.bank.code);
    let journal = change.journal("bank.joined", subject, content).await?;
    sqlx::query!(
        "update bank set bottles = ? where id = ?",
        after,
        join.bank.id
    )
    .execute(change.connection())
    .await?;
    let (id, now) = (Uuid::now_v7(), change.now());
    sqlx::query!(
        "insert into bottle_move (id, gas, bottle_ml, pressure_mbar, bottles, bank_id, taken_off, moved_by, moved_ms,
           journal_sequence)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        join.waiting.gas,
        join.waiting.bottle_ml,
        join.waiting.pressure_mbar,
        out,
        join.bank.id,
        join.taken_off,
        who.name,
        now,
        journal,
    )
    .execute(change.connection())
    .await?;
    Ok(journal)
}

async fn join_page(
    visit: &Visit,
    here: &Here,
    form: &JoinForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let kinds = here.waiting.iter().map(|it| (it.key(), it.words()));
    let banks = here.banks.iter().map(|it| {
        let words = format!(
            "{}, {} of {}, {}",
            it.code,
            whole(it.bottles),
            it.gas,
            litres(it.bottle_ml)
        );
        (it.code.clone(), words)
    });
    let scales = Scale::ALL.iter();
    let scales = scales.map(|scale| (scale.to_string(), scale.word().to_owned()));
    let act = ActPage {
        page: visit.layout(Screen::Cell, "Join bottles to a bank").await?,
        answer: match here.waiting.is_empty() {
            true => "No full bottles wait.".to_owned(),
            false => "Join full bottles to a bank, then read its gauge.".to_owned(),
        },
        reason: "Open to the others they level out with them: only a new reading tells what the bank holds.".to_owned(),
        pairs: vec![
            ("Before", "close the bank, vent the manifold, read zero".to_owned()),
            ("Bottles", "chained, caps off last".to_owned()),
            ("After", "open all of them, let the gauge settle, read it".to_owned()),
        ],
        fields: vec![
            Field::choose("of", "Which bottles", &form.of, kinds.collect(), "as they came"),
            Field::choose("bank", "To bank", &form.bank, banks.collect(), ""),
            Field::amount("bottles", "How many join", &form.bottles, "bottles", ""),
            Field::amount("taken_off", "Taken off for them", &form.taken_off, "bottles", "empty ones that go back; none: leave it empty"),
            Field::amount("pressure", "Pressure then", &form.pressure, "bar or psi", "of the whole bank, all bottles open"),
            Field::choose("scale", "It is", &form.scale, scales.collect(), ""),
            Field::amount("temperature", "Its temperature", &form.temperature, "°C", ""),
        ],
        action: PATH.to_owned(),
        verb: "Join them",
        detail: "the bank counts with them from now on".to_owned(),
        back: ("Let them wait", Screen::Cell.path().to_owned()),
        ask: None,
        errors,
    };
    act.answer()
}
