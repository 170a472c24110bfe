//! What a stage's efficiency is taken to be after some builds were weighed.

use mendpost_core::deposit::{Efficiency, Learned, Quantile};
use serde::Deserialize;
use serde_json::{Value, json};

use super::said;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Input {
    approval_mean: f64,
    approval_sd: f64,
    #[serde(default = "four")]
    approval_builds: i64,
    builds: Vec<f64>,
    /// Builds in other circumstances, to be compared.
    #[serde(default)]
    others: Vec<f64>,
    #[serde(default)]
    quantile: Option<f64>,
}

const fn four() -> i64 {
    4
}

pub(super) fn efficiency(input: &Input) -> Result<Value, String> {
    let approval = Efficiency::new(input.approval_mean, input.approval_sd).map_err(said)?;
    let prior = Learned::from_approval(approval, input.approval_builds).map_err(said)?;
    let learned = prior.after(&input.builds).map_err(said)?;
    let next = learned.predicted().map_err(said)?.efficiency;
    let odds = prior
        .log_odds_apart(&input.builds, &input.others)
        .map_err(said)?;
    let quantile = match input.quantile {
        Some(given) => Quantile::new(given).map_err(said)?,
        None => Quantile::default(),
    };
    Ok(json!({
        "mean": next.mean(),
        "sd": next.sd(),
        "reached": next.reached_with(quantile).map_err(said)?,
        "ln_odds_apart": odds,
    }))
}
