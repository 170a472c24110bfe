//! How much failures take until a delivery.

use mendpost_core::deposit::Quantile;
use mendpost_core::resupply::demand::{Distribution, Part, Rate};
use serde::Deserialize;
use serde_json::{Map, Value, json};

use super::{kilograms, said};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Input {
    parts: Vec<PartInput>,
    days: f64,
    #[serde(default = "usual")]
    quantiles: Vec<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PartInput {
    rate_per_day: Option<f64>,
    failures: Option<f64>,
    seen_days: Option<f64>,
    kg_mean: f64,
    #[serde(default)]
    kg_sd: f64,
}

fn usual() -> Vec<f64> {
    vec![0.5, 0.95]
}

impl PartInput {
    fn part(&self) -> Result<Part, String> {
        let rate = match (self.rate_per_day, self.failures, self.seen_days) {
            (Some(per_day), None, None) => Rate::Known { per_day },
            (None, Some(failures), Some(days)) => Rate::Learned { failures, days },
            _ => return Err("give either rate_per_day, or failures and seen_days".to_owned()),
        };
        Ok(Part {
            rate,
            grams_mean: self.kg_mean * 1000.0,
            grams_sd: self.kg_sd * 1000.0,
        })
    }
}

pub(super) fn demand(input: &Input) -> Result<Value, String> {
    let parts = input.parts.iter().map(PartInput::part);
    let parts = parts.collect::<Result<Vec<Part>, String>>()?;
    let demand = Distribution::of_parts(&parts, input.days).map_err(said)?;
    let mut quantiles = Map::new();
    for given in &input.quantiles {
        let quantile = Quantile::new(*given).map_err(said)?;
        let enough = demand.enough_in(quantile.get());
        quantiles.insert(given.to_string(), json!(kilograms(enough)));
    }
    Ok(json!({
        "mean_kg": demand.mean() / 1000.0,
        "sd_kg": demand.sd() / 1000.0,
        "quantiles": quantiles,
    }))
}
