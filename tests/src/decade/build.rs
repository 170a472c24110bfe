//! One build: powder drawn, begun, sprayed with its stops and readings, ended and weighed.

use mendpost_core::build::{Cause, Mark};
use mendpost_core::catalogue::Spray;
use mendpost_core::code::LotCode;
use mendpost_core::journal::Subject;
use mendpost_core::people::Role;
use mendpost_core::powder::Reason;
use mendpost_core::powder::book::{Place, take};
use mendpost_core::quantity::Milligrams;
use mendpost_server::book::{self, Line, movement};
use mendpost_server::build::queries::{New, insert};
use mendpost_server::catalogue::queries::{NewWeighed, enter as enter_weighed};
use mendpost_server::change::Change;
use mendpost_server::error::AppError;
use mendpost_server::requests::{Named, decide};
use serde_json::json;
use uuid::Uuid;

use super::Decade;
use super::part::{Done, position};
use super::stock::line;

/// What was weighed at the end of a build, in milligrams.
#[derive(Clone, Copy)]
struct Weighed {
    part: i64,
    coupon: i64,
    fed: i64,
    left: i64,
    swept: i64,
    /// Swept up and weighed with the rest.
    at_once: bool,
    scrapped: bool,
}

impl Weighed {
    const fn outcome(self) -> &'static str {
        if self.scrapped { "scrapped" } else { "done" }
    }

    /// Two divisions, and so many thousandths of what was drawn.
    const fn line_mg(self, permille: i64) -> i64 {
        2 * DIVISION_MG + (self.fed + self.left) * permille / 1_000
    }
}

/// The scale's division.
const DIVISION_MG: i64 = 10_000;
/// Every build is planned to take so long.
const PLANNED_MIN: i64 = 30;
/// Two builds in a hundred are scrapped.
const SCRAPPED: i64 = 2;

impl Decade<'_> {
    /// Sprays a stage; whether it was good.
    pub(super) async fn build(
        &mut self,
        job: usize,
        part: &Named,
        at: usize,
    ) -> Result<bool, AppError> {
        let recipe = &self.jobs[job].recipe;
        let Some(spray) = recipe.operations[at].spray.clone() else {
            return Err(AppError::internal("a stage without its spraying"));
        };
        let stuck = self.about(spray.efficiency_permille, 60);
        let part_mg = spray.deposited_g * 1_000;
        let beside = (spray.start_stop_loss_g + spray.coupon_g) * 1_000;
        let fed = part_mg * 1_000 / stuck + beside;
        let heel = self.about(100_000, 500);
        self.fill(&spray.powder, fed + heel).await?;
        self.builds += 1;
        let (number, id) = self.begin_build(job, part, at, fed / 1_000).await?;
        self.marks(number, id, &spray).await?;
        let coupon = (spray.coupon_g * 400).min(fed / 10);
        let weighed = Weighed {
            part: part_mg,
            coupon,
            fed,
            left: self.feeder.held() - fed,
            swept: (fed - part_mg - coupon) * self.rng.i64(940..=995) / 1_000,
            at_once: self.rng.i64(0..100) < 70,
            scrapped: self.rng.i64(0..100) < SCRAPPED,
        };
        self.end_build((job, part, at), (number, id), weighed)
            .await?;
        Ok(!weighed.scrapped)
    }

    async fn begin_build(
        &mut self,
        job: usize,
        part: &Named,
        at: usize,
        planned_g: i64,
    ) -> Result<(i64, Uuid), AppError> {
        let number = self.builds;
        let bank = self.rng.choice(&self.banks).cloned();
        let mut change = self.act(Role::Crew).await?;
        let recipe = &self.jobs[job].recipe;
        let lots: Vec<&str> = self
            .feeder
            .lots
            .iter()
            .map(|(lot, _)| lot.as_str())
            .collect();
        let new = New {
            request: part.id,
            recipe: recipe.code.as_str(),
            revision: recipe.revision,
            position: position(at),
            planned_min: PLANNED_MIN,
            reckoned_min: PLANNED_MIN,
            planned_g,
            line_up: None,
            lots: lots.join(" "),
            bank: bank.as_ref().map(|it| it.as_str()),
        };
        let content = json!({
            "request": format!("R{}", part.number),
            "recipe": new.recipe,
            "revision": new.revision,
            "position": new.position,
            "planned_min": new.planned_min,
            "planned_g": new.planned_g,
            "lots": lots,
            "bank": new.bank,
            "in_feeder_mg": self.feeder.held(),
        });
        let subject = Subject::new("build", number);
        let entry = change.journal("build.begun", subject, content).await?;
        insert(&mut change, number, &new, entry).await?;
        let id = sqlx::query_scalar("select id from build where number = ?")
            .bind(number)
            .fetch_one(change.connection())
            .await?;
        change.commit().await?;
        Ok((number, id))
    }

    /// Spraying, readings, a stop now and then, a deviation seldom.
    async fn marks(&mut self, number: i64, id: Uuid, spray: &Spray) -> Result<(), AppError> {
        self.mark(number, id, Mark::Spray, 1).await?;
        self.read(number, id, spray).await?;
        for pass in 0..self.rng.i64(0..3) {
            let cause = match self.rng.i64(0..10) {
                0 => Cause::Clog,
                1 => Cause::Feeder,
                2..6 => Cause::Powder,
                _ => Cause::Measure,
            };
            self.mark(number, id, Mark::Stop(cause), 3 * pass + 3)
                .await?;
            self.mark(number, id, Mark::Spray, 3 * pass + 4).await?;
            self.read(number, id, spray).await?;
        }
        if self.rng.i64(0..100) > 0 {
            return Ok(());
        }
        let mut change = self.act(Role::Crew).await?;
        let words = "stand-off 45 mm, the clamp was in the way";
        let subject = Subject::new("build", number);
        let content = json!({ "words": words });
        let entry = change.journal("build.deviated", subject, content).await?;
        let now = change.now();
        sqlx::query(
            "insert into build_deviation (journal_sequence, build_id, words, at_ms, done_by, person_id)
             values (?, ?, ?, ?, ?, ?)",
        )
        .bind(entry)
        .bind(id)
        .bind(words)
        .bind(now)
        .bind(&self.crew.name)
        .bind(self.crew.id)
        .execute(change.connection())
        .await?;
        change.commit().await
    }

    async fn mark(&mut self, number: i64, id: Uuid, mark: Mark, pass: i64) -> Result<(), AppError> {
        let (kind, what, cause) = match mark {
            Mark::Spray => ("build.sprays", "spray", None),
            Mark::Stop(cause) => ("build.stopped", "stop", Some(cause)),
        };
        let note = match cause {
            Some(cause) if cause.is_fault() => "parked at the end of the pass, put right",
            _ => "",
        };
        let mut change = self.act(Role::Crew).await?;
        let content = json!({ "cause": cause, "pass": pass, "note": note });
        let entry = change
            .journal(kind, Subject::new("build", number), content)
            .await?;
        let now = change.now();
        sqlx::query(
            "insert into build_mark (journal_sequence, build_id, what, cause, pass, note, at_ms, done_by, person_id)
             values (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        )
        .bind(entry)
        .bind(id)
        .bind(what)
        .bind(cause.map(Cause::as_str))
        .bind(pass)
        .bind(note)
        .bind(now)
        .bind(&self.crew.name)
        .bind(self.crew.id)
        .execute(change.connection())
        .await?;
        change.commit().await
    }

    async fn read(&mut self, number: i64, id: Uuid, spray: &Spray) -> Result<(), AppError> {
        let read = [
            ("pressure", self.about(spray.pressure_mbar, 20)),
            ("temperature", self.about(spray.temperature_c * 1_000, 10)),
            ("oxygen", 209),
        ];
        let mut change = self.act(Role::Crew).await?;
        let values: serde_json::Map<_, _> = read
            .iter()
            .map(|(what, value)| ((*what).to_owned(), json!(value)))
            .collect();
        let content = json!({ "pass": null, "read": values });
        let subject = Subject::new("build", number);
        let entry = change.journal("build.read", subject, content).await?;
        let now = change.now();
        for (what, value) in read {
            sqlx::query(
                "insert into build_reading (journal_sequence, build_id, what, value, at_ms, done_by, person_id)
                 values (?, ?, ?, ?, ?, ?, ?)",
            )
            .bind(entry)
            .bind(id)
            .bind(what)
            .bind(value)
            .bind(now)
            .bind(&self.crew.name)
            .bind(self.crew.id)
            .execute(change.connection())
            .await?;
        }
        change.commit().await
    }

    async fn end_build(
        &mut self,
        (job, part, at): (usize, &Named, usize),
        (number, id): (i64, Uuid),
        weighed: Weighed,
    ) -> Result<(), AppError> {
        let mut change = self.act(Role::Crew).await?;
        let now = change.now();
        let (sprayed, coupons) = (Place::Build(number), Place::Coupon(number));
        let mut in_build = self.feeder.take(weighed.fed)?;
        let way = |shares: &[(_, Milligrams)], from: &Place, to: &Place, reason| -> Vec<Line<'_>> {
            let shares = shares.iter();
            let lines = shares.map(|(lot, mass): &(_, Milligrams)| {
                line(movement(lot, from.clone(), to.clone(), mass.0, reason), now)
            });
            lines.collect()
        };
        let mut lines = way(&in_build, &Place::Feeder, &sprayed, Reason::Spray);
        let fed_lots: Vec<_> = in_build.iter().map(|(lot, _)| lot.clone()).collect();
        let on_coupons = take(&mut in_build, Milligrams(weighed.coupon));
        let on_coupons = on_coupons.map_err(AppError::internal)?;
        lines.extend(way(&on_coupons, &sprayed, &coupons, Reason::Coupon));
        let swept = take(&mut in_build, Milligrams(weighed.swept)).map_err(AppError::internal)?;
        let swept = way(&swept, &sprayed, &Place::Waste, Reason::Sweep);
        self.movements += i64::try_from(lines.len() + swept.len()).unwrap_or(0);
        if weighed.at_once {
            lines.extend(swept.clone());
        }
        let content = json!({
            "request": format!("R{}", part.number),
            "outcome": weighed.outcome(),
            "part_mg": weighed.part,
            "coupon_mg": weighed.coupon,
            "left_mg": weighed.left,
            "fed_mg": weighed.fed,
            "swept_mg": weighed.at_once.then_some(weighed.swept),
            "division_mg": DIVISION_MG,
            "watch_mg": weighed.line_mg(10),
            "stop_mg": weighed.line_mg(30),
            "note": "",
        });
        let subject = || Subject::new("build", number);
        let entry = book::record(&mut change, "build.finished", subject(), content, &lines).await?;
        self.keep_end(change.connection(), (id, entry, now), weighed)
            .await?;
        if weighed.at_once {
            self.keep_swept(change.connection(), (id, entry, now), weighed.swept)
                .await?;
        }
        if weighed.scrapped {
            let told = ("scrapped", "peeled off at the edge");
            let more = json!({ "build": number });
            decide(&mut change, part, told, &self.crew.name, more).await?;
        } else {
            let done = Done {
                job,
                part,
                at,
                by: Role::Crew,
                note: "",
            };
            self.insert(change.connection(), &done, now, entry).await?;
            self.took(&mut change, &done, PLANNED_MIN, entry).await?;
            self.learn(&mut change, &done, weighed, &fed_lots).await?;
        }
        change.commit().await?;
        if !weighed.at_once {
            let mut change = self.act(Role::Crew).await?;
            let now = change.now();
            let content = json!({ "swept_mg": weighed.swept });
            let entry =
                book::record(&mut change, "build.swept", subject(), content, &swept).await?;
            self.keep_swept(change.connection(), (id, entry, now), weighed.swept)
                .await?;
            change.commit().await?;
        }
        Ok(())
    }

    async fn keep_end(
        &self,
        connection: &mut sqlx::SqliteConnection,
        (build, entry, now): (Uuid, i64, i64),
        weighed: Weighed,
    ) -> Result<(), AppError> {
        sqlx::query(
            "insert into build_end (build_id, journal_sequence, ended_ms, outcome, part_mg, coupon_mg, left_mg, fed_mg,
               division_mg, watch_mg, stop_mg, note, done_by, person_id)
             values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, '', ?, ?)",
        )
        .bind(build)
        .bind(entry)
        .bind(now)
        .bind(weighed.outcome())
        .bind(weighed.part)
        .bind(weighed.coupon)
        .bind(weighed.left)
        .bind(weighed.fed)
        .bind(DIVISION_MG)
        .bind(weighed.line_mg(10))
        .bind(weighed.line_mg(30))
        .bind(&self.crew.name)
        .bind(self.crew.id)
        .execute(connection)
        .await?;
        Ok(())
    }

    /// What the recipe learns of it.
    async fn learn(
        &self,
        change: &mut Change,
        done: &Done<'_>,
        weighed: Weighed,
        lots: &[LotCode],
    ) -> Result<(), AppError> {
        let recipe = &self.jobs[done.job].recipe;
        let beside = recipe.operations[done.at].spray.as_ref();
        let beside = beside.map_or(0, |it| it.start_stop_loss_g + it.coupon_g);
        let new = NewWeighed {
            recipe: recipe.code.as_str(),
            revision: recipe.revision,
            position: position(done.at),
            fed_mg: weighed.fed - beside * 1_000,
            deposited_mg: weighed.part,
            lot: match lots {
                [only] => Some(only.as_str()),
                _ => None,
            },
            throat_um: 2_000,
            request: Some(done.part.number),
            built_ms: change.now(),
            by: &self.crew.name,
            note: &format!("build {}", self.builds),
        };
        enter_weighed(change, &new).await?;
        Ok(())
    }

    async fn keep_swept(
        &self,
        connection: &mut sqlx::SqliteConnection,
        (build, entry, now): (Uuid, i64, i64),
        mg: i64,
    ) -> Result<(), AppError> {
        sqlx::query(
            "insert into build_swept (build_id, journal_sequence, swept_mg, at_ms, done_by, person_id)
             values (?, ?, ?, ?, ?, ?)",
        )
        .bind(build)
        .bind(entry)
        .bind(mg)
        .bind(now)
        .bind(&self.crew.name)
        .bind(self.crew.id)
        .execute(connection)
        .await?;
        Ok(())
    }
}
