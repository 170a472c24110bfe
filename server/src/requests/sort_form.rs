//! What was typed about the ways to serve a request.

use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use mendpost_core::code::RecipeCode;
use mendpost_core::situation::{Situation, StandIn, Way};
use serde::Deserialize;
use serde_json::{Value, json};

use crate::form::{FieldErrors, decimal, integer, local_time, plain_decimal, text};
use crate::page::{field_time, moment};

/// The choice of no delivery: the true part comes by itself.
pub const BY_ITSELF: &str = "none";

/// Each recipe has its row in the three lists; the true part and the stand-in have fields of their own.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct SortForm {
    /// What it was opened at.
    pub seen: String,
    pub recipe: Vec<String>,
    pub take: Vec<String>,
    pub why: Vec<String>,
    pub true_part: String,
    pub delivery: String,
    pub expected: String,
    pub fit_hours: String,
    pub fit_crew: String,
    pub true_why: String,
    pub stand_in: String,
    pub stand_in_recipe: String,
    pub off_by: String,
    pub swap_hours: String,
    pub second_build: String,
    pub stand_in_why: String,
}

/// A way that was chosen, and why.
#[derive(Debug, Clone)]
pub struct Chosen {
    pub way: Way,
    pub reason: String,
}

impl Chosen {
    /// 'rebuild by BR-031: stock is here'.
    pub fn in_words(&self) -> String {
        let reason = &self.reason;
        match &self.way {
            Way::Recipe(code) => format!("rebuild by {code}: {reason}"),
            Way::StandIn(stand_in) => format!("stand-in by {}: {reason}", stand_in.recipe),
            Way::TruePart { .. } => format!("wait for the true part: {reason}"),
        }
    }

    /// What the journal keeps of it.
    pub fn content(&self) -> Value {
        let reason = &self.reason;
        match &self.way {
            Way::Recipe(code) => json!({ "way": "recipe", "recipe": code, "reason": reason }),
            Way::StandIn(stand_in) => json!({
                "way": "stand-in",
                "recipe": stand_in.recipe,
                "off_by_ms": stand_in.off_by.timestamp_millis(),
                "swap_min": stand_in.swap_min,
                "second_build": stand_in.second_build,
                "reason": reason,
            }),
            Way::TruePart {
                delivery,
                expected,
                fit_min,
                crew,
            } => json!({
                "way": "true-part",
                "delivery": delivery,
                "expected_ms": expected.timestamp_millis(),
                "fit_min": fit_min,
                "crew": crew,
                "reason": reason,
            }),
        }
    }
}

impl SortForm {
    /// The form of what stands; before anybody has sorted it nothing is chosen yet but what filing put
    /// there.
    pub fn of(ways: &[Way], reasons: &[String], sorted: bool, zone: Tz) -> Self {
        let mut form = SortForm {
            true_part: "no".to_owned(),
            stand_in: "no".to_owned(),
            delivery: BY_ITSELF.to_owned(),
            fit_crew: "2".to_owned(),
            ..SortForm::default()
        };
        let reason = |n: usize| match sorted {
            true => reasons.get(n).cloned().unwrap_or_default(),
            false => String::new(),
        };
        for (n, way) in ways.iter().enumerate() {
            match way {
                Way::Recipe(code) => {
                    form.recipe.push(code.to_string());
                    form.take.push("yes".to_owned());
                    form.why.push(reason(n));
                }
                Way::TruePart {
                    delivery,
                    expected,
                    fit_min,
                    crew,
                } => {
                    "yes".clone_into(&mut form.true_part);
                    let delivery = delivery.as_ref().map(ToString::to_string);
                    form.delivery = delivery.unwrap_or_else(|| BY_ITSELF.to_owned());
                    form.expected = field_time(expected.timestamp_millis(), zone);
                    form.fit_hours = hours(*fit_min);
                    form.fit_crew = crew.to_string();
                    form.true_why = reason(n);
                }
                Way::StandIn(stand_in) => {
                    "yes".clone_into(&mut form.stand_in);
                    form.stand_in_recipe = stand_in.recipe.to_string();
                    form.off_by = field_time(stand_in.off_by.timestamp_millis(), zone);
                    form.swap_hours = hours(stand_in.swap_min);
                    form.second_build = stand_in.second_build.to_string();
                    form.stand_in_why = reason(n);
                }
            }
        }
        form
    }

    /// What was typed of a recipe: whether it is taken, and why.
    pub fn of_recipe(&self, code: &str) -> (bool, String) {
        let Some(n) = self.recipe.iter().position(|typed| typed == code) else {
            return (false, String::new());
        };
        let taken = self.take.get(n).is_some_and(|take| take == "yes");
        (taken, self.why.get(n).cloned().unwrap_or_default())
    }

    /// The ways chosen, or every fault.
    pub fn parse(
        &self,
        situation: &Situation,
        recipes: &[String],
        now: i64,
        errors: &mut FieldErrors,
    ) -> Option<Vec<Chosen>> {
        let mut chosen = Vec::new();
        for (n, code) in recipes.iter().enumerate() {
            let (taken, why) = self.of_recipe(code);
            if !taken {
                continue;
            }
            let reason = errors.check(&format!("why{n}"), text(&why, 200));
            if let (Some(reason), Ok(code)) = (reason, code.parse::<RecipeCode>()) {
                let way = Way::Recipe(code);
                chosen.push(Chosen { way, reason });
            }
        }
        let zone = situation.site.zone;
        if self.true_part == "yes" {
            chosen.extend(self.true_part(situation, (zone, now), errors));
        }
        if self.stand_in == "yes" {
            chosen.extend(self.stand_in(recipes, (zone, now), errors));
        }
        if chosen.is_empty() && errors.is_empty() {
            errors.add(
                "true_part",
                "choose at least one way; if none will do, refuse the request",
            );
        }
        errors.is_empty().then_some(chosen)
    }

    fn true_part(
        &self,
        situation: &Situation,
        clock: (Tz, i64),
        errors: &mut FieldErrors,
    ) -> Option<Chosen> {
        let mut deliveries = situation.deliveries.iter();
        let delivery = deliveries.find(|d| d.code.as_str() == self.delivery);
        if delivery.is_none() && !["", BY_ITSELF].contains(&self.delivery.as_str()) {
            errors.add(
                "delivery",
                "there is no such delivery; choose from the list",
            );
        }
        let expected = match (self.expected.trim().is_empty(), delivery) {
            (true, Some(delivery)) => Some(delivery.expected),
            _ => to_come("expected", &self.expected, clock, errors),
        };
        let fit_min = errors.check("fit_hours", in_minutes(&self.fit_hours));
        let crew = errors.check("fit_crew", integer(&self.fit_crew, 0..=20));
        let reason = errors.check("true_why", text(&self.true_why, 200));
        Some(Chosen {
            way: Way::TruePart {
                delivery: delivery.map(|d| d.code.clone()),
                expected: expected?,
                fit_min: fit_min?,
                crew: crew?,
            },
            reason: reason?,
        })
    }

    fn stand_in(
        &self,
        recipes: &[String],
        clock: (Tz, i64),
        errors: &mut FieldErrors,
    ) -> Option<Chosen> {
        let known = recipes.contains(&self.stand_in_recipe);
        let recipe: Option<RecipeCode> = self.stand_in_recipe.parse().ok().filter(|_| known);
        if recipe.is_none() {
            errors.add("stand_in_recipe", "choose the recipe by which it is made");
        }
        let off_by = to_come("off_by", &self.off_by, clock, errors);
        let swap_min = errors.check("swap_hours", in_minutes(&self.swap_hours));
        let second = errors.check(
            "second_build",
            integer(&self.second_build, 0..=1_000_000_000),
        );
        let reason = errors.check("stand_in_why", text(&self.stand_in_why, 200));
        Some(Chosen {
            way: Way::StandIn(StandIn {
                recipe: recipe?,
                off_by: off_by?,
                swap_min: swap_min?,
                second_build: second?,
            }),
            reason: reason?,
        })
    }
}

/// Hours with one decimal, in minutes: from six minutes to two weeks.
fn in_minutes(typed: &str) -> Result<i64, crate::form::FieldError> {
    decimal(typed, 1, 1..=3360).map(|tenths| tenths * 6)
}

fn hours(minutes: i64) -> String {
    plain_decimal((minutes + 3) / 6, 1)
}

fn to_come(
    field: &str,
    typed: &str,
    (zone, now): (Tz, i64),
    errors: &mut FieldErrors,
) -> Option<DateTime<Utc>> {
    let at = errors.check(field, local_time(typed, zone))?;
    if at <= now {
        let fault = format!(
            "that is past: it is {}; give a time to come",
            moment(now, zone)
        );
        errors.add(field, fault);
        return None;
    }
    DateTime::from_timestamp_millis(at)
}
