//! The records that resupply rests on.

use super::{Ids, id_of};
use crate::change::Change;
use crate::error::AppError;
use crate::resupply::{carriage, failure, item, set, trip};
use crate::seed::SiteData;

/// Who said what has no name beside it.
const BY: &str = "the site’s files";

pub(super) async fn resupply(
    change: &mut Change,
    data: &SiteData,
    ids: &Ids,
) -> Result<(), AppError> {
    let of = &data.resupply;
    item::record_all(change, &of.items, BY).await?;
    for (items, why) in &of.sets {
        set::record(change, items, why, BY).await?;
    }
    for trip in &of.trips {
        let delivery = id_of(&ids.deliveries, &trip.code)?;
        trip::record(change, (delivery, 1), trip, BY).await?;
    }
    for rules in &of.carriage {
        carriage::record(change, 1, rules).await?;
    }
    for (part, rate, said_by) in &of.failures {
        failure::record(change, (part, 1), rate, said_by).await?;
    }
    Ok(())
}
