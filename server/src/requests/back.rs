//! The last of a machine's parts has run in it: the machine is back, and what it lost stops.

use serde_json::json;

use super::decision::Named;
use crate::change::Change;
use crate::error::AppError;
use crate::need::standing::Standing;

/// Lets the machine of a request that was served run again, if it waits for nothing else; what there is to say.
pub(super) async fn tell(change: &mut Change, request: &Named) -> Result<&'static str, AppError> {
    let code = request.asset_code.as_str();
    let others: i64 = sqlx::query_scalar!(
        r#"select count(*) as "count!: i64" from request r join asset a on a.id = r.asset_id
           where a.code = ? and r.state = 'open' and r.damage = 'damaged'"#,
        code
    )
    .fetch_one(change.connection())
    .await?;
    if others > 0 {
        return Ok(" Its machine waits for another part.");
    }
    // One with an end of its own stops there again: whoever reports it up says so.
    let out: i64 = sqlx::query_scalar!(
        r#"select count(*) as "count!: i64" from interim_part p join asset a on a.id = p.asset_id
           where a.code = ? and not exists (select 1 from interim_off o where o.interim_id = p.id)"#,
        code
    )
    .fetch_one(change.connection())
    .await?;
    if out > 0 {
        return Ok(" Say that its machine runs again.");
    }
    match Standing::find(change, code).await? {
        Some(standing) if standing.is_down => {
            let more = json!({ "request": request.number });
            standing.write(change, None, more).await?;
            Ok(" Its machine runs again: what it lost stops.")
        }
        _ => Ok(""),
    }
}
