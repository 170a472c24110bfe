//! Powder: lots that come and are released, what is poured into the feeder and out of it, and counts.

use std::collections::VecDeque;

use chrono::Duration;
use mendpost_core::code::{ContainerCode, LotCode, PowderCode};
use mendpost_core::journal::Subject;
use mendpost_core::people::Role;
use mendpost_core::powder::book::{Place, take};
use mendpost_core::powder::certificate::{Certificate, Within};
use mendpost_core::powder::{DateKind, Lot, LotState, Reason, Seal};
use mendpost_core::quantity::Milligrams;
use mendpost_core::signature::Meaning;
use mendpost_server::book::{self, Line, movement};
use mendpost_server::error::AppError;
use mendpost_server::feeder::queries::{insert_emptied, insert_seal, set_residue};
use mendpost_server::seed::{AsItCame, Keeping, SeedContainer, SeedLot, Whence, enter_lot};
use mendpost_server::situation;
use serde_json::json;
use uuid::Uuid;

use super::Decade;

/// Containers of one powder, in the order in which they are used, and what builds took of it in all.
#[derive(Default)]
pub(super) struct Stock {
    cans: VecDeque<Can>,
    used_mg: i64,
}

struct Can {
    id: Uuid,
    code: ContainerCode,
    lot: LotCode,
    held: i64,
    opened: bool,
}

/// What lies in the feeder, and with which powder it is dirty.
#[derive(Default)]
pub(super) struct Feeder {
    pub lots: Vec<(LotCode, Milligrams)>,
    pub residue: Option<PowderCode>,
}

impl Feeder {
    pub fn held(&self) -> i64 {
        self.lots.iter().map(|(_, mass)| mass.0).sum()
    }

    /// What goes out, of each lot as its share is.
    pub fn take(&mut self, mg: i64) -> Result<Vec<(LotCode, Milligrams)>, AppError> {
        let taken = take(&mut self.lots, Milligrams(mg)).map_err(AppError::internal)?;
        self.lots.retain(|(_, mass)| mass.0 > 0);
        Ok(taken)
    }
}

impl Stock {
    fn held(&self) -> i64 {
        self.cans.iter().map(|can| can.held).sum()
    }
}

/// So much fits into a container.
const CAN_MG: i64 = 20_000_000;
/// Every so many lots one comes that is used for a long time.
const LARGE_EVERY: i64 = 90;

impl Decade<'_> {
    /// Lots come as builds go on, each of the powder of which the least is there.
    pub(super) async fn supply(&mut self) -> Result<(), AppError> {
        while self.lots * self.extent.builds < (self.builds + 1) * self.extent.lots {
            let jobs = &self.jobs;
            let stages = jobs.iter().flat_map(|it| &it.recipe.operations);
            let powders = stages.filter_map(|it| it.spray.as_ref().map(|spray| &spray.powder));
            let least = powders.min_by_key(|powder| {
                let stock = self.stock.get(*powder);
                let (held, used) = stock.map_or((0, 0), |it| (it.held(), it.used_mg));
                held * 1_000 / (used / 1_000 + 1)
            });
            let Some(powder) = least.cloned() else {
                return Ok(());
            };
            self.receive(&powder).await?;
        }
        Ok(())
    }

    /// A lot of what builds take while the next lots of other powders come, in containers, and its release.
    async fn receive(&mut self, powder: &PowderCode) -> Result<(), AppError> {
        self.lots += 1;
        let code: LotCode = parsed(&format!("L{}", 1_000 + self.lots))?;
        let share = self.extent.builds / self.extent.lots.max(1);
        // What one build takes of it on the average; at the begin nobody knows, and a lot is small.
        let of_one = self.stock.get(powder).map_or(0, |it| it.used_mg) / (self.builds + share);
        // Lots of every powder come in turn, and last until the next one of theirs.
        let until_next = of_one * share * i64::try_from(self.powders.len()).unwrap_or(1);
        let times = if self.lots % LARGE_EVERY == 1 { 12 } else { 2 };
        let held = self.stock.get(powder).map_or(0, Stock::held);
        let mass = self.about((until_next * times - held).max(CAN_MG), 300);
        let mut change = self.act(Role::Crew).await?;
        let lot = lot(&code, powder, mass, change.now())?;
        let by = &self.crew.name;
        let whence = Whence { by, receipt: None };
        enter_lot(&mut change, &lot, None, self.powders[powder], whence).await?;
        let mut cans = Vec::new();
        for can in &lot.containers {
            let id = sqlx::query_scalar("select id from container where code = ?")
                .bind(can.code.as_str())
                .fetch_one(change.connection())
                .await?;
            cans.push(Can {
                id,
                code: can.code.clone(),
                lot: code.clone(),
                held: can.received.0,
                opened: false,
            });
        }
        change.commit().await?;
        self.movements += i64::try_from(cans.len()).unwrap_or(0);
        let stock = self.stock.entry(powder.clone()).or_default();
        stock.cans.extend(cans);
        let mut change = self.act(Role::Lead).await?;
        let of = ("lot.released", Meaning::Release);
        let content = json!({ "before": "quarantine", "findings": [] });
        self.signed(
            &mut change,
            of,
            Subject::new("lot", &code),
            content,
            Role::Lead,
        )
        .await?;
        sqlx::query("update lot set state = 'released', state_note = '' where code = ?")
            .bind(code.as_str())
            .execute(change.connection())
            .await?;
        change.commit().await
    }

    /// Pours until the feeder holds so much, in as many goes as the number of movements asks for.
    pub(super) async fn fill(&mut self, powder: &PowderCode, mg: i64) -> Result<(), AppError> {
        if self.feeder.residue.as_ref().is_some_and(|it| it != powder) {
            self.empty_feeder().await?;
        }
        let behind =
            (self.builds + 1) * self.extent.movements / self.extent.builds - self.movements;
        let goes = (behind - 4).clamp(1, 12);
        let one = (mg - self.feeder.held()).max(0) / goes + 1;
        while self.feeder.held() < mg {
            let short = self.stock.get(powder).is_none_or(|it| it.cans.is_empty());
            if short {
                self.receive(powder).await?;
            }
            self.pour(powder, one).await?;
        }
        Ok(())
    }

    /// Pours from the container that is used next, at most what it holds.
    async fn pour(&mut self, powder: &PowderCode, mg: i64) -> Result<(), AppError> {
        let mut change = self.act(Role::Crew).await?;
        let now = change.now();
        let stock = self.stock.entry(powder.clone()).or_default();
        let Some(can) = stock.cans.front_mut() else {
            return Err(AppError::internal("poured from nothing"));
        };
        let mass = mg.min(can.held);
        let from = Place::Container(can.code.clone());
        let moved = movement(&can.lot, from, Place::Feeder, mass, Reason::Draw);
        let content = json!({
            "container": can.code,
            "for": "trial",
            "before_mg": can.held + 1_000_000,
            "after_mg": can.held + 1_000_000 - mass,
            "division_mg": 10_000,
            "opened_ms": now,
            "closed": true,
            "in_spite_of": [],
            "reason": "",
        });
        let subject = Subject::new("lot", &can.lot);
        let lines = [line(moved, now)];
        let entry = book::record(&mut change, "powder.drawn", subject, content, &lines).await?;
        insert_seal(change.connection(), can.id, now, true, entry).await?;
        insert_seal(change.connection(), can.id, now, false, entry).await?;
        set_residue(change.connection(), Some(powder)).await?;
        change.commit().await?;
        can.held -= mass;
        can.opened = true;
        let lot = can.lot.clone();
        match self.feeder.lots.iter_mut().find(|(of, _)| *of == lot) {
            Some((_, held)) => held.0 += mass,
            None => self.feeder.lots.push((lot, Milligrams(mass))),
        }
        self.feeder.lots.sort();
        self.feeder.residue = Some(powder.clone());
        stock.used_mg += mass;
        stock.cans.retain(|can| can.held > 0);
        self.movements += 1;
        Ok(())
    }

    /// What is left in the feeder goes to waste, and it is cleaned.
    pub(super) async fn empty_feeder(&mut self) -> Result<(), AppError> {
        let mut change = self.act(Role::Crew).await?;
        let now = change.now();
        let there = book::queries::feeder(change.connection()).await?;
        let lines: Vec<Line<'_>> = there
            .iter()
            .map(|it| {
                let to = Place::Waste;
                let moved = movement(&it.lot, Place::Feeder, to, it.mass.0, Reason::WriteOff);
                line(moved, now)
            })
            .collect();
        let held = book::queries::total(&there);
        let content = json!({ "waste_mg": held, "book_mg": held, "clean": true, "reason": "" });
        let subject = Subject::new("cell", "feeder");
        let entry = book::record(&mut change, "feeder.emptied", subject, content, &lines).await?;
        insert_emptied(change.connection(), now, true, entry).await?;
        set_residue(change.connection(), None).await?;
        self.movements += i64::try_from(lines.len()).unwrap_or(0);
        change.commit().await?;
        self.feeder = Feeder::default();
        Ok(())
    }

    /// Every container that stands open is weighed, and the book says what was found.
    pub(super) async fn count(&mut self) -> Result<(), AppError> {
        let mut found = Vec::new();
        for stock in self.stock.values_mut() {
            for can in stock.cans.iter_mut().filter(|can| can.opened) {
                let book = can.held;
                can.held = (book + self.rng.i64(-6..=4) * 1_000).max(1_000);
                found.push((can.id, can.code.clone(), can.lot.clone(), book, can.held));
            }
        }
        if found.is_empty() {
            return Ok(());
        }
        self.counts += 1;
        let (number, id) = (self.counts, Uuid::now_v7());
        let subject = || Subject::new("count", number);
        let mut change = self.act(Role::Lead).await?;
        let codes: Vec<_> = found.iter().map(|(_, code, ..)| code).collect();
        let content = json!({ "scope": "due", "containers": codes });
        let entry = change.journal("count.begun", subject(), content).await?;
        let now = change.now();
        sqlx::query("insert into stock_count (id, number, scope, begun_ms, begun_by, journal_sequence) values (?, ?, 'due', ?, ?, ?)")
            .bind(id)
            .bind(number)
            .bind(now)
            .bind(&self.lead.name)
            .bind(entry)
            .execute(change.connection())
            .await?;
        for (container, ..) in &found {
            sqlx::query("insert into stock_count_container (count_id, container_id) values (?, ?)")
                .bind(id)
                .bind(container)
                .execute(change.connection())
                .await?;
        }
        change.commit().await?;
        self.weigh(id, number, &found).await?;
        let mut change = self.act(Role::Lead).await?;
        let now = change.now();
        let gaps = found.iter().filter(|(.., book, held)| book != held);
        let lines: Vec<Line<'_>> = gaps
            .map(|(_, code, lot, book, held)| {
                let place = Place::Container(code.clone());
                let (from, to) = match held > book {
                    true => (Place::Gap, place),
                    false => (place, Place::Gap),
                };
                line(
                    movement(lot, from, to, (held - book).abs(), Reason::Count),
                    now,
                )
            })
            .collect();
        let moved = book::moved(&lines);
        let content = json!({ "reason": "within what scales allow", "moved": moved });
        let of = ("count.posted", Meaning::Adjust);
        let entry = self
            .signed(&mut change, of, subject(), content, Role::Lead)
            .await?;
        book::enter(&mut change, &lines, entry).await?;
        sqlx::query("insert into stock_count_posted (count_id, journal_sequence) values (?, ?)")
            .bind(id)
            .bind(entry)
            .execute(change.connection())
            .await?;
        self.movements += i64::try_from(lines.len()).unwrap_or(0);
        change.commit().await
    }

    async fn weigh(
        &mut self,
        count: Uuid,
        number: i64,
        found: &[(Uuid, ContainerCode, LotCode, i64, i64)],
    ) -> Result<(), AppError> {
        let mut change = self.act(Role::Crew).await?;
        let now = change.now();
        let told = found.iter().map(
            |(_, code, _, book, held)| json!({ "container": code, "found_mg": held, "book_mg": book }),
        );
        let content = json!({ "found": told.collect::<Vec<_>>() });
        let subject = Subject::new("count", number);
        let entry = change.journal("count.found", subject, content).await?;
        for (container, _, _, book, held) in found {
            sqlx::query(
                "insert into stock_count_found (journal_sequence, count_id, container_id, found_mg, book_mg, drawn_mg, at_ms,
                   found_by, person_id)
                 values (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            )
            .bind(entry)
            .bind(count)
            .bind(container)
            .bind(held)
            .bind(book)
            .bind(1_000_000)
            .bind(now)
            .bind(&self.crew.name)
            .bind(self.crew.id)
            .execute(change.connection())
            .await?;
        }
        change.commit().await
    }
}

/// A lot as it comes, in quarantine, with its certificate.
fn lot(code: &LotCode, powder: &PowderCode, mg: i64, now_ms: i64) -> Result<SeedLot, AppError> {
    let now = situation::moment(now_ms).map_err(AppError::internal)?;
    let mut containers = Vec::new();
    let mut left = mg;
    while left > 0 {
        let mass = left.min(CAN_MG);
        left -= mass;
        containers.push(SeedContainer {
            code: parsed(&format!("{code}-{}", containers.len() + 1))?,
            received: Milligrams(mass),
            used: Milligrams(0),
            opened_at: None,
            as_it_came: AsItCame {
                seal: format!("S{code}{}", containers.len()),
                seal_state: Some(Seal::Whole),
                gross: Some(Milligrams(mass + 1_000_000)),
                tare: Some(Milligrams(1_000_000)),
                damage: String::new(),
            },
        });
    }
    let maker_lot = format!("M-{code}");
    Ok(SeedLot {
        lot: Lot {
            code: code.clone(),
            powder: powder.clone(),
            state: LotState::Quarantine,
            state_note: String::new(),
            on_hand: Milligrams(mg),
            use_by: Some(now + Duration::days(900)),
            opened: false,
        },
        certificate: Some(Certificate {
            maker: "Powder mill".to_owned(),
            maker_lot: maker_lot.clone(),
            number: format!("C-{code}"),
            dated: Some(now.date_naive()),
            specification: "PS-07".to_owned(),
            revision: "A".to_owned(),
            sizes: [Some(15_000), Some(30_000), Some(46_000)],
            statement: "within the specification".to_owned(),
            ..Certificate::default()
        }),
        maker_lot,
        received_at: now,
        keeping: Keeping {
            made_on: None,
            date_kind: DateKind::UseBy,
            storage: "cabinet".to_owned(),
            humidity: Within::default(),
        },
        containers,
    })
}

/// A movement that needs no word.
pub(super) fn line<'a>(movement: mendpost_core::powder::book::Movement, at_ms: i64) -> Line<'a> {
    Line {
        movement,
        note: "",
        at_ms,
    }
}

fn parsed<T: std::str::FromStr>(text: &str) -> Result<T, AppError>
where
    T::Err: std::error::Error + Send + Sync + 'static,
{
    text.parse().map_err(AppError::internal)
}
