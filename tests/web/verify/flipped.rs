//! Bits of stored entries, flipped at random.

use mendpost_core::journal::Stored;
use mendpost_server::verify::{Fault, replayed};

use super::{hex, rows, run, some_hours, tampered, told, without_triggers};

/// Columns of a row as bytes, with what makes the bytes a value of the column again.
fn columns(row: &Stored) -> [(&'static str, Vec<u8>, &'static str); 9] {
    [
        ("sequence", row.sequence.to_be_bytes().to_vec(), "integer"),
        ("time", row.time.to_be_bytes().to_vec(), "integer"),
        ("actor", row.actor.clone(), "text"),
        ("kind", row.kind.clone(), "text"),
        ("subject_kind", row.subject_kind.clone(), "text"),
        ("subject_id", row.subject_id.clone(), "text"),
        ("content", row.content.clone(), "text"),
        ("previous_hash", row.previous.clone(), "blob"),
        ("hash", row.hash.clone(), "blob"),
    ]
}

fn literal(bytes: &[u8], kind: &str) -> String {
    match kind {
        "integer" => {
            let bytes = bytes.try_into().expect("eight bytes");
            let value = i64::from_be_bytes(bytes);
            // SQLite reads the least number as a negated one that it cannot hold.
            format!("{value}").replace("-9223372036854775808", "(-9223372036854775807 - 1)")
        }
        "text" => format!("cast(x'{}' as text)", hex(bytes)),
        _ => format!("x'{}'", hex(bytes)),
    }
}

/// Three hundred times one bit of one stored byte is another, anywhere in the journal, in each column in turn: each
/// time the chain does not hold, and what is told names the entry, or the one that is missing in its place.
#[tokio::test(flavor = "multi_thread")]
async fn any_flipped_bit_of_an_entry_is_found() {
    let app = some_hours().await;
    let rows = rows(&app).await;
    let mut rng = fastrand::Rng::with_seed(2026);
    let mut writer = app.state.db.write.acquire().await.expect("the writer");
    run(&mut writer, "pragma foreign_keys = off").await;
    run(&mut writer, "pragma ignore_check_constraints = on").await;
    without_triggers(&mut writer).await;
    for turn in 0..300 {
        let row = &rows[rng.usize(..rows.len())];
        let (column, mut bytes, kind) = columns(row)[turn % 9].clone();
        let bit = rng.usize(..bytes.len() * 8);
        let right = literal(&bytes, kind);
        bytes[bit / 8] ^= 1 << (bit % 8);
        let wrong = literal(&bytes, kind);
        let at = row.sequence;
        // Where it stands afterwards.
        let there = match column {
            "sequence" if rows.iter().any(|row| row.sequence.to_string() == wrong) => continue,
            "sequence" => wrong.clone(),
            _ => at.to_string(),
        };
        run(
            &mut writer,
            &format!("update journal set {column} = {wrong} where sequence = {at}"),
        )
        .await;
        let found = replayed(&app.state.db.read).await;
        let what = format!("bit {bit} of {column} of entry {at}");
        match found {
            Err(Fault::Chain(broken)) if column != "sequence" => {
                let told = broken.to_string();
                assert!(
                    told.contains(&format!("journal entry {at} ")),
                    "{what}: {told}"
                );
            }
            Err(Fault::Chain(_)) => {}
            other => panic!("{what}: {other:?}"),
        }
        run(
            &mut writer,
            &format!("update journal set {column} = {right} where sequence = {there}"),
        )
        .await;
    }
    drop(writer);
    replayed(&app.state.db.read)
        .await
        .expect("all was put back");
}

/// What means the same is found too.
#[tokio::test(flavor = "multi_thread")]
async fn an_entry_written_otherwise_is_found() {
    let app = some_hours().await;
    for change in [
        "replace(content, ':', ': ')",
        "content || ' '",
        "json_insert('{}', '$.z', 0)",
        "replace(content, '\"state\"', '\"\\u0073tate\"')",
    ] {
        let statement =
            format!("update journal set content = {change} where kind = 'lot.received'");
        let told = told(tampered(&app, &[&statement], &[]).await);
        assert!(
            told.starts_with("journal entry ") && told.contains(" was changed after"),
            "{told}"
        );
    }
}
