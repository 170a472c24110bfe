//! What became of builds: released, or sprayed and sent back.

use std::collections::BTreeMap;

use mendpost_core::code::RecipeCode;
use mendpost_core::situation::Outcomes;
use sqlx::SqliteConnection;

use super::word;

/// By recipe, whichever the revision; of each revision since the fiftieth release before now. A part that is sent
/// back after its release counts as failed.
///
/// What happened long before says little of today, and every page would have to count it (50 is our choice, no
/// source).
pub(super) async fn load(
    connection: &mut SqliteConnection,
) -> Result<BTreeMap<RecipeCode, Outcomes>, sqlx::Error> {
    let mut outcomes: BTreeMap<RecipeCode, Outcomes> = BTreeMap::new();
    let passed = sqlx::query!(
        r#"select r.code, count(*) as "builds!: i64"
           from recipe_operation o
           join recipe r on r.id = o.recipe_id
           join work_done w on w.recipe_id = o.recipe_id and w.position = o.position
             and w.journal_sequence >= coalesce((select n.journal_sequence from work_done n
               where n.recipe_id = o.recipe_id and n.position = o.position
               order by n.journal_sequence desc limit 1 offset 49), 0)
           where o.kind = 'release'
             and not exists (select 1 from request_decision d where d.request_id = w.request_id
               and d.decision in ('sent-back', 'scrapped') and d.journal_sequence > w.journal_sequence)
             and not exists (select 1 from rework b where b.request_id = w.request_id
               and b.position <= w.position and b.journal_sequence > w.journal_sequence)
           group by r.code"#
    )
    .fetch_all(&mut *connection)
    .await?;
    for row in passed {
        outcomes.entry(word(&row.code)?).or_default().passed = row.builds;
    }
    let failed = sqlx::query!(
        r#"select r.code, count(distinct d.journal_sequence) as "builds!: i64"
           from recipe_operation o
           join recipe r on r.id = o.recipe_id
           join work_done w on w.recipe_id = o.recipe_id and w.position = o.position
             and w.journal_sequence >= coalesce((select n.journal_sequence from work_done n
               where n.recipe_id = o.recipe_id
                 and n.position = (select e.position from recipe_operation e
                   where e.recipe_id = o.recipe_id and e.kind = 'release')
               order by n.journal_sequence desc limit 1 offset 49), 0)
           join request_decision d on d.request_id = w.request_id and d.journal_sequence > w.journal_sequence
           where d.decision in ('sent-back', 'scrapped') and o.kind = 'spray'
             and not exists (select 1 from request_decision before where before.request_id = d.request_id
               and before.decision in ('sent-back', 'scrapped', 'reopened')
               and before.journal_sequence between w.journal_sequence and d.journal_sequence - 1)
           group by r.code"#
    )
    .fetch_all(connection)
    .await?;
    for row in failed {
        outcomes.entry(word(&row.code)?).or_default().failed = row.builds;
    }
    Ok(outcomes)
}
