//! The form of what a capability needs: its assets, how many must run, the loss by number down.

use chrono::DateTime;
use chrono_tz::Tz;
use mendpost_core::code::{AssetCode, CapabilityCode};
use mendpost_core::situation::{Capability, Figure, LossFault, LossRange};
use serde::Deserialize;

use super::listing::code;
use crate::form::{FieldErrors, integer, local_time, text};
use crate::page::{field_time, moment};

/// What was typed. The figures have a row for each number of assets down, from none on.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct NeedForm {
    pub code: String,
    pub name: String,
    pub asset: Vec<String>,
    pub must_run: String,
    pub low: Vec<String>,
    pub likely: Vec<String>,
    pub high: Vec<String>,
    pub said_by: String,
    pub said_at: String,
    pub version: String,
}

impl NeedForm {
    /// The form of what stands; who says the new figures, and when, is asked anew.
    pub fn of(capability: &Capability, version: i64, zone: Tz, now: i64) -> NeedForm {
        let typed = |figure| -> Vec<String> {
            let rates = capability.rates(figure).unwrap_or_default();
            rates.iter().map(ToString::to_string).collect()
        };
        let mut form = NeedForm {
            asset: capability.assets.iter().map(ToString::to_string).collect(),
            must_run: capability.must_run.to_string(),
            low: typed(Figure::Low),
            likely: typed(Figure::Likely),
            high: typed(Figure::High),
            said_at: field_time(now, zone),
            version: version.to_string(),
            ..NeedForm::default()
        };
        form.fit();
        form
    }

    /// Gives the figures as many rows as the assets ask for; whether there were others before.
    pub fn fit(&mut self) -> bool {
        let rows = self.asset.len() + 1;
        let fitted = self.likely.len() == rows;
        for figures in [&mut self.low, &mut self.likely, &mut self.high] {
            figures.resize(rows, String::new());
        }
        if self.likely[0].trim().is_empty() {
            "0".clone_into(&mut self.likely[0]);
        }
        !fitted
    }

    /// The capability as typed, with every fault noted. Code and name are asked for only where it is
    /// new.
    pub fn parse(
        &self,
        stands: Option<&Capability>,
        known: &[AssetCode],
        (zone, now): (Tz, i64),
        errors: &mut FieldErrors,
    ) -> Option<Capability> {
        let named: Option<(CapabilityCode, String)> = match stands {
            Some(stands) => Some((stands.code.clone(), stands.name.clone())),
            None => {
                let code = code(&self.code, errors);
                let name = errors.check("name", text(&self.name, 80));
                code.zip(name)
            }
        };
        let assets = self.assets(known, errors);
        let must_run = errors.check("must_run", integer(&self.must_run, 0..=1000));
        let rates = self.rates(errors);
        let said_by = errors.check("said_by", text(&self.said_by, 80));
        let said_ms = errors.check("said_at", local_time(&self.said_at, zone));
        if let Some(said) = said_ms.filter(|said| *said > now) {
            let (said, now) = (moment(said, zone), moment(now, zone));
            errors.add(
                "said_at",
                format!("{said} is later than now, {now}; enter when it was said"),
            );
        }
        let (code, name) = named?;
        let (loss_per_hour, loss_range) = rates?;
        let capability = Capability {
            code,
            name,
            assets: assets?,
            must_run: must_run?,
            loss_per_hour,
            loss_range,
            said_by: said_by?,
            said_at: DateTime::from_timestamp_millis(said_ms?)?,
        };
        for fault in capability.faults() {
            errors.add(&field_of(&fault), fault.to_string());
        }
        errors.is_empty().then_some(capability)
    }

    fn assets(&self, known: &[AssetCode], errors: &mut FieldErrors) -> Option<Vec<AssetCode>> {
        let found = self.asset.iter().map(|typed| {
            let asset = known.iter().find(|asset| asset.as_str() == typed);
            asset.cloned().ok_or(typed)
        });
        match found.collect::<Result<Vec<_>, _>>() {
            Ok(assets) if assets.is_empty() => {
                errors.add("asset", LossFault::NoAssets.to_string());
                None
            }
            Ok(assets) => Some(assets),
            Err(typed) => {
                let typed: String = typed.chars().take(40).collect();
                errors.add(
                    "asset",
                    format!("there is no asset '{typed}'; choose from the list"),
                );
                None
            }
        }
    }

    /// The likely rates, and the low and high ones where any is given.
    fn rates(&self, errors: &mut FieldErrors) -> Option<(Vec<i64>, Option<LossRange>)> {
        let likely = figures(Figure::Likely, &self.likely, errors);
        let blank = |figures: &[String]| figures.iter().all(|typed| typed.trim().is_empty());
        if blank(&self.low) && blank(&self.high) {
            return Some((likely?, None));
        }
        let low = figures(Figure::Low, &self.low, errors);
        let high = figures(Figure::High, &self.high, errors);
        let (low, high) = low.zip(high)?;
        Some((likely?, Some(LossRange { low, high })))
    }
}

/// The name of a figure's field: 'likely-2' for two down.
pub fn field_name(figure: Figure, down: usize) -> String {
    format!("{figure}-{down}")
}

fn figures(figure: Figure, typed: &[String], errors: &mut FieldErrors) -> Option<Vec<i64>> {
    let mut figures = Vec::with_capacity(typed.len());
    for (down, typed) in typed.iter().enumerate() {
        let field = field_name(figure, down);
        if typed.trim().is_empty() && figure != Figure::Likely {
            errors.add(
                &field,
                "enter it too, or leave low and high empty in every row",
            );
        }
        figures.push(errors.check(&field, integer(typed, 0..=1_000_000_000)));
    }
    figures.into_iter().collect()
}

/// The field beside which a contradiction is told.
fn field_of(fault: &LossFault) -> String {
    match fault {
        LossFault::NoAssets | LossFault::Twice { .. } => "asset".to_owned(),
        LossFault::MustRun { .. } => "must_run".to_owned(),
        LossFault::Count { figure, .. } => field_name(*figure, 0),
        LossFault::Falls { figure, down, .. } => field_name(*figure, *down),
        LossFault::Outside { down, .. } => field_name(Figure::Likely, *down),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn form(assets: &[&str], likely: &[&str]) -> NeedForm {
        let owned = |texts: &[&str]| texts.iter().map(|t| (*t).to_owned()).collect();
        NeedForm {
            asset: owned(assets),
            likely: owned(likely),
            ..NeedForm::default()
        }
    }

    /// Three pumps need four rows. What was typed for the first three stays.
    #[test]
    fn one_asset_more_is_one_row_more() {
        let mut three = form(&["WP1", "WP2", "WP3"], &["", "4", "60"]);
        assert!(three.fit());
        assert_eq!(three.likely, ["0", "4", "60", ""]);
        assert_eq!((three.low.len(), three.high.len()), (4, 4));
        assert!(!three.fit());
    }

    /// Low and high are given for every number down or for none.
    #[test]
    fn a_range_with_a_gap_is_told_where_the_gap_is() {
        let mut form = form(&["WP1"], &["0", "60"]);
        form.fit();
        let mut errors = FieldErrors::default();
        assert_eq!(form.rates(&mut errors), Some((vec![0, 60], None)));
        "90".clone_into(&mut form.high[1]);
        assert_eq!(form.rates(&mut errors), None);
        let told: Vec<&str> = errors.iter().map(|(field, _)| field).collect();
        assert_eq!(told, ["low-0", "low-1", "high-0"]);
    }
}
