use sqlx::{SqliteConnection, SqliteExecutor, SqlitePool};
use uuid::Uuid;

use super::check::{AttachmentHash, Ready, Shape};
use super::holder::Holder;
use crate::db::decoded;

pub(super) async fn request_name(
    executor: impl SqliteExecutor<'_>,
    number: i64,
) -> Result<Option<String>, sqlx::Error> {
    sqlx::query_scalar!(
        r#"select asset.name || ', ' || request.part_name as "name!: String"
           from request join asset on asset.id = request.asset_id
           where request.number = ?"#,
        number
    )
    .fetch_optional(executor)
    .await
}

pub(super) async fn lot_name(
    executor: impl SqliteExecutor<'_>,
    code: &str,
) -> Result<Option<String>, sqlx::Error> {
    sqlx::query_scalar!(
        "select powder.name from lot join powder on powder.id = lot.powder_id where lot.code = ?",
        code
    )
    .fetch_optional(executor)
    .await
}

pub(super) async fn part_name(
    executor: impl SqliteExecutor<'_>,
    code: &str,
) -> Result<Option<String>, sqlx::Error> {
    sqlx::query_scalar!("select name from part where code = ?", code)
        .fetch_optional(executor)
        .await
}

pub(super) async fn build_name(
    executor: impl SqliteExecutor<'_>,
    number: i64,
) -> Result<Option<String>, sqlx::Error> {
    sqlx::query_scalar!(
        r#"select asset.name || ', ' || request.part_name as "name!: String"
           from build join request on request.id = build.request_id
           join asset on asset.id = request.asset_id
           where build.number = ?"#,
        number
    )
    .fetch_optional(executor)
    .await
}

/// A photo or paper where it hangs.
#[derive(Debug, Clone)]
pub struct Attached {
    pub id: Uuid,
    pub hash: AttachmentHash,
    pub file_name: String,
    pub caption: String,
    pub person: Uuid,
    pub added_by: String,
    pub added_ms: i64,
    pub media_type: String,
    pub size: i64,
    /// Pixels of a picture; none for a paper.
    pub pixels: Option<(i64, i64)>,
    /// Pages of a paper; 0 for a picture.
    pub pages: i64,
    pub off: Option<Off>,
}

/// How it was taken off.
#[derive(Debug, Clone)]
pub struct Off {
    pub reason: String,
    pub by: String,
    pub at_ms: i64,
}

/// Everything that hangs, or hung, on a holder, newest first.
pub async fn of(
    executor: impl SqliteExecutor<'_>,
    holder: &Holder,
) -> Result<Vec<Attached>, sqlx::Error> {
    let kind = holder.kind.word();
    sqlx::query_as!(
        Row,
        r#"select attached.id as "id: Uuid", attached.hash, file_name, caption, person_id as "person: Uuid",
             added_by, added_ms, media_type, size, width, height, pages, off_reason, off_by, off_ms
           from attached join attachment on attachment.hash = attached.hash
           where subject_kind = ? and subject = ?
           order by attached.journal_sequence desc"#,
        kind,
        holder.key,
    )
    .try_map(Row::read)
    .fetch_all(executor)
    .await
}

/// Hash and name of what hangs on a request, newest first.
pub async fn names(
    executor: impl SqliteExecutor<'_>,
    request: i64,
) -> Result<Vec<(AttachmentHash, String)>, sqlx::Error> {
    let subject = request.to_string();
    let rows = sqlx::query!(
        "select hash, file_name, caption from attached
         where subject_kind = 'request' and subject = ? and off_reason is null
         order by journal_sequence desc",
        subject
    )
    .fetch_all(executor)
    .await?;
    rows.into_iter()
        .map(|row| {
            let hash = decoded(<[u8; 32]>::try_from(row.hash.as_slice()))?;
            Ok((AttachmentHash(hash), title(row.file_name, &row.caption)))
        })
        .collect()
}

/// A file by its name, with its caption if it has one.
pub fn title(file_name: String, caption: &str) -> String {
    match caption {
        "" => file_name,
        caption => format!("{file_name}, {caption}"),
    }
}

/// Kind and key of what one hangs on, by its id.
pub(super) async fn holder_of(
    executor: impl SqliteExecutor<'_>,
    id: Uuid,
) -> Result<Option<(String, String)>, sqlx::Error> {
    sqlx::query!(
        "select subject_kind, subject from attached where id = ?",
        id
    )
    .map(|row| (row.subject_kind, row.subject))
    .fetch_optional(executor)
    .await
}

struct Row {
    id: Uuid,
    hash: Vec<u8>,
    file_name: String,
    caption: String,
    person: Uuid,
    added_by: String,
    added_ms: i64,
    media_type: String,
    size: i64,
    width: Option<i64>,
    height: Option<i64>,
    pages: Option<i64>,
    off_reason: Option<String>,
    off_by: Option<String>,
    off_ms: Option<i64>,
}

impl Row {
    fn read(self) -> Result<Attached, sqlx::Error> {
        Ok(Attached {
            id: self.id,
            hash: hash(&self.hash)?,
            file_name: self.file_name,
            caption: self.caption,
            person: self.person,
            added_by: self.added_by,
            added_ms: self.added_ms,
            media_type: self.media_type,
            size: self.size,
            pixels: self.width.zip(self.height),
            pages: self.pages.unwrap_or(0),
            off: match (self.off_reason, self.off_by, self.off_ms) {
                (Some(reason), Some(by), Some(at_ms)) => Some(Off { reason, by, at_ms }),
                _ => None,
            },
        })
    }
}

fn hash(stored: &[u8]) -> Result<AttachmentHash, sqlx::Error> {
    decoded(<[u8; 32]>::try_from(stored)).map(AttachmentHash)
}

/// A stored file as it is sent to a browser.
pub struct Stored {
    pub media_type: String,
    pub bytes: Vec<u8>,
}

/// The bytes of what hangs, or hung, somewhere.
pub async fn bytes(
    executor: impl SqliteExecutor<'_>,
    hash: AttachmentHash,
) -> Result<Option<Stored>, sqlx::Error> {
    let hash = hash.0.as_slice();
    sqlx::query_as!(
        Stored,
        "select media_type, bytes from attachment
         where hash = ?1 and exists (select 1 from attached where attached.hash = ?1)",
        hash
    )
    .fetch_optional(executor)
    .await
}

/// The small JPEG of a picture.
pub(super) async fn thumbnail(
    read: &SqlitePool,
    hash: AttachmentHash,
) -> Result<Option<Vec<u8>>, sqlx::Error> {
    let hash = hash.0.as_slice();
    sqlx::query_scalar!(
        r#"select thumbnail as "thumbnail!" from attachment
           where hash = ?1 and thumbnail is not null
             and exists (select 1 from attached where attached.hash = ?1)"#,
        hash
    )
    .fetch_optional(read)
    .await
}

/// Keeps the bytes, unless they are kept already.
pub(super) async fn keep(
    connection: &mut SqliteConnection,
    ready: &Ready,
) -> Result<(), sqlx::Error> {
    let hash = ready.hash.0.as_slice();
    let media_type = ready.shape.media_type();
    let size = whole(ready.bytes.len());
    let (width, height, pages, thumbnail) = match &ready.shape {
        Shape::Picture {
            width,
            height,
            thumbnail,
            ..
        } => (
            Some(*width),
            Some(*height),
            None,
            Some(thumbnail.as_slice()),
        ),
        Shape::Paper { pages } => (None, None, Some(whole(*pages)), None),
    };
    sqlx::query!(
        "insert into attachment (hash, media_type, size, width, height, pages, thumbnail, bytes)
         values (?, ?, ?, ?, ?, ?, ?, ?)
         on conflict (hash) do nothing",
        hash,
        media_type,
        size,
        width,
        height,
        pages,
        thumbnail,
        ready.bytes,
    )
    .execute(connection)
    .await?;
    Ok(())
}

fn whole(count: usize) -> i64 {
    i64::try_from(count).unwrap_or(i64::MAX)
}

/// Who hangs a file where, when, and under which journal entry.
pub(super) struct Hanging<'a> {
    pub id: Uuid,
    pub holder: &'a Holder,
    pub hash: AttachmentHash,
    pub file_name: &'a str,
    pub caption: &'a str,
    pub person: Uuid,
    pub by: &'a str,
    pub at_ms: i64,
    pub sequence: i64,
}

pub(super) async fn hang(
    connection: &mut SqliteConnection,
    hanging: &Hanging<'_>,
) -> Result<(), sqlx::Error> {
    let kind = hanging.holder.kind.word();
    let hash = hanging.hash.0.as_slice();
    sqlx::query!(
        "insert into attached (id, subject_kind, subject, hash, file_name, caption, person_id,
           added_by, added_ms, journal_sequence)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        hanging.id,
        kind,
        hanging.holder.key,
        hash,
        hanging.file_name,
        hanging.caption,
        hanging.person,
        hanging.by,
        hanging.at_ms,
        hanging.sequence,
    )
    .execute(connection)
    .await?;
    Ok(())
}

pub(super) async fn take_off(
    connection: &mut SqliteConnection,
    id: Uuid,
    off: &Off,
    sequence: i64,
) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "update attached set off_reason = ?, off_by = ?, off_ms = ?, off_sequence = ? where id = ?",
        off.reason,
        off.by,
        off.at_ms,
        sequence,
        id,
    )
    .execute(connection)
    .await?;
    Ok(())
}
