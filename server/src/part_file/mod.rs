//! The part file: all that is on record of one rebuilt part.
//!
//! From its request to its release and after, on one sheet, as one file that opens without this service, and as an
//! archive whose every file can be checked.

mod archive;
mod entries;
mod pages;
mod sections;

use chrono_tz::Tz;
use mendpost_core::course::Stand;
use mendpost_core::journal::code::HeadCode;
use mendpost_core::people::Act;
use sqlx::SqliteConnection;

use crate::attachment::queries::{self as attachments, Attached};
use crate::attachment::{AttachmentHash, Holder};
use crate::change;
use crate::error::AppError;
use crate::requests::decision::{History, named};
use crate::routes::Routes;
use crate::site;
use entries::Line;
use sections::Section;

pub use archive::archive;

pub fn routes() -> Routes {
    Routes::default()
        .get("/requests/{number}/file", Act::Look, pages::show)
        .get("/requests/{number}/file.html", Act::Look, pages::alone)
        .get("/requests/{number}/file.zip", Act::Look, pages::zipped)
}

/// All that is on record of a part, as it stood at one entry of the journal.
///
/// It tells no time of its own: the same record makes the same file, byte for byte.
pub struct PartFile {
    pub number: i64,
    site: String,
    cell: String,
    zone: Tz,
    what: String,
    /// Whether it may be fitted, in capitals and then in words.
    standing: (&'static str, &'static str),
    /// The journal's end when the file was made, and when that entry was written.
    head: HeadCode,
    as_of_ms: i64,
    sections: Vec<Section>,
    files: Vec<File>,
    entries: Vec<Line>,
}

/// A photo or paper that hangs on the request or one of its builds.
struct File {
    hash: AttachmentHash,
    /// Its name in the archive: by its hash, so that no sent name leads anywhere.
    name: String,
    caption: String,
    sent_as: String,
    of: String,
    by: String,
    added_ms: i64,
    size: i64,
}

impl PartFile {
    /// Reads it at one moment.
    ///
    /// # Errors
    /// [`AppError::NotFound`] for what is no request.
    pub async fn load(
        connection: &mut SqliteConnection,
        number: &str,
    ) -> Result<PartFile, AppError> {
        let request = named(&mut *connection, number).await?;
        let site = site::queries::site(&mut *connection).await?;
        let site = site.ok_or_else(|| AppError::internal("the database holds no site"))?;
        let (sequence, hash) = change::head(&mut *connection).await?;
        let number = request.number;
        let as_of_ms = sqlx::query_scalar!("select time from journal where sequence = ?", sequence)
            .fetch_optional(&mut *connection)
            .await?;
        let stand = History::load(&mut *connection, &request).await?.stand;
        let held = sqlx::query_scalar!(
            r#"select count(*) as "held!: i64" from part_hold h join request r on r.id = h.request_id
               where r.number = ? and h.number not in (select number from part_judged)"#,
            number
        )
        .fetch_one(&mut *connection)
        .await?;
        Ok(PartFile {
            number,
            what: format!("{} {}", request.asset, request.part_name),
            standing: standing(stand, held > 0),
            head: HeadCode::new(sequence, hash),
            as_of_ms: as_of_ms.unwrap_or(0),
            sections: sections::of(connection, number).await?,
            files: files(connection, number).await?,
            entries: entries::of(connection, number).await?,
            zone: site.zone,
            site: site.name,
            cell: site.cell_name,
        })
    }

    /// Its name as a file: which part, and up to which entry of the journal.
    #[must_use]
    pub fn name(&self, end: &str) -> String {
        let site: String = self.site.chars().map(safe).collect();
        format!(
            "{site}-R{}-journal-{}.{end}",
            self.number,
            self.head.sequence()
        )
    }
}

/// Letters and figures of ASCII, in small letters; all else is a hyphen.
fn safe(letter: char) -> char {
    match letter {
        'a'..='z' | '0'..='9' => letter,
        'A'..='Z' => letter.to_ascii_lowercase(),
        _ => '-',
    }
}

/// What may be done with the part.
fn standing(stand: Stand, held: bool) -> (&'static str, &'static str) {
    match stand {
        _ if held => (
            "ON HOLD",
            "Not to be fitted: somebody has to judge it first.",
        ),
        Stand::Released => ("RELEASED", "It may be fitted within the limits on its tag."),
        Stand::Served => ("FITTED AND RUN", "Its request is served."),
        Stand::Refused => ("NOT SERVED HERE", "No part of it may be fitted."),
        Stand::Withdrawn => ("WITHDRAWN", "No part of it may be fitted."),
        Stand::Reported | Stand::Sorted | Stand::InWork => (
            "NOT RELEASED",
            "Not to be fitted: what follows is what is on record so far.",
        ),
    }
}

async fn files(connection: &mut SqliteConnection, number: i64) -> Result<Vec<File>, AppError> {
    let mut holders: Vec<Holder> = Holder::request(&mut *connection, number)
        .await?
        .into_iter()
        .collect();
    let builds = crate::build::queries::of_request(&mut *connection, number).await?;
    for build in &builds {
        holders.extend(Holder::build(&mut *connection, build.number).await?);
    }
    let mut files = Vec::new();
    for holder in &holders {
        let mut hung = attachments::of(&mut *connection, holder).await?;
        hung.retain(|it| it.off.is_none());
        hung.reverse();
        files.extend(hung.into_iter().map(|it| file(it, holder.code())));
    }
    Ok(files)
}

fn file(hung: Attached, of: String) -> File {
    let end = match hung.media_type.as_str() {
        "image/jpeg" => "jpg",
        "image/png" => "png",
        _ => "pdf",
    };
    File {
        name: format!("attachments/{}.{end}", hung.hash),
        hash: hung.hash,
        caption: hung.caption,
        sent_as: hung.file_name,
        of,
        by: hung.added_by,
        added_ms: hung.added_ms,
        size: hung.size,
    }
}
