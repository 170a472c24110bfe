//! The archive: the part file as HTML and as values, every photo and paper, the journal's entries, and the sums of all
//! of these.

use std::io::{Cursor, Write};

use mendpost_core::journal::canonical;
use serde_json::{Map, Value, json};
use sqlx::SqliteConnection;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, ZipWriter};

use super::PartFile;
use super::pages::html;
use super::sections::Section;
use crate::attachment::{AttachmentHash, queries as attachments};
use crate::error::AppError;

/// The archive of a part file.
///
/// `sha256sum -c SHA256SUMS` checks what was unpacked; each line of `journal.ndjson` is what one entry was sealed
/// over, so that the SHA-256 of the line without its end is the hash of that entry.
///
/// The same record makes the same bytes: no file in it has a time, and their order is fixed.
///
/// # Errors
/// [`AppError`] where the database cannot be read, or lacks an attachment's bytes.
pub async fn archive(
    connection: &mut SqliteConnection,
    file: &PartFile,
) -> Result<Vec<u8>, AppError> {
    let journal: Vec<&str> = file.entries.iter().map(|it| it.sealed.as_str()).collect();
    let mut members = vec![
        (
            format!("part-R{}.html", file.number),
            html(file)?.into_bytes(),
        ),
        ("part.json".to_owned(), values(file)?.into_bytes()),
        (
            "journal.ndjson".to_owned(),
            (journal.join("\n") + "\n").into_bytes(),
        ),
    ];
    for attached in &file.files {
        if members.iter().any(|(name, _)| *name == attached.name) {
            continue;
        }
        let stored = attachments::bytes(&mut *connection, attached.hash).await?;
        let stored =
            stored.ok_or_else(|| AppError::internal(format!("no bytes of {}", attached.hash)))?;
        members.push((attached.name.clone(), stored.bytes));
    }
    let sums: String = members
        .iter()
        .map(|(name, bytes)| format!("{}  {name}\n", AttachmentHash::of(bytes)))
        .collect();
    members.push(("SHA256SUMS".to_owned(), sums.into_bytes()));
    packed(&members).map_err(AppError::internal)
}

fn packed(members: &[(String, Vec<u8>)]) -> Result<Vec<u8>, zip::result::ZipError> {
    let options = SimpleFileOptions::default()
        .compression_method(CompressionMethod::Stored)
        .last_modified_time(DateTime::default())
        .unix_permissions(0o644);
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in members {
        writer.start_file(name.as_str(), options)?;
        writer.write_all(bytes)?;
    }
    Ok(writer.finish()?.into_inner())
}

/// All values as they are stored, in canonical JSON.
fn values(file: &PartFile) -> Result<String, AppError> {
    let sections = file.sections.iter().map(section).collect::<Map<_, _>>();
    let entries = file
        .entries
        .iter()
        .map(|it| json!({ "sequence": it.sequence, "kind": it.kind, "hash": it.hash }));
    let files = file.files.iter().map(|it| {
        json!({
            "sha256": it.hash.to_string(),
            "name": it.name,
            "sent_as": it.sent_as,
            "caption": it.caption,
            "of": it.of,
            "added_by": it.by,
            "added_ms": it.added_ms,
            "bytes": it.size,
        })
    });
    let all = json!({
        "site": file.site,
        "cell": file.cell,
        "request": file.number,
        "standing": file.standing.0,
        "journal": { "sequence": file.head.sequence(), "code": file.head.to_string() },
        "sections": sections,
        "attachments": files.collect::<Vec<_>>(),
        "entries": entries.collect::<Vec<_>>(),
    });
    canonical(&all).map_err(AppError::internal)
}

fn section(section: &Section) -> (String, Value) {
    let rows = section.rows.iter().map(|values| {
        let cells = section.columns.iter().zip(values);
        let cells = cells.map(|(column, value)| (column.word.to_owned(), value.clone()));
        Value::Object(cells.collect())
    });
    (section.title.to_owned(), rows.collect())
}
