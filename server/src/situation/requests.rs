use std::collections::BTreeMap;

use mendpost_core::catalogue::{Answer, Said};
use mendpost_core::situation::{BaseMetal, Begun, OnHold, Request, Spare, StandIn, Way};
use sqlx::SqliteConnection;
use uuid::Uuid;

use super::{Codes, at, at_if, code, word};

/// Open requests, oldest first.
pub(super) async fn load(
    connection: &mut SqliteConnection,
    codes: &Codes,
) -> Result<Vec<Request>, sqlx::Error> {
    let mut ways = ways(connection, codes).await?;
    let mut answers = answers(connection, None).await?;
    let mut begun = begun(connection).await?;
    let mut holds = holds(connection).await?;
    let rows = sqlx::query!(
        r#"select id as "id: Uuid", number, asset_id as "asset_id: Uuid", part_id as "part_id: Uuid", part_name, damage,
             description, reported_ms, asked_by, needed_by_ms, danger as "danger: bool", at_cell_ms,
             base_metal_id as "base_metal_id: Uuid", base_metal_known as "base_metal_known: bool",
             tag, mass_g, spare, spare_where
           from request where state = 'open' order by reported_ms, number"#
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(Request {
                code: word(&format!("R{}", row.number))?,
                asset: code(&codes.assets, row.asset_id)?,
                part: row.part_id.map(|id| code(&codes.parts, id)).transpose()?,
                part_name: row.part_name,
                damage: word(&row.damage)?,
                description: row.description,
                reported_at: at(row.reported_ms)?,
                asked_by: row.asked_by,
                needed_by: at_if(row.needed_by_ms)?,
                danger: row.danger,
                base_metal: row
                    .base_metal_id
                    .map(|id| {
                        let metal = code(&codes.metals, id)?;
                        let known = row.base_metal_known;
                        Ok::<_, sqlx::Error>(BaseMetal { metal, known })
                    })
                    .transpose()?,
                at_cell_from: at_if(row.at_cell_ms)?,
                tag: row.tag,
                mass_g: row.mass_g,
                spare: spare(&row.spare, row.spare_where),
                ways: ways.remove(&row.id).unwrap_or_default(),
                answers: answers.remove(&row.id).unwrap_or_default(),
                begun: begun.remove(&row.id),
                building: None,
                on_hold: holds.remove(&row.id).unwrap_or_default(),
            })
        })
        .collect()
}

fn spare(said: &str, place: String) -> Spare {
    match said {
        "yes" => Spare::There(place),
        "no" => Spare::Absent,
        _ => Spare::NotKnown,
    }
}

async fn ways(
    connection: &mut SqliteConnection,
    codes: &Codes,
) -> Result<BTreeMap<Uuid, Vec<Way>>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"select request_id as "request_id: Uuid", kind, recipe_code, delivery_id as "delivery_id: Uuid",
             expected_ms, fit_min, crew, off_by_ms, swap_min, second_build
           from request_way where request_id in (select id from request where state = 'open')
           order by request_id, position"#
    )
    .fetch_all(connection)
    .await?;
    let mut ways: BTreeMap<Uuid, Vec<Way>> = BTreeMap::new();
    let missing = || sqlx::Error::RowNotFound;
    for row in rows {
        let recipe = row.recipe_code.as_deref().map(word).transpose()?;
        let way = match row.kind.as_str() {
            "recipe" => Way::Recipe(recipe.ok_or_else(missing)?),
            "stand-in" => Way::StandIn(StandIn {
                recipe: recipe.ok_or_else(missing)?,
                off_by: at(row.off_by_ms.ok_or_else(missing)?)?,
                swap_min: row.swap_min.ok_or_else(missing)?,
                second_build: row.second_build.ok_or_else(missing)?,
            }),
            _ => Way::TruePart {
                delivery: row
                    .delivery_id
                    .map(|id| code(&codes.deliveries, id))
                    .transpose()?,
                expected: at(row.expected_ms.ok_or_else(missing)?)?,
                fit_min: row.fit_min.ok_or_else(missing)?,
                crew: row.crew.ok_or_else(missing)?,
            },
        };
        ways.entry(row.request_id).or_default().push(way);
    }
    Ok(ways)
}

/// Answers about one request, or about those that are open, by request, the oldest first.
pub(super) async fn answers(
    connection: &mut SqliteConnection,
    only: Option<Uuid>,
) -> Result<BTreeMap<Uuid, Vec<Answer>>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"select request_id as "request_id: Uuid", about, who, name, came, words, limits, said, until_ms,
             only_recipe, only_revision, expected_ms
           from answer
           where request_id in (select id from request where state = 'open' and ?1 is null union select ?1)
           order by given_ms, id"#,
        only
    )
    .fetch_all(connection)
    .await?;
    let mut answers: BTreeMap<Uuid, Vec<Answer>> = BTreeMap::new();
    for row in rows {
        let said = match row.said.as_str() {
            "no" => Said::No,
            "awaited" => Said::Awaited {
                expected: at_if(row.expected_ms)?,
            },
            _ => Said::Yes {
                until: at_if(row.until_ms)?,
                only: row
                    .only_recipe
                    .as_deref()
                    .map(word)
                    .transpose()?
                    .zip(row.only_revision),
            },
        };
        let answer = Answer {
            about: word(&row.about)?,
            who: word(&row.who)?,
            name: row.name,
            came: word(&row.came)?,
            words: row.words,
            limits: row.limits,
            said,
        };
        answers.entry(row.request_id).or_default().push(answer);
    }
    Ok(answers)
}

/// How far work on what is open has come, by request: what was done last, or the operation to which it went back, since it was
/// last begun anew. (With `max`, the other columns are those of its row.)
///
/// What goes back to an operation waits from the end of the one before it.
async fn begun(connection: &mut SqliteConnection) -> Result<BTreeMap<Uuid, Begun>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"select w.request_id as "request_id!: Uuid", r.code as "code!: String", r.revision as "revision!: i64",
             w.done as "done!: i64", w.ended_ms as "ended_ms!: i64", max(w.journal_sequence) as "newest!: i64"
           from (
             select journal_sequence, request_id, recipe_id, position as done, ended_ms from work_done
             where request_id in (select id from request where state = 'open')
             union all
             select b.journal_sequence, b.request_id, b.recipe_id, b.position - 1,
               coalesce((select w.ended_ms from work_done w where w.request_id = b.request_id
                 and w.recipe_id = b.recipe_id and w.position = b.position - 1
                 and w.journal_sequence < b.journal_sequence
                 order by w.journal_sequence desc limit 1), d.decided_ms)
             from rework b join request_decision d on d.journal_sequence = b.journal_sequence
             where b.request_id in (select id from request where state = 'open')) w
           join recipe r on r.id = w.recipe_id
           where w.journal_sequence > coalesce((select max(d.journal_sequence) from request_decision d
             where d.request_id = w.request_id and d.decision in ('sent-back', 'scrapped', 'reopened')), 0)
           group by w.request_id, w.recipe_id"#
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            let begun = Begun {
                recipe: word(&row.code)?,
                revision: row.revision,
                done: usize::try_from(row.done).unwrap_or(0),
                ended_at: at(row.ended_ms)?,
            };
            Ok((row.request_id, begun))
        })
        .collect()
}

/// Holds on what is open that nobody has judged, by request, the oldest first.
async fn holds(
    connection: &mut SqliteConnection,
) -> Result<BTreeMap<Uuid, Vec<OnHold>>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"select request_id as "request_id: Uuid", number, what from part_hold h
           where request_id in (select id from request where state = 'open')
             and not exists (select 1 from part_judged j where j.number = h.number)
           order by number"#
    )
    .fetch_all(connection)
    .await?;
    let mut holds: BTreeMap<Uuid, Vec<OnHold>> = BTreeMap::new();
    for row in rows {
        let (number, what) = (row.number, row.what);
        holds
            .entry(row.request_id)
            .or_default()
            .push(OnHold { number, what });
    }
    Ok(holds)
}
