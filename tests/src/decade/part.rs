//! A request: filed, sorted, and taken through the operations of its recipe.

use mendpost_core::catalogue::{OperationKind, Timed};
use mendpost_core::finish::cycle;
use mendpost_core::journal::Subject;
use mendpost_core::people::Role;
use mendpost_core::signature::Meaning;
use mendpost_core::situation::Way;
use mendpost_server::change::Change;
use mendpost_server::error::AppError;
use mendpost_server::pace::{self, Took};
use mendpost_server::requests::{Named, decide, insert_way, named};
use serde_json::{Value, json};
use sqlx::SqliteConnection;
use uuid::Uuid;

use super::Decade;

/// What is done of a request, as its entry says it.
pub(super) struct Done<'a> {
    pub job: usize,
    pub part: &'a Named,
    /// Place of the operation, from 0.
    pub at: usize,
    pub by: Role,
    pub note: &'a str,
}

impl Decade<'_> {
    /// Files a request for a part, and sorts it to its recipe.
    pub(super) async fn file(&mut self, job: usize) -> Result<Named, AppError> {
        self.requests += 1;
        let number = self.requests;
        let code = format!("R{number}");
        let mut change = self.act(Role::Crew).await?;
        let now = change.now();
        let it = &self.jobs[job];
        let content = json!({
            "number": number,
            "asset": it.asset,
            "part": it.part,
            "part_name": it.part_name,
            "damage": "worn",
            "description": "worn beyond its limit",
            "asked_by": "Works foreman",
            "reported_by": self.crew.name,
            "recipes": [it.recipe.code],
        });
        let subject = Subject::new("request", &code);
        change.journal("request.filed", subject, content).await?;
        sqlx::query(
            "insert into request (id, number, asset_id, part_id, part_name, damage, description, reported_ms, reported_by,
               asked_by, danger, tag, mass_g, state)
             select ?, ?, a.id, p.id, p.name, 'worn', 'worn beyond its limit', ?, ?, 'Works foreman', 0, ?, p.mass_g, 'open'
             from asset a, part p where a.code = ? and p.code = ?",
        )
        .bind(Uuid::now_v7())
        .bind(number)
        .bind(now)
        .bind(&self.crew.name)
        .bind(format!("T{number}"))
        .bind(it.asset.as_str())
        .bind(it.part.as_str())
        .execute(change.connection())
        .await?;
        let request = named(change.connection(), &number.to_string()).await?;
        change.commit().await?;
        let mut change = self.act(Role::Lead).await?;
        let recipe = self.jobs[job].recipe.code.clone();
        let reason = format!("rebuilt by {recipe}");
        let way = Way::Recipe(recipe);
        insert_way(change.connection(), request.id, 1, &way, None, "").await?;
        let told = ("sorted", reason.as_str());
        decide(&mut change, &request, told, &self.lead.name, json!({})).await?;
        change.commit().await?;
        Ok(request)
    }

    /// One operation of each part of a campaign.
    pub(super) async fn operation(
        &mut self,
        job: usize,
        parts: &[Named],
        at: usize,
    ) -> Result<(), AppError> {
        let recipe = &self.jobs[job].recipe;
        let kind = recipe.operations[at].kind;
        if kind == OperationKind::HeatTreat && cycle(recipe, at).is_some() {
            return self.heat(job, parts, at).await;
        }
        for part in parts {
            match kind {
                OperationKind::Spray => self.spray(job, part, at).await?,
                OperationKind::CrackCheck => self.look_for_cracks(job, part, at).await?,
                OperationKind::Measure => self.measure(job, part, at).await?,
                OperationKind::Release => self.release(job, part, at).await?,
                _ => self.plain(job, part, at).await?,
            }
        }
        Ok(())
    }

    /// Sprays until a piece is good: after one that is scrapped the part begins anew.
    async fn spray(&mut self, job: usize, part: &Named, at: usize) -> Result<(), AppError> {
        while !self.build(job, part, at).await? {
            for before in 0..at {
                match self.jobs[job].recipe.operations[before].kind {
                    OperationKind::Spray => drop(self.build(job, part, before).await?),
                    _ => self.plain(job, part, before).await?,
                }
            }
        }
        if self.rng.i64(0..100) < 40 {
            self.test_coupon(part).await?;
        }
        Ok(())
    }

    /// An operation that finds nothing; after the last one the request is served.
    async fn plain(&mut self, job: usize, part: &Named, at: usize) -> Result<(), AppError> {
        let last = at + 1 == self.jobs[job].recipe.operations.len();
        let mut change = self.act(Role::Crew).await?;
        let done = Done {
            job,
            part,
            at,
            by: Role::Crew,
            note: "",
        };
        let entry = self.enter(&mut change, &done, json!({})).await?;
        let reckoned = self.jobs[job].recipe.operations[at].minutes;
        self.took(&mut change, &done, reckoned, entry).await?;
        if last {
            let told = ("served", "fitted and run");
            decide(&mut change, part, told, &self.crew.name, json!({})).await?;
        }
        change.commit().await
    }

    /// Somebody who did not build it signs that it may be fitted.
    async fn release(&mut self, job: usize, part: &Named, at: usize) -> Result<(), AppError> {
        let mut change = self.act(Role::Checker).await?;
        let done = Done {
            job,
            part,
            at,
            by: Role::Checker,
            note: "",
        };
        let content = self.content(&done, change.now());
        let of = ("request.part-released", Meaning::ReleasePart);
        let subject = Subject::new("request", format!("R{}", part.number));
        let entry = self
            .signed(&mut change, of, subject, content, Role::Checker)
            .await?;
        self.insert(change.connection(), &done, self.now(), entry)
            .await?;
        change.commit().await
    }

    /// Journals an operation as done, with what was found of it, and keeps it.
    pub(super) async fn enter(
        &self,
        change: &mut Change,
        done: &Done<'_>,
        found: Value,
    ) -> Result<i64, AppError> {
        let mut content = self.content(done, change.now());
        if let (Some(content), Value::Object(found)) = (content.as_object_mut(), found) {
            content.extend(found);
        }
        let subject = Subject::new("request", format!("R{}", done.part.number));
        let entry = change
            .journal("request.work-done", subject, content)
            .await?;
        let now = change.now();
        self.insert(change.connection(), done, now, entry).await?;
        Ok(entry)
    }

    /// Puts on record how long it took: up to a third less or more than reckoned.
    pub(super) async fn took(
        &mut self,
        change: &mut Change,
        done: &Done<'_>,
        reckoned_min: i64,
        entry: i64,
    ) -> Result<(), AppError> {
        let took_min = self.about(reckoned_min, 330);
        let recipe = &self.jobs[done.job].recipe;
        let took = Took {
            recipe: &recipe.code,
            operation: &recipe.operations[done.at],
            timed: Timed {
                reckoned_min,
                took_min,
            },
        };
        Ok(pace::record(change, &took, entry).await?)
    }

    fn content(&self, done: &Done<'_>, now: i64) -> Value {
        let recipe = &self.jobs[done.job].recipe;
        json!({
            "recipe": recipe.code,
            "revision": recipe.revision,
            "position": done.at + 1,
            "kind": recipe.operations[done.at].kind,
            "ended_ms": now,
            "note": done.note,
        })
    }

    /// Keeps an operation as done under an entry that says so.
    pub(super) async fn insert(
        &self,
        connection: &mut SqliteConnection,
        done: &Done<'_>,
        now: i64,
        entry: i64,
    ) -> Result<(), AppError> {
        let recipe = &self.jobs[done.job].recipe;
        let person = self.person(done.by);
        sqlx::query(
            "insert into work_done (journal_sequence, request_id, recipe_id, position, ended_ms, done_by, person_id, note)
             select ?, ?, id, ?, ?, ?, ?, ? from recipe where code = ? and revision = ?",
        )
        .bind(entry)
        .bind(done.part.id)
        .bind(position(done.at))
        .bind(now)
        .bind(&person.name)
        .bind(person.id)
        .bind(done.note)
        .bind(recipe.code.as_str())
        .bind(recipe.revision)
        .execute(connection)
        .await?;
        Ok(())
    }
}

/// Place of an operation, from 1.
pub(super) fn position(at: usize) -> i64 {
    i64::try_from(at + 1).unwrap_or(i64::MAX)
}
