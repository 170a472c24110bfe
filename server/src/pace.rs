//! How long operations took: on record, as the line-up learns from it, and where the minutes of builds went.

use std::collections::BTreeMap;

use mendpost_core::build::{Cause, Minutes, minutes};
use mendpost_core::catalogue::{Operation, Recipe, Timed};
use mendpost_core::code::RecipeCode;
use sqlx::SqliteConnection;
use uuid::Uuid;

use crate::build::queries::{marks, times};
use crate::change::Change;
use crate::db::decoded;
use crate::situation::moment;

/// One time that an operation was done, in the journal entry that says so.
pub struct Took<'a> {
    pub recipe: &'a RecipeCode,
    pub operation: &'a Operation,
    pub timed: Timed,
}

/// Puts on record how long an operation took, where the next one will take about as long. Less than a minute is no
/// time that anybody took.
pub async fn record(change: &mut Change, took: &Took<'_>, entry: i64) -> Result<(), sqlx::Error> {
    let Timed {
        reckoned_min,
        took_min,
    } = took.timed;
    if !took.operation.learns() || reckoned_min < 1 || !(1..=MOST_MIN).contains(&took_min) {
        return Ok(());
    }
    let (recipe, kind) = (took.recipe.as_str(), took.operation.kind.to_string());
    sqlx::query!(
        "insert into operation_took (journal_sequence, recipe_code, kind, name, reckoned_min, took_min)
         values (?, ?, ?, ?, ?, ?)",
        entry,
        recipe,
        kind,
        took.operation.name,
        reckoned_min,
        took_min,
    )
    .execute(change.connection())
    .await?;
    Ok(())
}

/// Ten weeks: nobody works longer on one operation.
const MOST_MIN: i64 = 100_000;

/// Recipe, kind and name of an operation, whatever the revision.
type Done = (String, String, String);

/// The last times of every operation that some recipe has.
pub struct Times(BTreeMap<Done, Vec<Timed>>);

impl Times {
    /// The last `LAST` of each.
    pub async fn load(connection: &mut SqliteConnection) -> Result<Self, sqlx::Error> {
        let rows = sqlx::query!(
            r#"select d.code as "code!: String", d.kind as "kind!: String", d.name as "name!: String",
                 json_group_array(json_array(t.reckoned_min, t.took_min)) as "times!: String"
               from (select distinct r.code, o.kind, o.name
                     from recipe_operation o join recipe r on r.id = o.recipe_id) d
               join operation_took t on t.journal_sequence in (
                 select journal_sequence from operation_took
                 where recipe_code = d.code and kind = d.kind and name = d.name
                 order by journal_sequence desc limit ?)
               group by d.code, d.kind, d.name"#,
            LAST
        )
        .fetch_all(connection)
        .await?;
        // Some thousand pairs: as one text for each operation they come in half the time that rows take.
        let mut times: BTreeMap<Done, Vec<Timed>> = BTreeMap::new();
        for row in rows {
            let pairs: Vec<(i64, i64)> = decoded(serde_json::from_str(&row.times))?;
            let timed = pairs.into_iter().map(|(reckoned_min, took_min)| Timed {
                reckoned_min,
                took_min,
            });
            times.insert((row.code, row.kind, row.name), timed.collect());
        }
        Ok(Self(times))
    }

    /// Gives every operation of a recipe its own.
    pub fn add_to(&self, recipe: &mut Recipe) {
        for operation in &mut recipe.operations {
            let kind = operation.kind.to_string();
            let done = (recipe.code.to_string(), kind, operation.name.clone());
            let timed = self.0.get(&done).cloned().unwrap_or_default();
            match operation.spray.as_mut() {
                Some(spray) => spray.timed = timed,
                None => operation.timed = timed,
            }
        }
    }
}

/// So many of the last times count: what was slow years ago says little.
const LAST: i64 = 40;

/// Where the minutes of the last builds by a recipe went.
#[derive(Debug, Default)]
pub struct Spent {
    pub builds: usize,
    pub set_up: i64,
    pub spraying: i64,
    /// By cause: minutes, and in how many builds it stopped for it.
    pub stopped: BTreeMap<Cause, (i64, usize)>,
}

impl Spent {
    fn add(&mut self, took: &Minutes) {
        self.builds += 1;
        self.set_up += took.set_up;
        self.spraying += took.spraying;
        for (cause, minutes) in &took.stopped {
            let all = self.stopped.entry(*cause).or_default();
            *all = (all.0 + minutes, all.1 + 1);
        }
    }
}

struct Built {
    id: Uuid,
    begun_ms: i64,
    ended_ms: i64,
}

/// Where the minutes of the last builds by a recipe went, in any revision, scrapped ones left out.
pub async fn spent(
    connection: &mut SqliteConnection,
    recipe: &RecipeCode,
) -> Result<Spent, sqlx::Error> {
    let code = recipe.as_str();
    let builds = sqlx::query_as!(
        Built,
        r#"select b.id as "id: Uuid", b.begun_ms, e.ended_ms
           from recipe r join build b on b.recipe_id = r.id join build_end e on e.build_id = b.id
           where r.code = ? and e.outcome = 'done' order by b.number desc limit ?"#,
        code,
        LAST
    )
    .fetch_all(&mut *connection)
    .await?;
    let mut spent = Spent::default();
    for build in builds {
        let marks = marks(&mut *connection, build.id).await?;
        let at = |ms| decoded(moment(ms));
        spent.add(&minutes(
            at(build.begun_ms)?,
            &times(&marks),
            at(build.ended_ms)?,
        ));
    }
    Ok(spent)
}
