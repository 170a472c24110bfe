use mendpost_core::situation::Way;
use sqlx::{SqliteConnection, SqliteExecutor};
use uuid::Uuid;

use super::form::NewRequest;
use crate::attachment::{self, AttachmentHash};
use crate::db::decoded;
use crate::error::AppError;

/// A machine or a part to choose: its code and its name.
#[derive(Debug, Clone)]
pub struct Choice {
    pub code: String,
    pub name: String,
}

/// Every machine in use, by name.
pub async fn assets(executor: impl SqliteExecutor<'_>) -> Result<Vec<Choice>, sqlx::Error> {
    sqlx::query_as!(
        Choice,
        "select code, name from asset where retired_reason is null order by name, code"
    )
    .fetch_all(executor)
    .await
}

/// Every part that the catalogue offers, by name: none that is retired.
pub async fn parts(executor: impl SqliteExecutor<'_>) -> Result<Vec<Choice>, sqlx::Error> {
    sqlx::query_as!(
        Choice,
        "select code, name from part where retired_reason is null order by name, code"
    )
    .fetch_all(executor)
    .await
}

/// Every metal, by name.
pub async fn metals(executor: impl SqliteExecutor<'_>) -> Result<Vec<Choice>, sqlx::Error> {
    sqlx::query_as!(Choice, "select code, name from metal order by name, code")
        .fetch_all(executor)
        .await
}

/// Machine and part, by their codes, where the catalogue says that the part fits the machine.
pub(super) async fn fits(
    executor: impl SqliteExecutor<'_>,
) -> Result<Vec<(String, String)>, sqlx::Error> {
    sqlx::query!(
        "select asset.code as asset, part.code as part
         from part_asset
         join asset on asset.id = part_asset.asset_id
         join part on part.id = part_asset.part_id
         order by asset.code, part.code"
    )
    .map(|row| (row.asset, row.part))
    .fetch_all(executor)
    .await
}

/// Machine and part of every request, open or not, by their codes.
pub(super) async fn asked_before(
    executor: impl SqliteExecutor<'_>,
) -> Result<Vec<(String, String)>, sqlx::Error> {
    sqlx::query!(
        "select distinct asset.code as asset, part.code as part
         from request
         join asset on asset.id = request.asset_id
         join part on part.id = request.part_id
         order by asset.code, part.code"
    )
    .map(|row| (row.asset, row.part))
    .fetch_all(executor)
    .await
}

/// Which machine, by its code, serves which capability, by its name.
pub(super) async fn served(
    executor: impl SqliteExecutor<'_>,
) -> Result<Vec<(String, String)>, sqlx::Error> {
    sqlx::query!(
        "select asset.code as asset, capability.name as capability
         from need_asset
         join asset on asset.id = need_asset.asset_id
         join capability on capability.id = need_asset.capability_id
         where capability.retired_reason is null
           and need_asset.version = (select max(version) from need
                          where need.capability_id = need_asset.capability_id)
         order by capability.name, need_asset.position"
    )
    .map(|row| (row.asset, row.capability))
    .fetch_all(executor)
    .await
}

/// The open request whose part has this tag.
pub(super) async fn tagged(
    connection: &mut SqliteConnection,
    tag: &str,
) -> Result<Option<OpenRequest>, sqlx::Error> {
    sqlx::query_as!(
        OpenRequest,
        r#"select r.id as "id: Uuid", r.number, a.name as asset, r.part_name
           from request r
           join asset a on a.id = r.asset_id
           where r.tag = ? and r.state = 'open'"#,
        tag
    )
    .fetch_optional(connection)
    .await
}

/// Id and name of a metal.
pub(super) async fn metal_named(
    connection: &mut SqliteConnection,
    code: &str,
) -> Result<Option<(Uuid, String)>, sqlx::Error> {
    sqlx::query!(
        r#"select id as "id: Uuid", name from metal where code = ?"#,
        code
    )
    .map(|row| (row.id, row.name))
    .fetch_optional(connection)
    .await
}

pub(super) struct PartRow {
    pub id: Uuid,
    pub name: String,
}

pub(super) async fn part(
    connection: &mut SqliteConnection,
    code: &str,
) -> Result<Option<PartRow>, sqlx::Error> {
    sqlx::query_as!(
        PartRow,
        r#"select id as "id: Uuid", name from part where code = ?"#,
        code
    )
    .fetch_optional(connection)
    .await
}

/// Codes of the recipes that make a part, those with an approved revision first. One that was
/// withdrawn is a way whose gate says so.
pub(super) async fn recipes(
    connection: &mut SqliteConnection,
    part: Uuid,
) -> Result<Vec<String>, sqlx::Error> {
    sqlx::query_scalar!(
        r#"select code as "code!" from recipe
           where part_id = ?
           group by code
           order by max(state = 'approved') desc, code"#,
        part
    )
    .fetch_all(connection)
    .await
}

pub(super) async fn next_number(connection: &mut SqliteConnection) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar!(r#"select coalesce(max(number), 0) + 1 as "number!: i64" from request"#)
        .fetch_one(connection)
        .await
}

/// The ids that a new request refers to, and who files it when.
pub(super) struct Filed<'a> {
    pub number: i64,
    pub asset: Uuid,
    pub part: Option<Uuid>,
    pub part_name: &'a str,
    pub at: i64,
    pub by: &'a str,
    pub recipes: &'a [String],
    pub base_metal: Option<Uuid>,
}

pub(super) async fn insert(
    connection: &mut SqliteConnection,
    new: &NewRequest,
    filed: &Filed<'_>,
) -> Result<(), sqlx::Error> {
    let id = Uuid::now_v7();
    let damage = new.damage.as_str();
    let metal_known = new.base_metal.as_ref().is_some_and(|metal| metal.known);
    sqlx::query!(
        "insert into request (id, number, asset_id, part_id, part_name, damage, description,
           reported_ms, reported_by, asked_by, needed_by_ms, danger, at_cell_ms, spare, spare_where,
           base_metal_id, base_metal_known, tag, mass_g, state)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, 'open')",
        id,
        filed.number,
        filed.asset,
        filed.part,
        filed.part_name,
        damage,
        new.description,
        filed.at,
        filed.by,
        new.asked_by,
        new.needed_by_ms,
        new.danger,
        new.at_cell_ms,
        new.spare.spare,
        new.spare.spare_where,
        filed.base_metal,
        metal_known,
        new.tag,
        new.mass_g,
    )
    .execute(&mut *connection)
    .await?;
    insert_recipes(connection, id, 1, filed.recipes).await
}

/// A request that is open, as an act about it names it.
pub(super) struct OpenRequest {
    pub id: Uuid,
    pub number: i64,
    pub asset: String,
    pub part_name: String,
}

/// An open request, by its number.
pub(super) async fn by_number(
    executor: impl SqliteExecutor<'_>,
    number: i64,
) -> Result<Option<OpenRequest>, sqlx::Error> {
    sqlx::query_as!(
        OpenRequest,
        r#"select r.id as "id: Uuid", r.number, a.name as asset, r.part_name
           from request r
           join asset a on a.id = r.asset_id
           where r.number = ? and r.state = 'open'"#,
        number
    )
    .fetch_optional(executor)
    .await
}

/// The open request of a number as it stands in an address.
pub(super) async fn open_request(
    executor: impl SqliteExecutor<'_>,
    number: &str,
) -> Result<OpenRequest, AppError> {
    let found = match number.trim_start_matches(['R', 'r']).parse() {
        Ok(number) => by_number(executor, number).await?,
        Err(_) => None,
    };
    found.ok_or_else(|| AppError::NotFound {
        what: format!("open request '{number}'"),
    })
}

/// Code and revision of each recipe that makes a request's part and may still be used.
pub(super) async fn revisions(
    executor: impl SqliteExecutor<'_>,
    request: Uuid,
) -> Result<Vec<(String, i64)>, sqlx::Error> {
    let rows = sqlx::query!(
        "select recipe.code, recipe.revision
         from recipe join request on request.part_id = recipe.part_id
         where request.id = ? and recipe.state in ('draft', 'proposed', 'approved')
         order by recipe.code, recipe.revision desc",
        request
    )
    .fetch_all(executor)
    .await?;
    Ok(rows.into_iter().map(|r| (r.code, r.revision)).collect())
}

/// When an answer was given, who typed it in, empty where it came with the site's files, and its paper.
pub struct Told {
    pub given_ms: i64,
    /// When the part is to be looked at again; empty if nothing was said.
    pub next_look: String,
    pub typed_by: String,
    pub paper: Option<Paper>,
}

/// The paper on which an answer came.
pub struct Paper {
    pub hash: AttachmentHash,
    /// Name of its file, and its caption if it has one.
    pub name: String,
    /// It was taken off the request since.
    pub is_off: bool,
}

/// Of each answer about a request when it was given, in the order in which the situation holds them.
pub(super) async fn told(
    executor: impl SqliteExecutor<'_>,
    request: Uuid,
) -> Result<Vec<Told>, sqlx::Error> {
    sqlx::query!(
        r#"select a.given_ms, a.next_look, a.typed_by, a.paper_hash, p.file_name as "file_name?", p.caption as "caption?",
             p.off_reason is not null as "is_off!: bool"
           from answer a
           join request r on r.id = a.request_id
           left join attached p on p.journal_sequence = (
             select max(journal_sequence) from attached
             where hash = a.paper_hash and subject_kind = 'request' and subject = cast(r.number as text))
           where a.request_id = ? order by a.given_ms, a.id"#,
        request
    )
    .try_map(|row| {
        let paper = row.paper_hash.zip(row.file_name).zip(row.caption);
        let paper = paper.map(|((hash, file_name), caption)| {
            Ok::<_, sqlx::Error>(Paper {
                hash: AttachmentHash(decoded(<[u8; 32]>::try_from(hash.as_slice()))?),
                name: attachment::title(file_name, &caption),
                is_off: row.is_off,
            })
        });
        Ok(Told {
            given_ms: row.given_ms,
            next_look: row.next_look,
            typed_by: row.typed_by,
            paper: paper.transpose()?,
        })
    })
    .fetch_all(executor)
    .await
}

/// Writes one way to serve a request; `delivery` is the id of the true part's delivery.
pub async fn insert_way(
    connection: &mut SqliteConnection,
    request: Uuid,
    position: i64,
    way: &Way,
    delivery: Option<Uuid>,
    reason: &str,
) -> Result<(), sqlx::Error> {
    let columns = WayColumns::of(way);
    sqlx::query!(
        "insert into request_way (request_id, position, kind, recipe_code, delivery_id, expected_ms, fit_min,
           crew, off_by_ms, swap_min, second_build, reason)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        request,
        position,
        columns.kind,
        columns.recipe,
        delivery,
        columns.expected_ms,
        columns.fit_min,
        columns.crew,
        columns.off_by_ms,
        columns.swap_min,
        columns.second_build,
        reason,
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// The columns of `request_way` that depend on the way.
#[derive(Default)]
struct WayColumns<'a> {
    kind: &'static str,
    recipe: Option<&'a str>,
    expected_ms: Option<i64>,
    fit_min: Option<i64>,
    crew: Option<i64>,
    off_by_ms: Option<i64>,
    swap_min: Option<i64>,
    second_build: Option<i64>,
}

impl<'a> WayColumns<'a> {
    fn of(way: &'a Way) -> Self {
        match way {
            Way::Recipe(recipe) => WayColumns {
                kind: "recipe",
                recipe: Some(recipe.as_str()),
                ..WayColumns::default()
            },
            Way::StandIn(stand_in) => WayColumns {
                kind: "stand-in",
                recipe: Some(stand_in.recipe.as_str()),
                off_by_ms: Some(stand_in.off_by.timestamp_millis()),
                swap_min: Some(stand_in.swap_min),
                second_build: Some(stand_in.second_build),
                ..WayColumns::default()
            },
            Way::TruePart {
                expected,
                fit_min,
                crew,
                ..
            } => WayColumns {
                kind: "true-part",
                expected_ms: Some(expected.timestamp_millis()),
                fit_min: Some(*fit_min),
                crew: Some(*crew),
                ..WayColumns::default()
            },
        }
    }
}

/// Why each way was chosen, in the order of the ways.
pub(super) async fn reasons(
    executor: impl SqliteExecutor<'_>,
    request: Uuid,
) -> Result<Vec<String>, sqlx::Error> {
    sqlx::query_scalar!(
        "select reason from request_way where request_id = ? order by position",
        request
    )
    .fetch_all(executor)
    .await
}

/// Codes of the recipes that make a request's part.
pub(super) async fn recipe_codes(
    executor: impl SqliteExecutor<'_>,
    request: Uuid,
) -> Result<Vec<String>, sqlx::Error> {
    sqlx::query_scalar!(
        "select distinct recipe.code from recipe join request on request.part_id = recipe.part_id
         where request.id = ? order by recipe.code",
        request
    )
    .fetch_all(executor)
    .await
}

/// Takes away the ways by recipe and adds those recipes instead, after what stays.
pub(super) async fn replace_recipes(
    connection: &mut SqliteConnection,
    request: Uuid,
    recipes: &[String],
) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "delete from request_way where request_id = ? and recipe_code is not null",
        request
    )
    .execute(&mut *connection)
    .await?;
    let stays = sqlx::query_scalar!(
        r#"select coalesce(max(position), 0) as "last!: i64" from request_way where request_id = ?"#,
        request
    )
    .fetch_one(&mut *connection)
    .await?;
    insert_recipes(connection, request, stays + 1, recipes).await
}

/// Adds recipes as ways, from a position on.
async fn insert_recipes(
    connection: &mut SqliteConnection,
    request: Uuid,
    first: i64,
    recipes: &[String],
) -> Result<(), sqlx::Error> {
    for (position, recipe) in (first..).zip(recipes) {
        sqlx::query!(
            "insert into request_way (request_id, position, kind, recipe_code)
             values (?, ?, 'recipe', ?)",
            request,
            position,
            recipe,
        )
        .execute(&mut *connection)
        .await?;
    }
    Ok(())
}

/// Whether anything was answered of a request.
pub(super) async fn is_answered(
    connection: &mut SqliteConnection,
    request: Uuid,
) -> Result<bool, sqlx::Error> {
    sqlx::query_scalar!(
        r#"select exists (select 1 from answer where request_id = ?) as "answered!: bool""#,
        request
    )
    .fetch_one(connection)
    .await
}

/// Takes away the ways of a request; what they were stays in the journal.
pub(super) async fn delete_ways(
    connection: &mut SqliteConnection,
    request: Uuid,
) -> Result<(), sqlx::Error> {
    sqlx::query!("delete from request_way where request_id = ?", request)
        .execute(connection)
        .await?;
    Ok(())
}

pub(super) async fn delivery(
    connection: &mut SqliteConnection,
    code: &str,
) -> Result<Option<Uuid>, sqlx::Error> {
    sqlx::query_scalar!(
        r#"select id as "id: Uuid" from delivery where code = ?"#,
        code
    )
    .fetch_optional(connection)
    .await
}

/// The number of the interim part that was let go for a request and is not off yet.
pub(super) async fn interim_out(
    connection: &mut SqliteConnection,
    request: Uuid,
) -> Result<Option<i64>, sqlx::Error> {
    sqlx::query_scalar!(
        "select number from interim_part
         where request_id = ? and not exists (select 1 from interim_off where interim_id = interim_part.id)
         order by number limit 1",
        request
    )
    .fetch_optional(connection)
    .await
}
