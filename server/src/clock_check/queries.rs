use mendpost_core::journal::clock::BELIEVED_MS;
use sqlx::SqliteExecutor;

/// Two entries that follow each other.
pub struct Step {
    pub sequence: i64,
    /// Time of the entry before.
    pub before: i64,
    pub time: i64,
}

/// The steps in time that are to be doubted, since the clock was last confirmed.
pub async fn odd_steps(executor: impl SqliteExecutor<'_>) -> Result<Vec<Step>, sqlx::Error> {
    sqlx::query_as!(
        Step,
        r#"select sequence as "sequence!: i64", before as "before!: i64", time as "time!: i64"
         from journal_step join journal using (sequence)
         where sequence > (select coalesce(max(sequence), 0) from journal where kind = 'clock.confirmed')
           and (time < before or time - before > ?)
         order by sequence"#,
        BELIEVED_MS,
    )
    .fetch_all(executor)
    .await
}

/// Number and time of the last entry.
pub async fn last_entry(
    executor: impl SqliteExecutor<'_>,
) -> Result<Option<(i64, i64)>, sqlx::Error> {
    sqlx::query!("select sequence, time from journal order by sequence desc limit 1")
        .map(|row| (row.sequence, row.time))
        .fetch_optional(executor)
        .await
}
