use std::collections::{BTreeMap, BTreeSet};

use mendpost_core::catalogue::{About, Flag, FlagRule, Rules, Who};
use sqlx::SqliteConnection;

use super::word;

/// The usual rules, with those that the site has set itself.
pub async fn load(connection: &mut SqliteConnection) -> Result<Rules, sqlx::Error> {
    let whose =
        sqlx::query!("select journal_sequence, flag, about, who from flag_rule_who order by who")
            .fetch_all(&mut *connection)
            .await?;
    let mut asked: BTreeMap<(i64, String, About), BTreeSet<Who>> = BTreeMap::new();
    for row in whose {
        let key = (row.journal_sequence, row.flag, word(&row.about)?);
        asked.entry(key).or_default().insert(word(&row.who)?);
    }
    let rows = sqlx::query!(
        r#"select journal_sequence, flag, build, build_written as "build_written: bool",
             release_written as "release_written: bool"
           from flag_rule order by journal_sequence"#
    )
    .fetch_all(connection)
    .await?;
    let mut set: BTreeMap<Flag, FlagRule> = BTreeMap::new();
    for row in rows {
        let flag = word(&row.flag)?;
        let mut whose = |about| {
            asked
                .remove(&(row.journal_sequence, row.flag.clone(), about))
                .unwrap_or_default()
        };
        let rule = FlagRule {
            build: word(&row.build)?,
            to_build: whose(About::Build),
            build_written: row.build_written,
            to_release: whose(About::Release),
            release_written: row.release_written,
        };
        set.insert(flag, rule);
    }
    Ok(Rules::usual().with(set))
}
