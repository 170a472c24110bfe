use mendpost_core::interim::Limit;
use sqlx::SqliteConnection;
use uuid::Uuid;

/// An interim part as it goes out, with the ids that it refers to.
pub(super) struct Row<'a> {
    pub id: Uuid,
    pub number: i64,
    pub request: Option<Uuid>,
    pub asset: Uuid,
    pub part: Option<Uuid>,
    pub part_name: &'a str,
    pub place: &'a str,
    pub since_ms: i64,
    pub limit: Limit,
    pub meter_min: Option<i64>,
    pub owner: &'a str,
    pub removal_plan: &'a str,
    pub released_by: &'a str,
    pub follow_on: i64,
}

pub(super) async fn insert(
    connection: &mut SqliteConnection,
    row: &Row<'_>,
    entered: Entered<'_>,
) -> Result<(), sqlx::Error> {
    let (off_by_ms, most_min, a_day_min) = match row.limit {
        Limit::Date { off_by } => (Some(off_by.timestamp_millis()), None, None),
        Limit::Running {
            most_min,
            a_day_min,
        } => (None, Some(most_min), Some(a_day_min)),
    };
    sqlx::query!(
        "insert into interim_part (id, number, request_id, asset_id, part_id, part_name, place, since_ms,
           off_by_ms, most_min, a_day_min, meter_min, owner, removal_plan, released_by, entered_by,
           entered_ms, follow_on_id, journal_sequence)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?,
           (select id from request where number = ?), ?)",
        row.id,
        row.number,
        row.request,
        row.asset,
        row.part,
        row.part_name,
        row.place,
        row.since_ms,
        off_by_ms,
        most_min,
        a_day_min,
        row.meter_min,
        row.owner,
        row.removal_plan,
        row.released_by,
        entered.by,
        entered.at_ms,
        row.follow_on,
        entered.journal,
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// Who entered something when, under which journal entry.
#[derive(Debug, Clone, Copy)]
pub(super) struct Entered<'a> {
    pub by: &'a str,
    pub at_ms: i64,
    pub journal: i64,
}

pub(super) async fn insert_reading(
    connection: &mut SqliteConnection,
    interim: Uuid,
    sequence: i64,
    read_ms: i64,
    meter_min: i64,
    entered: Entered<'_>,
) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "insert into interim_reading (interim_id, sequence, read_ms, meter_min, entered_by, entered_ms,
           journal_sequence)
         values (?, ?, ?, ?, ?, ?, ?)",
        interim,
        sequence,
        read_ms,
        meter_min,
        entered.by,
        entered.at_ms,
        entered.journal,
    )
    .execute(connection)
    .await?;
    Ok(())
}

pub(super) async fn insert_off(
    connection: &mut SqliteConnection,
    interim: Uuid,
    off_ms: i64,
    meter_min: Option<i64>,
    note: &str,
    entered: Entered<'_>,
) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "insert into interim_off (interim_id, off_ms, meter_min, note, entered_by, entered_ms, journal_sequence)
         values (?, ?, ?, ?, ?, ?, ?)",
        interim,
        off_ms,
        meter_min,
        note,
        entered.by,
        entered.at_ms,
        entered.journal,
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// What became of one that came off, as it is entered.
pub(super) struct Fate<'a> {
    pub returned_ms: i64,
    pub fate: &'a str,
    pub wear: &'a str,
    pub note: &'a str,
}

pub(super) async fn insert_return(
    connection: &mut SqliteConnection,
    interim: Uuid,
    fate: &Fate<'_>,
    entered: Entered<'_>,
) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "insert into interim_return (interim_id, returned_ms, fate, wear, note, entered_by, entered_ms,
           journal_sequence)
         values (?, ?, ?, ?, ?, ?, ?, ?)",
        interim,
        fate.returned_ms,
        fate.fate,
        fate.wear,
        fate.note,
        entered.by,
        entered.at_ms,
        entered.journal,
    )
    .execute(connection)
    .await?;
    Ok(())
}
