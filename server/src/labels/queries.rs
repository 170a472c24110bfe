use mendpost_core::label::Kind;
use sqlx::SqliteExecutor;

/// A container, with what its label says of it.
pub struct ContainerFacts {
    pub code: String,
    pub lot: String,
    pub powder: String,
    pub use_by_ms: Option<i64>,
}

/// A lot with all its containers.
pub async fn containers(
    executor: impl SqliteExecutor<'_>,
    lot: &str,
) -> Result<Vec<ContainerFacts>, sqlx::Error> {
    sqlx::query_as!(
        ContainerFacts,
        "select container.code, lot.code as lot, powder.name as powder, lot.use_by_ms
         from container
         join lot on lot.id = container.lot_id
         join powder on powder.id = lot.powder_id
         where lot.code = ?
         order by container.code",
        lot
    )
    .fetch_all(executor)
    .await
}

pub async fn container(
    executor: impl SqliteExecutor<'_>,
    code: &str,
) -> Result<Option<ContainerFacts>, sqlx::Error> {
    sqlx::query_as!(
        ContainerFacts,
        "select container.code, lot.code as lot, powder.name as powder, lot.use_by_ms
         from container
         join lot on lot.id = container.lot_id
         join powder on powder.id = lot.powder_id
         where container.code = ?",
        code
    )
    .fetch_optional(executor)
    .await
}

/// A lot, with what its label says of it.
pub struct LotFacts {
    pub code: String,
    pub powder: String,
    pub maker_lot: String,
    pub use_by_ms: Option<i64>,
    pub containers: i64,
}

/// Every lot that is not used up, the newest first.
pub async fn lots(executor: impl SqliteExecutor<'_>) -> Result<Vec<LotFacts>, sqlx::Error> {
    sqlx::query_as!(
        LotFacts,
        r#"select lot.code, powder.name as powder, lot.maker_lot, lot.use_by_ms,
             (select count(*) from container where container.lot_id = lot.id) as "containers!: i64"
           from lot
           join powder on powder.id = lot.powder_id
           where lot.state <> 'empty' and exists (select 1 from container where lot_id = lot.id and holds = 1)
           order by lot.received_ms desc, lot.code desc"#
    )
    .fetch_all(executor)
    .await
}

pub async fn lot(
    executor: impl SqliteExecutor<'_>,
    code: &str,
) -> Result<Option<LotFacts>, sqlx::Error> {
    sqlx::query_as!(
        LotFacts,
        r#"select lot.code, powder.name as powder, lot.maker_lot, lot.use_by_ms,
             (select count(*) from container where container.lot_id = lot.id) as "containers!: i64"
           from lot
           join powder on powder.id = lot.powder_id
           where lot.code = ?"#,
        code
    )
    .fetch_optional(executor)
    .await
}

/// A request, with what its label says of it.
pub struct RequestFacts {
    pub number: i64,
    pub asset: String,
    pub part_name: String,
}

impl RequestFacts {
    pub fn code(&self) -> String {
        format!("R{}", self.number)
    }
}

pub async fn open_requests(
    executor: impl SqliteExecutor<'_>,
) -> Result<Vec<RequestFacts>, sqlx::Error> {
    sqlx::query_as!(
        RequestFacts,
        "select request.number, asset.name as asset, request.part_name
         from request
         join asset on asset.id = request.asset_id
         where request.state = 'open'
         order by request.number"
    )
    .fetch_all(executor)
    .await
}

pub async fn request(
    executor: impl SqliteExecutor<'_>,
    number: i64,
) -> Result<Option<RequestFacts>, sqlx::Error> {
    sqlx::query_as!(
        RequestFacts,
        "select request.number, asset.name as asset, request.part_name
         from request
         join asset on asset.id = request.asset_id
         where request.number = ?",
        number
    )
    .fetch_optional(executor)
    .await
}

/// Something that a code names.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Named {
    pub kind: Kind,
    pub code: String,
    /// A container's lot.
    pub lot: Option<String>,
    /// What it is, in words.
    pub about: String,
}

/// Everything that a code names, whichever way its letters are written.
pub async fn named(
    executor: impl SqliteExecutor<'_>,
    code: &str,
) -> Result<Vec<Named>, sqlx::Error> {
    sqlx::query!(
        r#"select 0 as "kind!: i64", container.code as "code!: String", lot.code as "lot?: String",
             powder.name as "about!: String"
           from container
           join lot on lot.id = container.lot_id
           join powder on powder.id = lot.powder_id
           where container.code = ?1 collate nocase
           union all
           select 1, lot.code, null, powder.name
           from lot
           join powder on powder.id = lot.powder_id
           where lot.code = ?1 collate nocase
           union all
           select 2, 'R' || request.number, null, asset.name || ', ' || request.part_name
           from request
           join asset on asset.id = request.asset_id
           where 'R' || request.number = ?1 collate nocase
           order by 1, 2"#,
        code
    )
    .map(|row| Named {
        kind: match row.kind {
            0 => Kind::Container,
            1 => Kind::Lot,
            _ => Kind::Request,
        },
        code: row.code,
        lot: row.lot,
        about: row.about,
    })
    .fetch_all(executor)
    .await
}
