//! Years of one busy cell, made anew for a seed.
//!
//! Lots come, are released and used up; requests go through every operation of their recipe, with builds, their marks,
//! readings and ends, furnace loads and coupons; and there are counts, gauges, nozzles and calibrations.
//!
//! Nothing of it goes around the database's rules: every act is a change of its own, as the service makes it, with its
//! entry in the journal, and powder moves by the book alone. The catalogue, the machines and what is open are the
//! demonstration's of the last day; its entries stand first in the journal.

mod after;
mod build;
mod part;
mod stock;

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

use chrono::TimeDelta;
use fastrand::Rng;
use mendpost_core::catalogue::{Recipe, RecipeState};
use mendpost_core::code::{AssetCode, BankCode, PartCode, PowderCode};
use mendpost_core::journal::Subject;
use mendpost_core::people::Role;
use mendpost_server::AppState;
use mendpost_server::change::{Actor, Change};
use mendpost_server::clock::Clock;
use mendpost_server::config::Config;
use mendpost_server::db::Db;
use mendpost_server::error::AppError;
use mendpost_server::people::queries::everybody;
use mendpost_server::seed::{self, SeedFiles};
use mendpost_server::situation;
use serde_json::{Value, json};
use sqlx::SqliteConnection;
use uuid::Uuid;

use stock::{Feeder, Stock};

/// How much is made, of which seed.
#[derive(Debug, Clone, Copy)]
pub struct Extent {
    pub seed: u64,
    pub days: i64,
    pub builds: i64,
    pub lots: i64,
    /// Of powder, about.
    pub movements: i64,
}

impl Extent {
    /// Ten years of a cell that is never idle.
    pub const TEN_YEARS: Extent = Extent {
        seed: 1,
        days: 3_652,
        builds: 20_000,
        lots: 600,
        movements: 200_000,
    };

    /// The first part of so many of the same.
    #[must_use]
    pub fn one_in(self, share: i64) -> Extent {
        Extent {
            seed: self.seed,
            days: self.days / share,
            builds: self.builds / share,
            lots: self.lots / share,
            movements: self.movements / share,
        }
    }

    /// Minutes from the begin of one build to that of the next.
    fn pace_min(self) -> i64 {
        self.days * 1_440 / self.builds
    }
}

/// A state on an empty database whose clock can be set, as [`make`] takes it.
#[must_use]
pub fn state_on(db: Db) -> (AppState, Arc<AtomicI64>) {
    let time = Arc::new(AtomicI64::new(0));
    let config = Config {
        demonstration: true,
        ..Config::default()
    };
    let state = AppState::new(db, Clock::Fixed(Arc::clone(&time)), config);
    (state, time)
}

/// Fills an empty database with what happened up to a moment, at which the clock stands afterwards.
///
/// # Errors
/// Where the service would refuse an act: nothing is written past its checks.
pub async fn make(
    state: &AppState,
    time: &Arc<AtomicI64>,
    extent: Extent,
    end_ms: i64,
) -> Result<(), AppError> {
    // Whoever loses power makes it anew.
    sqlx::query("pragma synchronous = off")
        .execute(&state.db.write)
        .await?;
    let begin_ms = end_ms - extent.days * DAY_MS;
    time.store(begin_ms, Ordering::SeqCst);
    let end = situation::moment(end_ms).map_err(AppError::internal)?;
    let mut site = seed::read(&SeedFiles::demonstration(), end)
        .map_err(|faults| AppError::internal(format!("{faults:?}")))?;
    // What was weighed before is entered at the begin, and nothing is entered before it is built.
    for weighed in &mut site.weighed {
        weighed.built_at -= TimeDelta::days(extent.days);
    }
    let mut change = Change::begin(state, Actor::Mendpost).await?;
    seed::write(&mut change, &site, true).await?;
    change.commit().await?;
    let mut decade = Decade::begin(state, time, extent).await?;
    decade.empty_feeder().await?;
    while decade.builds < extent.builds {
        decade.campaign().await?;
        let paced = begin_ms + decade.builds * extent.pace_min() * 60_000;
        time.fetch_max(paced.min(end_ms), Ordering::SeqCst);
    }
    decade.leave_begun().await?;
    time.store(end_ms, Ordering::SeqCst);
    sqlx::query("pragma synchronous = full")
        .execute(&state.db.write)
        .await?;
    Ok(())
}

const DAY_MS: i64 = 86_400_000;

/// Somebody of the crew.
struct Person {
    id: Uuid,
    name: String,
    role: Role,
}

/// What the cell makes: a part of a machine by a recipe.
struct Job {
    asset: AssetCode,
    part: PartCode,
    part_name: String,
    recipe: Recipe,
}

/// The site while its years are made.
struct Decade<'a> {
    state: &'a AppState,
    time: &'a Arc<AtomicI64>,
    extent: Extent,
    rng: Rng,
    lead: Person,
    checker: Person,
    crew: Person,
    jobs: Vec<Job>,
    banks: Vec<BankCode>,
    powders: BTreeMap<PowderCode, Uuid>,
    /// Ids of measuring tools, by their numbers.
    tools: Vec<(String, Uuid)>,
    stock: BTreeMap<PowderCode, Stock>,
    feeder: Feeder,
    requests: i64,
    builds: i64,
    lots: i64,
    movements: i64,
    counts: i64,
    loads: i64,
    coupons: i64,
    /// How often all tools were calibrated.
    calibrations: i64,
}

impl<'a> Decade<'a> {
    async fn begin(
        state: &'a AppState,
        time: &'a Arc<AtomicI64>,
        extent: Extent,
    ) -> Result<Decade<'a>, AppError> {
        let site = situation::now(state).await?;
        let people = everybody(&state.db.read).await?;
        let of = |role: Role| {
            let found = people.iter().find(|it| it.role == role);
            found
                .map(|it| Person {
                    id: it.id,
                    name: it.name.clone(),
                    role: it.role,
                })
                .ok_or_else(|| AppError::internal(format!("nobody is {role}")))
        };
        let approved = site.recipes.iter();
        let approved = approved.filter(|it| it.state == RecipeState::Approved);
        let jobs = approved.filter_map(|recipe| {
            let part = site.parts.iter().find(|it| it.code == recipe.part)?;
            Some(Job {
                asset: part.assets.first()?.clone(),
                part: part.code.clone(),
                part_name: part.name.clone(),
                recipe: recipe.clone(),
            })
        });
        let mut reading = state.db.read.acquire().await?;
        let powders = rows(&mut reading, "select code, id from powder").await?;
        let tools = rows(&mut reading, "select code, id from tool order by code").await?;
        let code = |code: String| code.parse().map_err(AppError::internal);
        Ok(Decade {
            state,
            time,
            extent,
            rng: Rng::with_seed(extent.seed),
            lead: of(Role::Lead)?,
            checker: of(Role::Checker)?,
            crew: of(Role::Crew)?,
            jobs: jobs.collect(),
            banks: site.banks.iter().map(|it| it.code.clone()).collect(),
            powders: powders
                .into_iter()
                .map(|(text, id)| Ok((code(text)?, id)))
                .collect::<Result<_, AppError>>()?,
            tools,
            stock: BTreeMap::new(),
            feeder: Feeder::default(),
            requests: 1_000,
            builds: 0,
            lots: 0,
            movements: 0,
            counts: 0,
            loads: 0,
            coupons: 0,
            calibrations: 0,
        })
    }

    /// One to three parts of one kind, from their requests until they are fitted; before them what powder and cell
    /// ask for.
    async fn campaign(&mut self) -> Result<(), AppError> {
        self.supply().await?;
        if self.builds % 60 < 3 {
            self.fit_nozzle().await?;
        }
        if self.builds % 40 < 3 {
            self.count().await?;
        }
        if self.builds * self.extent.days / self.extent.builds >= self.tools_due() {
            self.calibrate().await?;
        }
        self.read_gauges().await?;
        let job = self.rng.usize(0..self.jobs.len());
        let mut parts = Vec::new();
        for _ in 0..self.rng.usize(1..=3) {
            parts.push(self.file(job).await?);
        }
        for at in 0..self.jobs[job].recipe.operations.len() {
            self.operation(job, &parts, at).await?;
        }
        Ok(())
    }

    /// Three requests whose parts are blasted and masked by the end.
    async fn leave_begun(&mut self) -> Result<(), AppError> {
        for _ in 0..3 {
            let job = self.rng.usize(0..self.jobs.len());
            let part = self.file(job).await?;
            let stages = self.jobs[job].recipe.operations.iter();
            let before = stages.take_while(|it| it.spray.is_none()).count();
            for at in 0..before {
                self.operation(job, std::slice::from_ref(&part), at).await?;
            }
        }
        Ok(())
    }

    /// A change by somebody, a few minutes after the one before.
    async fn act(&mut self, by: Role) -> Result<Change, AppError> {
        let pass = (self.extent.pace_min() / 40).max(1) * 60_000;
        self.time.fetch_add(pass, Ordering::SeqCst);
        let id = self.person(by).id;
        Change::begin(self.state, Actor::Person(id)).await
    }

    fn person(&self, role: Role) -> &Person {
        match role {
            Role::Lead => &self.lead,
            Role::Checker => &self.checker,
            _ => &self.crew,
        }
    }

    fn now(&self) -> i64 {
        self.time.load(Ordering::SeqCst)
    }

    /// So much, give or take so many thousandths of it.
    fn about(&mut self, mean: i64, permille: i64) -> i64 {
        let off = mean * permille / 1_000;
        self.rng.i64(mean - off..=mean + off)
    }

    /// Journals what somebody signs, with the row of the signature.
    async fn signed(
        &self,
        change: &mut Change,
        (kind, meaning): (&str, mendpost_core::signature::Meaning),
        subject: Subject,
        mut content: Value,
        by: Role,
    ) -> Result<i64, AppError> {
        let person = self.person(by);
        content["signatures"] = json!([{
            "meaning": meaning,
            "statement": meaning.statement(),
            "person": person.id,
            "printed_name": person.name,
            "role": person.role,
            "how": "demonstration",
        }]);
        let entry = change.journal(kind, subject.clone(), content).await?;
        let now = change.now();
        sqlx::query(
            "insert into signature (id, meaning, statement, subject_kind, subject_id, person_id, printed_name, role, how,
               signed_ms, journal_sequence)
             values (?, ?, ?, ?, ?, ?, ?, ?, 'demonstration', ?, ?)",
        )
        .bind(Uuid::now_v7())
        .bind(meaning.as_str())
        .bind(meaning.statement())
        .bind(subject.kind)
        .bind(subject.id)
        .bind(person.id)
        .bind(&person.name)
        .bind(person.role.as_str())
        .bind(now)
        .bind(entry)
        .execute(change.connection())
        .await?;
        Ok(entry)
    }
}

/// Code and id of each row.
async fn rows(
    connection: &mut SqliteConnection,
    query: &'static str,
) -> Result<Vec<(String, Uuid)>, AppError> {
    Ok(sqlx::query_as(query).fetch_all(connection).await?)
}
