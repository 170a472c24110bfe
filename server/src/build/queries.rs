//! Builds as they are kept.

use chrono::{DateTime, Utc};
use mendpost_core::build::{Cause, Mark, Reading};
use mendpost_core::code::{LotCode, PowderCode};
use mendpost_core::powder::MassBalance;
use mendpost_core::quantity::Milligrams;
use sqlx::{SqliteConnection, SqliteExecutor};
use uuid::Uuid;

use crate::change::Change;
use crate::db::decoded;
use crate::error::AppError;
use crate::people::Who;
use crate::requests::work::SprayedStage;

/// A build, under way or ended.
#[derive(Debug, Clone)]
pub struct Build {
    pub id: Uuid,
    pub number: i64,
    pub request: i64,
    pub asset: String,
    pub part_name: String,
    pub recipe: String,
    pub revision: i64,
    /// Of the operation in its recipe, from 1.
    pub position: i64,
    pub operation: String,
    pub powder: PowderCode,
    pub begun_ms: i64,
    pub begun_by: String,
    pub nozzle: Option<String>,
    pub planned_min: i64,
    /// From its begin to its end by the recipe's figures alone, set-up counted.
    pub reckoned_min: i64,
    pub planned_g: i64,
    /// The number of the line-up that it was begun by.
    pub line_up: Option<i64>,
    /// The lots that it was to come from, parted by blanks.
    pub lots: String,
    pub ended_ms: Option<i64>,
    /// 'done' or 'scrapped'.
    pub outcome: Option<String>,
}

impl Build {
    /// Its stage, as work done.
    pub(crate) fn done(&self) -> SprayedStage<'_> {
        SprayedStage {
            request: self.request,
            recipe: &self.recipe,
            revision: self.revision,
            position: self.position,
        }
    }
}

macro_rules! builds {
    ($executor:expr, $where:literal, $($bound:expr),*) => {
        sqlx::query!(
            r#"select b.id as "id!: Uuid", b.number as "number!: i64", r.number as "request!: i64", a.name as "asset!: String",
                 r.part_name as "part_name!: String", c.code as "recipe!: String", c.revision as "revision!: i64",
                 b.position as "position!: i64", o.name as "operation!: String", p.code as "powder!: String",
                 b.begun_ms as "begun_ms!: i64", coalesce(m.name, '') as "begun_by!: String", b.nozzle as "nozzle?: String",
                 n.minutes as "planned_min!: i64",
                 coalesce(n.reckoned_min, n.minutes) as "reckoned_min!: i64", n.powder_g as "planned_g!: i64", n.line_up as "line_up?: i64", n.lots as "lots!: String",
                 e.ended_ms as "ended_ms?: i64", e.outcome as "outcome?: String"
               from build b
               join request r on r.id = b.request_id
               join asset a on a.id = r.asset_id
               join recipe c on c.id = b.recipe_id
               join recipe_operation o on o.recipe_id = b.recipe_id and o.position = b.position
               join recipe_spray s on s.recipe_id = b.recipe_id and s.position = b.position
               join powder p on p.id = s.powder_id
               join build_plan n on n.build_id = b.id
               join journal j on j.sequence = b.journal_sequence
               left join person m on m.id = unhex(replace(j.actor, '-', ''))
               left join build_end e on e.build_id = b.id
               "# + $where,
            $($bound),*
        )
        .try_map(|row| {
            Ok(Build {
                id: row.id,
                number: row.number,
                request: row.request,
                asset: row.asset,
                part_name: row.part_name,
                recipe: row.recipe,
                revision: row.revision,
                position: row.position,
                operation: row.operation,
                powder: decoded(row.powder.parse())?,
                begun_ms: row.begun_ms,
                begun_by: row.begun_by,
                nozzle: row.nozzle,
                planned_min: row.planned_min,
                reckoned_min: row.reckoned_min,
                planned_g: row.planned_g,
                line_up: row.line_up,
                lots: row.lots,
                ended_ms: row.ended_ms,
                outcome: row.outcome,
            })
        })
    };
}

pub async fn build(
    executor: impl SqliteExecutor<'_>,
    number: i64,
) -> Result<Option<Build>, sqlx::Error> {
    builds!(executor, "where b.number = ?", number)
        .fetch_optional(executor)
        .await
}

/// The build that is under way: the newest, where that has not ended, since none begins before the one before has.
pub async fn under_way(executor: impl SqliteExecutor<'_>) -> Result<Option<Build>, sqlx::Error> {
    builds!(
        executor,
        "where b.number = (select max(number) from build) and e.build_id is null",
    )
    .fetch_optional(executor)
    .await
}

/// The newest builds, before that number.
pub async fn newest(
    executor: impl SqliteExecutor<'_>,
    before: i64,
    most: i64,
) -> Result<Vec<Build>, sqlx::Error> {
    builds!(
        executor,
        "where b.number < ? order by b.number desc limit ?",
        before,
        most
    )
    .fetch_all(executor)
    .await
}

/// Builds sprayed with a nozzle since it was fitted by a journal entry, in order.
pub async fn with_nozzle(
    executor: impl SqliteExecutor<'_>,
    nozzle: &str,
    fitted: i64,
) -> Result<Vec<Build>, sqlx::Error> {
    builds!(
        executor,
        "where b.nozzle = ? and b.journal_sequence > ? order by b.number",
        nozzle,
        fitted
    )
    .fetch_all(executor)
    .await
}

/// The builds of a request, in order.
pub async fn of_request(
    executor: impl SqliteExecutor<'_>,
    request: i64,
) -> Result<Vec<Build>, sqlx::Error> {
    builds!(executor, "where r.number = ? order by b.number", request)
        .fetch_all(executor)
        .await
}

/// A mark of a build, with who set it.
#[derive(Debug, Clone)]
pub struct Marked {
    pub mark: Mark,
    pub pass: Option<i64>,
    pub note: String,
    pub at: DateTime<Utc>,
    pub by: String,
    pub sequence: i64,
}

pub async fn marks(
    executor: impl SqliteExecutor<'_>,
    build: Uuid,
) -> Result<Vec<Marked>, sqlx::Error> {
    sqlx::query!(
        r#"select journal_sequence as "sequence!: i64", what, cause, pass, note, at_ms, done_by from build_mark
           where build_id = ? order by journal_sequence"#,
        build
    )
    .try_map(|row| {
        let cause: Option<Cause> = row.cause.map(|cause| decoded(cause.parse())).transpose()?;
        Ok(Marked {
            mark: cause.map_or(Mark::Spray, Mark::Stop),
            pass: row.pass,
            note: row.note,
            at: decoded(crate::situation::moment(row.at_ms))?,
            by: row.done_by,
            sequence: row.sequence,
        })
    })
    .fetch_all(executor)
    .await
}

/// Time and mark alone, as core reads them.
pub fn times(marks: &[Marked]) -> Vec<(DateTime<Utc>, Mark)> {
    marks.iter().map(|it| (it.at, it.mark)).collect()
}

/// What was read during a build.
#[derive(Debug, Clone)]
pub struct Read {
    pub what: Reading,
    pub value: i64,
    pub pass: Option<i64>,
    pub at_ms: i64,
    pub by: String,
    pub sequence: i64,
}

pub async fn readings(
    executor: impl SqliteExecutor<'_>,
    build: Uuid,
) -> Result<Vec<Read>, sqlx::Error> {
    sqlx::query!(
        r#"select journal_sequence as "sequence!: i64", what, value, pass, at_ms, done_by from build_reading
           where build_id = ? order by journal_sequence, what"#,
        build
    )
    .try_map(|row| {
        Ok(Read {
            what: decoded(row.what.parse())?,
            value: row.value,
            pass: row.pass,
            at_ms: row.at_ms,
            by: row.done_by,
            sequence: row.sequence,
        })
    })
    .fetch_all(executor)
    .await
}

/// The bank that the gas of a build comes from, and what was read of it last before and first after.
#[derive(Debug, Clone)]
pub struct BankRead {
    pub bank: String,
    /// Pressure in millibar, absolute, and when it was read.
    pub before: Option<(i64, i64)>,
    pub after: Option<(i64, i64)>,
}

/// None where its gas comes from the compressor.
pub async fn bank_read(
    executor: impl SqliteExecutor<'_>,
    build: Uuid,
) -> Result<Option<BankRead>, sqlx::Error> {
    sqlx::query!(
        r#"select b.code as "bank!: String", x.value as "before?: i64", x.read_at as "before_at?: i64",
             y.value as "after?: i64", y.read_at as "after_at?: i64"
           from build o
           join build_plan n on n.build_id = o.id
           join bank b on b.code = n.bank
           left join build_end e on e.build_id = o.id
           left join reading x on x.id = (
             select id from reading
             where what = 'bank-pressure' and bank_id = b.id and station_id is null and read_at <= o.begun_ms
             order by read_at desc, id desc limit 1)
           left join reading y on y.id = (
             select id from reading
             where what = 'bank-pressure' and bank_id = b.id and station_id is null and read_at >= e.ended_ms
             order by read_at, id limit 1)
           where o.id = ?"#,
        build
    )
    .map(|row| BankRead {
        bank: row.bank,
        before: row.before.zip(row.before_at),
        after: row.after.zip(row.after_at),
    })
    .fetch_optional(executor)
    .await
}

/// What was done otherwise than the recipe says.
#[derive(Debug, Clone)]
pub struct Deviation {
    pub words: String,
    pub at_ms: i64,
    pub by: String,
    pub sequence: i64,
}

pub async fn deviations(
    executor: impl SqliteExecutor<'_>,
    build: Uuid,
) -> Result<Vec<Deviation>, sqlx::Error> {
    sqlx::query_as!(
        Deviation,
        r#"select words, at_ms, done_by as by, journal_sequence as "sequence!: i64" from build_deviation
           where build_id = ? order by journal_sequence"#,
        build
    )
    .fetch_all(executor)
    .await
}

/// How a build ended, and what was weighed.
#[derive(Debug, Clone)]
pub struct End {
    pub part_mg: i64,
    pub coupon_mg: i64,
    pub left_mg: i64,
    pub fed_mg: i64,
    pub swept_mg: Option<i64>,
    pub watch_mg: i64,
    pub stop_mg: i64,
    pub note: String,
    pub by: String,
    pub sequence: i64,
}

impl End {
    /// What became of its powder, as far as it was weighed.
    pub fn balance(&self) -> MassBalance {
        MassBalance {
            drawn: Milligrams(self.fed_mg + self.left_mg),
            part: Milligrams(self.part_mg),
            coupon: Milligrams(self.coupon_mg),
            returned: Milligrams(self.left_mg),
            swept: Milligrams(self.swept_mg.unwrap_or(0)),
        }
    }
}

pub async fn end(
    executor: impl SqliteExecutor<'_>,
    build: Uuid,
) -> Result<Option<End>, sqlx::Error> {
    sqlx::query_as!(
        End,
        r#"select e.part_mg, e.coupon_mg, e.left_mg, e.fed_mg, s.swept_mg as "swept_mg?: i64", e.watch_mg, e.stop_mg,
             e.note, e.done_by as by, e.journal_sequence as sequence
           from build_end e left join build_swept s on s.build_id = e.build_id
           where e.build_id = ?"#,
        build
    )
    .fetch_optional(executor)
    .await
}

/// The lots that went into a build, with how much of each.
pub async fn lots(
    executor: impl SqliteExecutor<'_>,
    build: Uuid,
) -> Result<Vec<(LotCode, Milligrams)>, sqlx::Error> {
    sqlx::query!(
        r#"select l.code as "lot!: String", sum(m.milligrams) as "milligrams!: i64"
           from movement m join lot l on l.id = m.into_lot_id
           where m.to_id = ? and not exists (select 1 from movement c where c.corrects_id = m.id)
           group by l.id order by l.code"#,
        build
    )
    .try_map(|row| Ok((decoded(row.lot.parse())?, Milligrams(row.milligrams))))
    .fetch_all(executor)
    .await
}

/// The lots that went into a build, by its number.
pub async fn lots_of(
    connection: &mut SqliteConnection,
    number: i64,
) -> Result<Vec<LotCode>, sqlx::Error> {
    let Some(build) = build(&mut *connection, number).await? else {
        return Ok(Vec::new());
    };
    let lots = lots(connection, build.id).await?;
    Ok(lots.into_iter().map(|(lot, _)| lot).collect())
}

/// What is still in a build by the book, of each lot: on the part, or not told apart from it.
pub async fn left_in(
    executor: impl SqliteExecutor<'_>,
    build: Uuid,
) -> Result<Vec<(LotCode, Milligrams)>, sqlx::Error> {
    sqlx::query!(
        r#"with line as (
             select into_lot_id as lot_id, milligrams from movement where to_id = ?1
             union all
             select lot_id, -milligrams from movement where from_id = ?1
           )
           select l.code as "lot!: String", sum(line.milligrams) as "milligrams!: i64"
           from line join lot l on l.id = line.lot_id
           group by l.id order by l.code"#,
        build
    )
    .try_map(|row| Ok((decoded(row.lot.parse())?, Milligrams(row.milligrams))))
    .fetch_all(executor)
    .await
}

/// A build as it is begun.
pub struct New<'a> {
    pub request: Uuid,
    pub recipe: &'a str,
    pub revision: i64,
    pub position: i64,
    pub planned_min: i64,
    /// From its begin to its end by the recipe's figures alone, set-up counted.
    pub reckoned_min: i64,
    pub planned_g: i64,
    pub line_up: Option<i64>,
    pub lots: String,
    /// The bank that its gas comes from; none: the compressor.
    pub bank: Option<&'a str>,
}

/// The number that the next build gets.
pub async fn next_number(connection: &mut SqliteConnection) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar!(r#"select coalesce(max(number), 0) + 1 as "number!: i64" from build"#)
        .fetch_one(connection)
        .await
}

pub async fn insert(
    change: &mut Change,
    number: i64,
    new: &New<'_>,
    entry: i64,
) -> Result<(), AppError> {
    let (id, now) = (Uuid::now_v7(), change.now());
    sqlx::query!(
        "insert into build (id, number, request_id, recipe_id, position, begun_ms, journal_sequence, nozzle)
         select ?, ?, ?, id, ?, ?, ?, (select code from nozzle_fitted order by journal_sequence desc limit 1)
         from recipe where code = ? and revision = ?",
        id,
        number,
        new.request,
        new.position,
        now,
        entry,
        new.recipe,
        new.revision,
    )
    .execute(change.connection())
    .await?;
    sqlx::query!(
        "insert into build_plan (build_id, line_up, minutes, reckoned_min, powder_g, lots, bank)
         values (?, ?, ?, ?, ?, ?, ?)",
        id,
        new.line_up,
        new.planned_min,
        new.reckoned_min,
        new.planned_g,
        new.lots,
        new.bank,
    )
    .execute(change.connection())
    .await?;
    Ok(())
}

/// A mark as it is set.
pub struct NewMark<'a> {
    pub mark: Mark,
    pub pass: Option<i64>,
    pub note: &'a str,
}

pub async fn insert_mark(
    change: &mut Change,
    build: Uuid,
    new: &NewMark<'_>,
    who: &Who,
    entry: i64,
) -> Result<(), AppError> {
    let now = change.now();
    let (what, cause) = match new.mark {
        Mark::Spray => ("spray", None),
        Mark::Stop(cause) => ("stop", Some(cause.as_str())),
    };
    sqlx::query!(
        "insert into build_mark (journal_sequence, build_id, what, cause, pass, note, at_ms, done_by, person_id)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        entry,
        build,
        what,
        cause,
        new.pass,
        new.note,
        now,
        who.name,
        who.id,
    )
    .execute(change.connection())
    .await?;
    Ok(())
}
