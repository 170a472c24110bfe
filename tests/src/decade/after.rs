//! What surrounds spraying: furnace loads, cracks, sizes, coupons, nozzles, tools.

use chrono::Duration;
use mendpost_core::catalogue::OperationKind;
use mendpost_core::finish::{Calibration, cycle};
use mendpost_core::journal::Subject;
use mendpost_core::people::Role;
use mendpost_server::error::AppError;
use mendpost_server::requests::Named;
use mendpost_server::situation;
use mendpost_server::tools::queries::insert_calibration;
use serde_json::json;
use uuid::Uuid;

use super::Decade;
use super::part::{Done, position};

/// Tools are calibrated so often.
const CALIBRATED_DAYS: i64 = 365;

impl Decade<'_> {
    /// The parts of a campaign share a load of the furnace.
    pub(super) async fn heat(
        &mut self,
        job: usize,
        parts: &[Named],
        at: usize,
    ) -> Result<(), AppError> {
        let recipe = &self.jobs[job].recipe;
        let Some((station, cycle)) = cycle(recipe, at) else {
            return Ok(());
        };
        self.loads += 1;
        let number = self.loads;
        let subject = || Subject::new("furnace-load", format!("F{number}"));
        let codes: Vec<String> = parts.iter().map(|it| format!("R{}", it.number)).collect();
        let content = json!({ "parts": codes, "containers": [], "station": station, "cycle": cycle, "set_c": 250 });
        let (code, revision) = (recipe.code.clone(), recipe.revision);
        let mut change = self.act(Role::Crew).await?;
        let now = change.now();
        let entry = change.journal("furnace.opened", subject(), content).await?;
        sqlx::query(
            "insert into furnace_load (number, station_id, kind, cycle, set_c, opened_by, opened_ms, journal_sequence)
             select ?, id, 'heat', ?, 250, ?, ?, ? from station where code = ?",
        )
        .bind(number)
        .bind(&cycle)
        .bind(&self.crew.name)
        .bind(now)
        .bind(entry)
        .bind(station.as_str())
        .execute(change.connection())
        .await?;
        for part in parts {
            sqlx::query(
                "insert into furnace_part (load_number, request_id, recipe_id, position, added_by, added_ms, journal_sequence)
                 select ?, ?, id, ?, ?, ?, ? from recipe where code = ? and revision = ?",
            )
            .bind(number)
            .bind(part.id)
            .bind(position(at))
            .bind(&self.crew.name)
            .bind(now)
            .bind(entry)
            .bind(code.as_str())
            .bind(revision)
            .execute(change.connection())
            .await?;
        }
        change.commit().await?;
        let mut change = self.act(Role::Crew).await?;
        let (from, to) = (now, change.now());
        let chart = format!("CH-{number}");
        let content = json!({
            "actual_c": 251, "soak_from_ms": from, "soak_to_ms": to, "chart": chart,
            "operator": self.crew.name, "note": "",
        });
        let entry = change.journal("furnace.closed", subject(), content).await?;
        sqlx::query(
            "insert into furnace_closed (load_number, actual_c, soak_from_ms, soak_to_ms, chart, operator, note, closed_by,
               closed_ms, journal_sequence)
             values (?, 251, ?, ?, ?, ?, '', ?, ?, ?)",
        )
        .bind(number)
        .bind(from)
        .bind(to)
        .bind(&chart)
        .bind(&self.crew.name)
        .bind(&self.crew.name)
        .bind(to)
        .bind(entry)
        .execute(change.connection())
        .await?;
        let note = format!("load F{number}, chart {chart}");
        for part in parts {
            let done = Done {
                job,
                part,
                at,
                by: Role::Crew,
                note: &note,
            };
            let found = json!({ "load": number });
            let entry = self.enter(&mut change, &done, found).await?;
            sqlx::query("insert into furnace_done (journal_sequence, load_number) values (?, ?)")
                .bind(entry)
                .bind(number)
                .execute(change.connection())
                .await?;
        }
        change.commit().await
    }

    pub(super) async fn look_for_cracks(
        &mut self,
        job: usize,
        part: &Named,
        at: usize,
    ) -> Result<(), AppError> {
        let mut change = self.act(Role::Checker).await?;
        let now = change.now();
        let agent = "penetrant lot P-7";
        let done = Done {
            job,
            part,
            at,
            by: Role::Checker,
            note: "",
        };
        let found = json!({ "crack_check": { "method": "dye", "found": false, "words": "", "agent": agent } });
        let entry = self.enter(&mut change, &done, found).await?;
        sqlx::query(
            "insert into crack_check (journal_sequence, request_id, at, method, found, words, agent, looked_by, looked_ms)
             values (?, ?, 'operation', 'dye', 0, '', ?, ?, ?)",
        )
        .bind(entry)
        .bind(part.id)
        .bind(agent)
        .bind(&self.checker.name)
        .bind(now)
        .execute(change.connection())
        .await?;
        change.commit().await
    }

    /// The last measuring finds every size in the middle of its limits.
    pub(super) async fn measure(
        &mut self,
        job: usize,
        part: &Named,
        at: usize,
    ) -> Result<(), AppError> {
        let recipe = self.jobs[job].recipe.clone();
        let mut later = recipe.operations.iter().skip(at + 1);
        let is_last = later.all(|it| it.kind != OperationKind::Measure);
        let sizes = if is_last {
            recipe.sizes.as_slice()
        } else {
            &[]
        };
        let lengths: Vec<_> = self
            .tools
            .iter()
            .filter(|(code, _)| code.starts_with('M'))
            .collect();
        let Some((code, tool)) = self.rng.choice(lengths).cloned() else {
            return Err(AppError::internal("no tool measures lengths"));
        };
        let told = sizes.iter().map(|size| {
            let found = (size.lower.0 + size.upper.0) / 2;
            json!({ "name": size.name, "found_nm": found, "unit": size.unit, "tool": code, "within": true })
        });
        let found = match sizes {
            [] => json!({}),
            _ => json!({ "sizes": told.collect::<Vec<_>>() }),
        };
        let mut change = self.act(Role::Checker).await?;
        let done = Done {
            job,
            part,
            at,
            by: Role::Checker,
            note: "by the drawing",
        };
        let entry = self.enter(&mut change, &done, found).await?;
        for (place, size) in sizes.iter().enumerate() {
            sqlx::query(
                "insert into size_found (journal_sequence, recipe_id, position, found_nm, unit, tool_id)
                 select ?, id, ?, ?, ?, ? from recipe where code = ? and revision = ?",
            )
            .bind(entry)
            .bind(position(place))
            .bind((size.lower.0 + size.upper.0) / 2)
            .bind(size.unit.as_str())
            .bind(tool)
            .bind(recipe.code.as_str())
            .bind(recipe.revision)
            .execute(change.connection())
            .await?;
        }
        change.commit().await
    }

    /// A coupon of the last build, and what a hardness tester finds of it.
    pub(super) async fn test_coupon(&mut self, part: &Named) -> Result<(), AppError> {
        self.coupons += 1;
        let (coupon, build) = (self.coupons, self.builds);
        let label = format!("K{coupon}, beside the part");
        let tools = self.tools.iter();
        let Some((code, tool)) = tools.clone().find(|(code, _)| code == "H-01").cloned() else {
            return Ok(());
        };
        let figure = self.about(130_000, 50);
        let mut change = self.act(Role::Checker).await?;
        let now = change.now();
        let subject = || Subject::new("request", format!("R{}", part.number));
        let content = json!({ "coupon": coupon, "label": label });
        let entry = change.journal("request.coupon", subject(), content).await?;
        sqlx::query(
            "insert into coupon (number, request_id, build_number, label, entered_by, entered_ms, journal_sequence)
             values (?, ?, ?, ?, ?, ?, ?)",
        )
        .bind(coupon)
        .bind(part.id)
        .bind(build)
        .bind(&label)
        .bind(&self.checker.name)
        .bind(now)
        .bind(entry)
        .execute(change.connection())
        .await?;
        let content = json!({
            "coupon": coupon, "property": "hardness", "condition": "as-sprayed", "figure": figure, "load_gf": 300,
            "with": code, "tested_by": self.checker.name, "tested_ms": now,
        });
        let entry = change
            .journal("request.coupon-tested", subject(), content)
            .await?;
        sqlx::query(
            "insert into coupon_result (journal_sequence, coupon_number, property, condition, figure, load_gf, tool_id,
               laboratory, tested_by, tested_ms, entered_by)
             values (?, ?, 'hardness', 'as-sprayed', ?, 300, ?, '', ?, ?, ?)",
        )
        .bind(entry)
        .bind(coupon)
        .bind(figure)
        .bind(tool)
        .bind(&self.checker.name)
        .bind(now)
        .bind(&self.checker.name)
        .execute(change.connection())
        .await?;
        change.commit().await
    }

    /// Somebody goes round the gauges: two of each bank, the fuel, the bore.
    pub(super) async fn read_gauges(&mut self) -> Result<(), AppError> {
        let banks = self.banks.clone();
        let mut round = vec![("fuel", None, 900_000), ("nozzle-bore", None, 2_000)];
        for bank in &banks {
            round.push(("bank-pressure", Some(bank.as_str()), 150_000));
            round.push(("bank-temperature", Some(bank.as_str()), 24_000));
        }
        let mut change = self.act(Role::Crew).await?;
        let now = change.now();
        for (what, bank, mean) in round {
            let (id, value) = (Uuid::now_v7(), self.about(mean, 100));
            sqlx::query(
                "insert into reading (id, what, bank_id, value, read_at, read_by)
                 values (?, ?, (select id from bank where code = ?), ?, ?, ?)",
            )
            .bind(id)
            .bind(what)
            .bind(bank)
            .bind(value)
            .bind(now)
            .bind(&self.crew.name)
            .execute(change.connection())
            .await?;
            let content = json!({
                "what": what, "bank": bank, "station": null, "value": value, "read_at": now,
                "read_by": self.crew.name,
            });
            let subject = Subject::new("reading", id);
            change.journal("reading.entered", subject, content).await?;
        }
        change.commit().await
    }

    pub(super) async fn fit_nozzle(&mut self) -> Result<(), AppError> {
        let code = format!("N-{}", self.builds / 60 + 1);
        let mut change = self.act(Role::Crew).await?;
        let content = json!({ "code": code, "minutes_before": 0, "note": "worn" });
        let subject = Subject::new("cell", "nozzle");
        let entry = change.journal("nozzle.fitted", subject, content).await?;
        let now = change.now();
        sqlx::query(
            "insert into nozzle_fitted (journal_sequence, code, at_ms, minutes_before, note) values (?, ?, ?, 0, 'worn')",
        )
        .bind(entry)
        .bind(code)
        .bind(now)
        .execute(change.connection())
        .await?;
        change.commit().await
    }

    /// The day on which all tools are due again.
    pub(super) fn tools_due(&self) -> i64 {
        self.calibrations * CALIBRATED_DAYS
    }

    pub(super) async fn calibrate(&mut self) -> Result<(), AppError> {
        self.calibrations += 1;
        for (code, id) in self.tools.clone() {
            let mut change = self.act(Role::Lead).await?;
            let now = change.now();
            let at = situation::moment(now).map_err(AppError::internal)?;
            let calibration = Calibration {
                certificate: format!("K {code} {}", self.calibrations),
                at,
                due: at + Duration::days(CALIBRATED_DAYS + 30),
            };
            let content = json!({
                "certificate": calibration.certificate,
                "calibrated_ms": now,
                "due_ms": calibration.due.timestamp_millis(),
            });
            let subject = Subject::new("tool", &code);
            let entry = change.journal("tool.calibrated", subject, content).await?;
            insert_calibration(&mut change, id, &calibration, &self.lead.name, entry).await?;
            change.commit().await?;
        }
        Ok(())
    }
}
