use std::collections::BTreeMap;

use mendpost_core::catalogue::{About, Flag, FlagRule};
use sqlx::SqliteConnection;

use crate::change::Change;
use crate::db::decoded;

/// Who set the rule of a flag, when, and why.
#[derive(Debug, Clone)]
pub(super) struct Set {
    pub by: String,
    pub at_ms: i64,
    pub reason: String,
    /// How often the rule of this flag was set.
    pub times: i64,
}

/// The newest word on each flag about which the site has said anything.
pub(super) async fn set(
    connection: &mut SqliteConnection,
) -> Result<BTreeMap<Flag, Set>, sqlx::Error> {
    let rows = sqlx::query!(
        "select flag, said_by, said_ms, reason from flag_rule order by journal_sequence"
    )
    .fetch_all(connection)
    .await?;
    let mut newest: BTreeMap<Flag, Set> = BTreeMap::new();
    for row in rows {
        let flag = decoded(row.flag.parse())?;
        let times = newest.get(&flag).map_or(0, |set| set.times) + 1;
        let set = Set {
            by: row.said_by,
            at_ms: row.said_ms,
            reason: row.reason,
            times,
        };
        newest.insert(flag, set);
    }
    Ok(newest)
}

/// Writes a rule under the journal entry that says so.
pub(super) async fn insert(
    change: &mut Change,
    journal: i64,
    flag: Flag,
    rule: &FlagRule,
    (reason, by): (&str, &str),
) -> Result<(), sqlx::Error> {
    let (flag, build, now) = (flag.as_str(), rule.build.as_str(), change.now());
    sqlx::query!(
        "insert into flag_rule (journal_sequence, flag, build, build_written, release_written, reason,
           said_by, said_ms)
         values (?, ?, ?, ?, ?, ?, ?, ?)",
        journal,
        flag,
        build,
        rule.build_written,
        rule.release_written,
        reason,
        by,
        now,
    )
    .execute(change.connection())
    .await?;
    let to_build = rule.to_build.iter().map(|who| (About::Build, who));
    let to_release = rule.to_release.iter().map(|who| (About::Release, who));
    for (about, who) in to_build.chain(to_release) {
        let (about, who) = (about.as_str(), who.as_str());
        sqlx::query!(
            "insert into flag_rule_who (journal_sequence, flag, about, who) values (?, ?, ?, ?)",
            journal,
            flag,
            about,
            who,
        )
        .execute(change.connection())
        .await?;
    }
    Ok(())
}
