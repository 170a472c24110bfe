//! What is where, as movements have it.

use mendpost_core::code::{ContainerCode, LotCode, PowderCode};
use mendpost_core::powder::book::{Movement, Place};
use mendpost_core::quantity::Milligrams;
use sqlx::{SqliteConnection, SqliteExecutor};
use uuid::Uuid;

use crate::db::decoded;
use crate::error::AppError;
use crate::page::grams_exact;

/// The word by which the kind of a place is stored, with the container or build that it is.
fn stored(place: &Place) -> (&'static str, Option<&str>, Option<i64>) {
    match place {
        Place::Depot => ("depot", None, None),
        Place::Container(code) => ("container", Some(code.as_str()), None),
        Place::Feeder => ("feeder", None, None),
        Place::Build(number) => ("build", None, Some(*number)),
        Place::Coupon(number) => ("coupon", None, Some(*number)),
        Place::Waste => ("waste", None, None),
        Place::Gap => ("gap", None, None),
        Place::Before => ("before", None, None),
    }
}

/// A place in one word or two: 'feeder', 'container L0408-1', 'build 12'.
pub fn place_words(place: &Place) -> String {
    match stored(place) {
        (kind, None, None) => kind.to_owned(),
        (kind, Some(code), _) => format!("{kind} {code}"),
        (kind, None, Some(number)) => format!("{kind} {number}"),
    }
}

/// The place of a stored row.
pub(super) fn place(
    kind: &str,
    container: Option<&str>,
    build: Option<i64>,
) -> Result<Place, sqlx::Error> {
    let missing = || sqlx::Error::Decode(format!("place of kind '{kind}'").into());
    Ok(match kind {
        "depot" => Place::Depot,
        "container" => Place::Container(decoded::<ContainerCode, _>(
            container.ok_or_else(missing)?.parse(),
        )?),
        "feeder" => Place::Feeder,
        "build" => Place::Build(build.ok_or_else(missing)?),
        "coupon" => Place::Coupon(build.ok_or_else(missing)?),
        "waste" => Place::Waste,
        "gap" => Place::Gap,
        "before" => Place::Before,
        _ => return Err(missing()),
    })
}

pub(super) async fn place_id(
    connection: &mut SqliteConnection,
    place: &Place,
) -> Result<Uuid, AppError> {
    let (kind, container, build) = stored(place);
    let found = sqlx::query_scalar!(
        r#"select p.id as "id: Uuid" from place p
           where p.kind = ?
             and p.container_id is (select id from container where code = ?)
             and p.build_id is (select id from build where number = ?)"#,
        kind,
        container,
        build,
    )
    .fetch_optional(connection)
    .await?;
    found.ok_or_else(|| AppError::NotFound {
        what: format!("{kind} {}", container.unwrap_or_default()),
    })
}

pub(super) async fn lot_id(
    connection: &mut SqliteConnection,
    lot: &LotCode,
) -> Result<Uuid, AppError> {
    let code = lot.as_str();
    let found = sqlx::query_scalar!(r#"select id as "id: Uuid" from lot where code = ?"#, code)
        .fetch_optional(connection)
        .await?;
    found.ok_or_else(|| AppError::NotFound {
        what: format!("lot {lot}"),
    })
}

/// What a place holds of a lot; below 0 where more came from it than went there.
pub(super) async fn held(
    connection: &mut SqliteConnection,
    place: Uuid,
    lot: Uuid,
) -> Result<Milligrams, sqlx::Error> {
    let there = sqlx::query_scalar!(
        r#"select coalesce((select sum(milligrams) from movement where to_id = ?1 and into_lot_id = ?2), 0)
             - coalesce((select sum(milligrams) from movement where from_id = ?1 and lot_id = ?2), 0)
               as "there!: i64""#,
        place,
        lot,
    )
    .fetch_one(connection)
    .await?;
    Ok(Milligrams(there))
}

/// Rows of the view `movement_line`, by a condition.
macro_rules! lines {
    ($where:literal, $($bound:expr),*) => {
        sqlx::query_as!(
            StoredLine,
            r#"select id as "id!: Uuid", lot as "lot!: String", into_lot as "into_lot!: String", milligrams as "milligrams!: i64",
             reason as "reason!: String", note as "note!: String", at_ms as "at_ms!: i64",
             journal_sequence as "sequence!: i64",
             from_kind as "from_kind!: String", from_container as "from_container?: String", from_build as "from_build?: i64",
             to_kind as "to_kind!: String", to_container as "to_container?: String", to_build as "to_build?: i64",
             taken_back as "taken_back!: bool"
               from movement_line "#
                + $where,
            $($bound),*
        )
    };
}

/// A movement of one journal entry.
pub(super) struct Moved {
    pub id: Uuid,
    pub movement: Movement,
    pub taken_back: bool,
}

/// What moved by a journal entry, in that order, but for what takes something back.
pub(super) async fn moved_by(
    connection: &mut SqliteConnection,
    entry: i64,
) -> Result<Vec<Moved>, sqlx::Error> {
    lines!(
        "where journal_sequence = ? and reason <> 'correction'
           order by place_in_book",
        entry
    )
    .try_map(|row| {
        Ok(Moved {
            id: row.id,
            taken_back: row.taken_back,
            movement: row.movement()?,
        })
    })
    .fetch_all(connection)
    .await
}

/// A line of the book as it is shown.
#[derive(Debug, Clone)]
pub struct BookLine {
    pub movement: Movement,
    pub note: String,
    pub at_ms: i64,
    pub sequence: i64,
    /// A later movement takes it back.
    pub taken_back: bool,
}

/// What moved of a lot, or into it, before a journal entry: the newest first, as many as told and the rest of the
/// last one's entry.
pub async fn of_lot(
    executor: impl SqliteExecutor<'_>,
    lot: &str,
    before: i64,
    most: i64,
) -> Result<Vec<BookLine>, sqlx::Error> {
    lines!(
        "where id in (
             with own as (
               select id, journal_sequence from movement
               where lot_id = (select id from lot where code = ?1) and journal_sequence < ?2
               union
               select id, journal_sequence from movement
               where into_lot_id = (select id from lot where code = ?1) and journal_sequence < ?2
             )
             select id from own
             where journal_sequence >= coalesce(
               (select journal_sequence from own order by journal_sequence desc limit 1 offset ?3 - 1), 0)
           )
           order by journal_sequence desc, place_in_book desc",
        lot,
        before,
        most
    )
    .try_map(StoredLine::shown)
    .fetch_all(executor)
    .await
}

/// Whether anything moved of a lot, or into it, before a journal entry.
pub async fn moved_before(
    executor: impl SqliteExecutor<'_>,
    lot: &str,
    sequence: i64,
) -> Result<bool, sqlx::Error> {
    sqlx::query_scalar!(
        r#"select exists (
             select 1 from movement
             where lot_id = (select id from lot where code = ?1) and journal_sequence < ?2
           ) or exists (
             select 1 from movement
             where into_lot_id = (select id from lot where code = ?1) and journal_sequence < ?2
           ) as "before!: bool""#,
        lot,
        sequence
    )
    .fetch_one(executor)
    .await
}

/// All that moved by one journal entry.
pub async fn of_entry(
    executor: impl SqliteExecutor<'_>,
    entry: i64,
) -> Result<Vec<BookLine>, sqlx::Error> {
    lines!(
        "where journal_sequence = ?
           order by place_in_book",
        entry
    )
    .try_map(StoredLine::shown)
    .fetch_all(executor)
    .await
}

/// What was last poured into the feeder or out of it, the newest first.
pub async fn of_feeder(
    executor: impl SqliteExecutor<'_>,
    most: i64,
) -> Result<Vec<BookLine>, sqlx::Error> {
    lines!(
        "where journal_sequence > (select max(sequence) from journal) - 2000
             and 'feeder' in (from_kind, to_kind)
           order by journal_sequence desc, place_in_book desc
           limit ?",
        most
    )
    .try_map(StoredLine::shown)
    .fetch_all(executor)
    .await
}

/// The journal entry by which something moved.
pub struct Entry {
    pub at_ms: i64,
    /// As the journal has it.
    pub by: String,
    pub subject_kind: String,
    pub subject_id: String,
}

pub async fn entry(
    executor: impl SqliteExecutor<'_>,
    sequence: i64,
) -> Result<Option<Entry>, sqlx::Error> {
    sqlx::query_as!(
        Entry,
        r#"select time as at_ms, actor as by, subject_kind, subject_id from journal
           where sequence = ? and exists (select 1 from movement where journal_sequence = sequence)"#,
        sequence
    )
    .fetch_optional(executor)
    .await
}

/// The last entry since a moment by which this person moved powder, and which nobody has taken back.
pub async fn last_by(
    executor: impl SqliteExecutor<'_>,
    person: Uuid,
    since_ms: i64,
) -> Result<Option<i64>, sqlx::Error> {
    let person = person.to_string();
    sqlx::query_scalar!(
        r#"select j.sequence as "sequence!: i64" from journal j
           where j.sequence > (select max(sequence) from journal) - 500
             and j.actor = ? and j.time >= ?
             and exists (
               select 1 from movement m
               where m.journal_sequence = j.sequence and m.reason <> 'correction'
                 and not exists (select 1 from movement c where c.corrects_id = m.id)
             )
           order by j.sequence desc
           limit 1"#,
        person,
        since_ms
    )
    .fetch_optional(executor)
    .await
}

/// A row of the view `movement_line`.
struct StoredLine {
    id: Uuid,
    lot: String,
    into_lot: String,
    milligrams: i64,
    reason: String,
    note: String,
    at_ms: i64,
    sequence: i64,
    from_kind: String,
    from_container: Option<String>,
    from_build: Option<i64>,
    to_kind: String,
    to_container: Option<String>,
    to_build: Option<i64>,
    taken_back: bool,
}

impl StoredLine {
    fn movement(&self) -> Result<Movement, sqlx::Error> {
        let (from, to) = (self.from_container.as_deref(), self.to_container.as_deref());
        Ok(Movement {
            lot: decoded(self.lot.parse())?,
            into: decoded(self.into_lot.parse())?,
            from: place(&self.from_kind, from, self.from_build)?,
            to: place(&self.to_kind, to, self.to_build)?,
            mass: Milligrams(self.milligrams),
            reason: decoded(self.reason.parse())?,
        })
    }

    fn shown(self) -> Result<BookLine, sqlx::Error> {
        Ok(BookLine {
            movement: self.movement()?,
            note: self.note,
            at_ms: self.at_ms,
            sequence: self.sequence,
            taken_back: self.taken_back,
        })
    }
}

/// What the feeder holds of one lot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct InFeeder {
    pub lot: LotCode,
    pub powder: PowderCode,
    pub mass: Milligrams,
}

/// Which lots are in the feeder, by their codes. It was empty when it was last emptied, so that only what moved
/// since then is added up.
pub async fn feeder(executor: impl SqliteExecutor<'_>) -> Result<Vec<InFeeder>, sqlx::Error> {
    sqlx::query!(
        r#"with late as (
             select lot_id, into_lot_id, from_id, to_id, milligrams
             from movement indexed by movement_by_entry
             where journal_sequence > coalesce((select max(journal_sequence) from feeder_emptied), 0)
           ), fed as (
             select into_lot_id as lot_id, milligrams from late
             where to_id = (select id from place where kind = 'feeder')
             union all
             select lot_id, -milligrams from late
             where from_id = (select id from place where kind = 'feeder')
           )
           select l.code as "lot!: String", p.code as "powder!: String", sum(fed.milligrams) as "milligrams!: i64"
           from fed
           join lot l on l.id = fed.lot_id
           join powder p on p.id = l.powder_id
           group by l.id
           having sum(fed.milligrams) <> 0
           order by l.code"#
    )
    .try_map(|row| {
        Ok(InFeeder {
            lot: decoded(row.lot.parse())?,
            powder: decoded(row.powder.parse())?,
            mass: Milligrams(row.milligrams),
        })
    })
    .fetch_all(executor)
    .await
}

/// Its lots.
pub fn lots(fed: &[InFeeder]) -> Vec<LotCode> {
    fed.iter().map(|it| it.lot.clone()).collect()
}

/// Its lots with how much of each, as core takes from a mix.
pub fn mix(fed: &[InFeeder]) -> Vec<(LotCode, Milligrams)> {
    fed.iter().map(|it| (it.lot.clone(), it.mass)).collect()
}

/// '560 g of L0406', for each of its lots.
pub fn in_words(fed: &[InFeeder]) -> Vec<String> {
    let words = |it: &InFeeder| format!("{} of {}", grams_exact(it.mass.0), it.lot);
    fed.iter().map(words).collect()
}

/// All that the feeder holds.
pub fn total(fed: &[InFeeder]) -> Milligrams {
    fed.iter().map(|it| it.mass).sum()
}

/// Whether anything was ever poured into the feeder or emptied out of it by this book; before that nobody knows
/// what it holds.
pub async fn feeder_is_booked(executor: impl SqliteExecutor<'_>) -> Result<bool, sqlx::Error> {
    sqlx::query_scalar!(
        r#"select exists (
             select 1 from movement where to_id = (select id from place where kind = 'feeder')
           ) or exists (select 1 from feeder_emptied) as "booked!: bool""#
    )
    .fetch_one(executor)
    .await
}
