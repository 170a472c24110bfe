//! What a stage most likely takes of its powder, beside what is planned for it.

use super::efficiency::stage_efficiency;
use crate::catalogue::Spray;
use crate::deposit::{PowderNeed, Quantile};
use crate::situation::Situation;

/// Grams that are as likely too many as too few for a stage; none where no figure can be given.
///
/// Planned is more: what suffices in as many builds as the site asks for ([`super::StageNeed`]).
#[must_use]
pub fn likely_powder_g(situation: &Situation, spray: &Spray) -> Option<i64> {
    let efficiency = stage_efficiency(situation, spray).ok()?;
    let need = PowderNeed::new(
        spray.deposited_g as f64,
        efficiency.predicted.efficiency,
        Quantile::new(0.5).ok()?,
        spray.start_stop_loss_g as f64,
        spray.coupon_g as f64,
    );
    let heel_g = situation.cell.heel_to_fill_g(&spray.powder);
    Some(need.ok()?.with_heel(heel_g as f64).ok()?.load_grams())
}
