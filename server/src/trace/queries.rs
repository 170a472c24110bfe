//! The edges between powder, builds and parts, followed both ways.

use mendpost_core::catalogue::{Flag, OperationKind};
use mendpost_core::code::LotCode;
use sqlx::SqliteExecutor;

use crate::db::decoded;

/// A build that something touched, with where its part is now.
#[derive(Debug, Clone)]
pub struct Touched {
    pub build: i64,
    pub request: i64,
    pub asset: String,
    pub part_name: String,
    pub tag: Option<String>,
    pub flags: Vec<Flag>,
    pub asked_by: String,
    pub begun_ms: i64,
    /// Milligrams of the lot in it; none where no lot is asked for.
    pub milligrams: Option<i64>,
    pub now: Whereabouts,
}

/// Where a part is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Whereabouts {
    Fitted,
    Released,
    InWork,
    UnderNozzle,
    Scrapped,
    GivenUp,
}

/// By how its build ended, the state of its request, and the last operation that was done of it.
fn whereabouts(
    outcome: Option<&str>,
    served: bool,
    open: bool,
    last: Option<OperationKind>,
) -> Whereabouts {
    match (outcome, last) {
        (None, _) => Whereabouts::UnderNozzle,
        (Some("scrapped"), _) => Whereabouts::Scrapped,
        _ if served => Whereabouts::Fitted,
        _ if !open => Whereabouts::GivenUp,
        (_, Some(OperationKind::Fit | OperationKind::FirstRun)) => Whereabouts::Fitted,
        (_, Some(OperationKind::Release | OperationKind::Carry)) => Whereabouts::Released,
        _ => Whereabouts::InWork,
    }
}

macro_rules! touched {
    ($executor:expr, $select:literal, $join:literal, $($bound:expr),*) => {
        sqlx::query!(
            "select b.number as \"build!: i64\", r.number as \"request!: i64\", a.name as \"asset!: String\",
               r.part_name as \"part_name!: String\", r.tag as \"tag?: String\", r.asked_by as \"asked_by!: String\",
               b.begun_ms as \"begun_ms!: i64\", e.outcome as \"outcome?: String\", r.state = 'open' as \"open!: bool\",
               exists (select 1 from request_decision d where d.request_id = r.id and d.decision = 'served')
                 as \"served!: bool\",
               (select o.kind from work_done w
                join recipe_operation o on o.recipe_id = w.recipe_id and o.position = w.position
                where w.request_id = r.id and w.journal_sequence >= b.journal_sequence
                order by w.journal_sequence desc limit 1) as \"last?: String\",
               (select group_concat(f.flag, ' ') from part_flag f where f.part_id = r.part_id) as \"flags?: String\", "
                + $select
                + " from build b
               join request r on r.id = b.request_id
               join asset a on a.id = r.asset_id
               left join build_end e on e.build_id = b.id "
                + $join,
            $($bound),*
        )
        .try_map(|row| {
            let last = row.last.map(|last| decoded(last.parse())).transpose()?;
            let flags = row.flags.unwrap_or_default();
            Ok(Touched {
                now: whereabouts(row.outcome.as_deref(), row.served, row.open, last),
                build: row.build,
                request: row.request,
                asset: row.asset,
                part_name: row.part_name,
                tag: row.tag,
                asked_by: row.asked_by,
                begun_ms: row.begun_ms,
                milligrams: row.milligrams,
                flags: flags
                    .split_whitespace()
                    .map(|flag| decoded(flag.parse()))
                    .collect::<Result<_, _>>()?,
            })
        })
        .fetch_all($executor)
        .await
    };
}

/// Builds with powder of a lot in them, or of a lot that was made of it.
pub async fn by_lot(
    executor: impl SqliteExecutor<'_>,
    lot: &str,
) -> Result<Vec<Touched>, sqlx::Error> {
    touched!(
        executor,
        "sum(m.milligrams) as \"milligrams?: i64\"",
        "join movement m on m.to_id = b.id and m.reason = 'spray'
           and not exists (select 1 from movement c where c.corrects_id = m.id)
         where m.lot_id in (
           with recursive made (id) as (
             select id from lot where code = ?
             union
             select x.into_lot_id from movement x join made on made.id = x.lot_id
             where x.reason = 'blend'
               and not exists (select 1 from movement c where c.corrects_id = x.id)
           )
           select id from made
         )
         group by b.id order by b.number",
        lot
    )
}

/// A lot, and every lot that was blended of it.
pub async fn made_of(
    executor: impl SqliteExecutor<'_>,
    lot: &str,
) -> Result<Vec<LotCode>, sqlx::Error> {
    sqlx::query!(
        r#"with recursive made (id) as (
             select id from lot where code = ?
             union
             select x.into_lot_id from movement x join made on made.id = x.lot_id
             where x.reason = 'blend'
               and not exists (select 1 from movement c where c.corrects_id = x.id)
           )
           select l.code as "code!: String" from made join lot l on l.id = made.id order by l.code"#,
        lot
    )
    .try_map(|row| decoded(row.code.parse()))
    .fetch_all(executor)
    .await
}

/// Builds that were sprayed with a nozzle, before that number, the newest first.
pub async fn by_nozzle(
    executor: impl SqliteExecutor<'_>,
    nozzle: &str,
    before: i64,
    most: i64,
) -> Result<Vec<Touched>, sqlx::Error> {
    touched!(
        executor,
        "cast(null as integer) as \"milligrams?: i64\"",
        "where b.nozzle = ? and b.number < ? order by b.number desc limit ?",
        nozzle,
        before,
        most
    )
}

/// Builds whose gas was to come from a bank, before that number, the newest first.
pub async fn by_bank(
    executor: impl SqliteExecutor<'_>,
    bank: &str,
    before: i64,
    most: i64,
) -> Result<Vec<Touched>, sqlx::Error> {
    touched!(
        executor,
        "cast(null as integer) as \"milligrams?: i64\"",
        "join build_plan n on n.build_id = b.id where n.bank = ? and b.number < ?
         order by b.number desc limit ?",
        bank,
        before,
        most
    )
}

/// Powder of a lot in a build, and the containers from which it can have come.
#[derive(Debug, Clone)]
pub struct PowderIn {
    pub build: i64,
    pub lot: String,
    pub powder: String,
    pub maker_lot: String,
    pub milligrams: i64,
    /// All that were poured into the feeder of that lot since it was last empty before the build ended.
    pub containers: String,
}

/// What powder is in the builds of a request.
pub async fn powder_of(
    executor: impl SqliteExecutor<'_>,
    request: i64,
) -> Result<Vec<PowderIn>, sqlx::Error> {
    sqlx::query_as!(
        PowderIn,
        r#"select b.number as "build!: i64", l.code as "lot!: String", p.name as "powder!: String",
             l.maker_lot as "maker_lot!: String", sum(m.milligrams) as "milligrams!: i64",
             coalesce((
               select group_concat(code, ' ') from (
                 select distinct c.code from movement d join container c on c.id = d.from_id
                 where d.lot_id = l.id and d.reason = 'draw' and d.journal_sequence < m.journal_sequence
                   and d.journal_sequence > coalesce(
                     (select max(f.journal_sequence) from feeder_emptied f where f.journal_sequence < m.journal_sequence), 0)
                   and not exists (select 1 from movement x where x.corrects_id = d.id)
                 order by c.code
               )
             ), '') as "containers!: String"
           from build b
           join request r on r.id = b.request_id
           join movement m on m.to_id = b.id and m.reason = 'spray'
           join lot l on l.id = m.lot_id
           join powder p on p.id = l.powder_id
           where r.number = ? and not exists (select 1 from movement c where c.corrects_id = m.id)
           group by b.id, l.id
           order by b.number, l.code"#,
        request
    )
    .fetch_all(executor)
    .await
}

/// The lots in the piece that a request has now: of its builds since it was last begun anew that were not scrapped.
pub async fn lots_in_piece(
    executor: impl SqliteExecutor<'_>,
    request: i64,
    since: i64,
) -> Result<Vec<String>, sqlx::Error> {
    sqlx::query_scalar!(
        r#"select distinct l.code as "lot!: String"
           from build b
           join request r on r.id = b.request_id
           join build_end e on e.build_id = b.id and e.outcome = 'done'
           join movement m on m.to_id = b.id and m.reason = 'spray'
           join lot l on l.id = m.lot_id
           where r.number = ? and b.journal_sequence > ?
             and not exists (select 1 from movement c where c.corrects_id = m.id)
           order by l.code"#,
        request,
        since
    )
    .fetch_all(executor)
    .await
}

/// An operation that was done of a request: what, when, by whom.
#[derive(Debug, Clone)]
pub struct DoneBy {
    pub name: String,
    pub ended_ms: i64,
    pub by: String,
    pub recipe: String,
    pub revision: i64,
    pub sequence: i64,
}

pub async fn work_of(
    executor: impl SqliteExecutor<'_>,
    request: i64,
) -> Result<Vec<DoneBy>, sqlx::Error> {
    sqlx::query_as!(
        DoneBy,
        r#"select o.name, w.ended_ms, w.done_by as by, c.code as recipe, c.revision, w.journal_sequence as sequence
           from work_done w
           join request r on r.id = w.request_id
           join recipe c on c.id = w.recipe_id
           join recipe_operation o on o.recipe_id = w.recipe_id and o.position = w.position
           where r.number = ?
           order by w.journal_sequence"#,
        request
    )
    .fetch_all(executor)
    .await
}

/// A load of the furnace in which a part was.
#[derive(Debug, Clone)]
pub struct InLoad {
    pub number: i64,
    pub station: String,
    pub cycle: String,
    pub set_c: i64,
    /// As its chart shows it; none while it is open, or where it was given up.
    pub actual_c: Option<i64>,
    pub chart: String,
    pub opened_ms: i64,
    pub closed: bool,
    /// Requests of the parts that shared it, parted by blanks.
    pub others: String,
}

/// The loads in which the part of a request was, in order.
pub async fn loads_of(
    executor: impl SqliteExecutor<'_>,
    request: i64,
) -> Result<Vec<InLoad>, sqlx::Error> {
    sqlx::query_as!(
        InLoad,
        r#"select l.number as "number!: i64", s.name as "station!: String", l.cycle as "cycle!: String",
             l.set_c as "set_c!: i64", c.actual_c as "actual_c?: i64", coalesce(c.chart, '') as "chart!: String",
             l.opened_ms as "opened_ms!: i64", c.load_number is not null as "closed!: bool",
             coalesce((
               select group_concat(number, ' ') from (
                 select o.number from furnace_part x join request o on o.id = x.request_id
                 where x.load_number = l.number and o.id <> r.id order by o.number
               )
             ), '') as "others!: String"
           from request r
           join furnace_part f on f.request_id = r.id
           join furnace_load l on l.number = f.load_number
           join station s on s.id = l.station_id
           left join furnace_closed c on c.load_number = l.number
           where r.number = ?
           order by l.number"#,
        request
    )
    .fetch_all(executor)
    .await
}

/// A tool that measured a part, or its coupons.
#[derive(Debug, Clone)]
pub struct MeasuredWith {
    pub code: String,
    pub name: String,
    pub what: String,
    pub at_ms: i64,
}

/// The tools that measured the part of a request or its coupons: each with all that it measured, and when last.
pub async fn tools_of(
    executor: impl SqliteExecutor<'_>,
    request: i64,
) -> Result<Vec<MeasuredWith>, sqlx::Error> {
    sqlx::query_as!(
        MeasuredWith,
        r#"with found as (
             select f.tool_id, s.name as what, w.ended_ms as at_ms, f.journal_sequence
             from request r
             join work_done w on w.request_id = r.id
             join size_found f on f.journal_sequence = w.journal_sequence
             join recipe_size s on s.recipe_id = f.recipe_id and s.position = f.position
             where r.number = ?1
             union all
             select c.tool_id, 'coupon ' || k.number || ', ' || c.property, c.tested_ms, c.journal_sequence
             from request r
             join coupon k on k.request_id = r.id
             join coupon_result c on c.coupon_number = k.number
             where r.number = ?1
           )
           select t.code as "code!: String", t.name as "name!: String", group_concat(distinct what) as "what!: String",
             max(at_ms) as "at_ms!: i64"
           from found join tool t on t.id = found.tool_id
           group by t.id
           order by t.code"#,
        request
    )
    .fetch_all(executor)
    .await
}

/// Where powder of a lot is now, beside its builds: milligrams by kind of place, and the container's code.
pub async fn rest_of(
    executor: impl SqliteExecutor<'_>,
    lot: &str,
) -> Result<Vec<(String, Option<String>, i64)>, sqlx::Error> {
    sqlx::query!(
        r#"with line as (
             select m.to_id as place_id, m.milligrams from movement m join lot l on l.id = m.into_lot_id where l.code = ?1
             union all
             select m.from_id, -m.milligrams from movement m join lot l on l.id = m.lot_id where l.code = ?1
           )
           select p.kind as "kind!: String", c.code as "container?: String", sum(line.milligrams) as "milligrams!: i64"
           from line join place p on p.id = line.place_id left join container c on c.id = p.container_id
           where p.kind not in ('build', 'coupon')
           group by p.id having sum(line.milligrams) <> 0
           order by p.kind, c.code"#,
        lot
    )
    .map(|row| (row.kind, row.container, row.milligrams))
    .fetch_all(executor)
    .await
}
