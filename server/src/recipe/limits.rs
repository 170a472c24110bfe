//! What a draft says of its part's dimensions and of its coupons: limits, which its approver then signs.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use mendpost_core::catalogue::{Recipe, difference};
use mendpost_core::finish::{
    Condition, Dimension, Expected, ExpectedFault, Length, Property, Unit,
};
use serde::Deserialize;
use serde_json::json;

use super::queries;
use super::save::{closed, editable, save as keep, stale};
use super::{named, path};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, decimal, plain_decimal};
use crate::page::{Layout, Screen, page_with};
use crate::people::{Visit, Who};
use crate::situation;
use crate::version::{Stale, is_current};

/// What was typed, a row for each dimension and each expectation.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct LimitsForm {
    pub size: Vec<String>,
    pub nominal: Vec<String>,
    pub lower: Vec<String>,
    pub upper: Vec<String>,
    pub unit: Vec<String>,
    pub property: Vec<String>,
    pub condition: Vec<String>,
    pub least: Vec<String>,
    pub most: Vec<String>,
    pub load: Vec<String>,
    version: String,
}

/// Empty rows below what stands.
const MORE_SIZES: usize = 3;
const MORE_COUPONS: usize = 2;

/// More rows than this are no part.
const MOST_ROWS: usize = 60;

fn at(list: &[String], index: usize) -> &str {
    list.get(index).map_or("", |typed| typed.trim())
}

impl LimitsForm {
    fn of(recipe: &Recipe, version: i64) -> LimitsForm {
        let sizes = recipe.sizes.iter();
        let length = |of: fn(&Dimension) -> Length| {
            let typed = |size: &Dimension| of(size).in_unit(size.unit);
            sizes.clone().map(typed).collect()
        };
        let coupons = recipe.coupons.iter();
        let figure = |of: fn(&Expected) -> Option<i64>| {
            let typed = |value: Option<i64>| {
                value.map_or_else(String::new, |value| plain_decimal(value, 3))
            };
            coupons.clone().map(|one| typed(of(one))).collect()
        };
        LimitsForm {
            size: sizes.clone().map(|size| size.name.clone()).collect(),
            nominal: length(|size| size.nominal),
            lower: length(|size| size.lower),
            upper: length(|size| size.upper),
            unit: sizes.clone().map(|size| size.unit.to_string()).collect(),
            property: coupons
                .clone()
                .map(|one| one.property.to_string())
                .collect(),
            condition: coupons
                .clone()
                .map(|one| one.condition.to_string())
                .collect(),
            least: figure(|one| one.least),
            most: figure(|one| one.most),
            load: figure(|one| one.load_gf),
            version: version.to_string(),
        }
    }

    fn size_rows(&self) -> usize {
        self.size.len().min(MOST_ROWS)
    }

    fn coupon_rows(&self) -> usize {
        self.property.len().min(MOST_ROWS)
    }

    /// The recipe with what was typed, or every fault beside its field.
    fn parse(&self, recipe: &Recipe) -> Result<Recipe, FieldErrors> {
        let mut errors = FieldErrors::default();
        let mut after = recipe.clone();
        let sizes = (0..self.size_rows()).filter_map(|row| self.dimension(row, &mut errors));
        after.sizes = sizes.collect();
        let coupons = (0..self.coupon_rows()).filter_map(|row| self.expected(row, &mut errors));
        after.coupons = coupons.collect();
        for (index, size) in after.sizes.iter().enumerate() {
            if after.sizes[..index]
                .iter()
                .any(|before| before.name == size.name)
            {
                let row = self.size.iter().rposition(|name| name.trim() == size.name);
                let row = row.unwrap_or(index);
                errors.add(
                    &format!("size{row}"),
                    format!("'{}' is there twice", size.name),
                );
            }
        }
        match errors.is_empty() {
            true => Ok(after),
            false => Err(errors),
        }
    }

    /// None for a row with nothing in it, or after a fault was noted.
    fn dimension(&self, row: usize, errors: &mut FieldErrors) -> Option<Dimension> {
        let [name, nominal, lower, upper] =
            [&self.size, &self.nominal, &self.lower, &self.upper].map(|list| at(list, row));
        if [name, nominal, lower, upper]
            .iter()
            .all(|typed| typed.is_empty())
        {
            return None;
        }
        let Ok(unit) = at(&self.unit, row).parse::<Unit>() else {
            errors.add(
                &format!("nominal{row}"),
                "say whether that is in mm or in inches",
            );
            return None;
        };
        let mut length = |field: &str, typed: &str| {
            let fault = match (typed, Length::parse(typed, unit)) {
                ("", _) => "enter a length here".to_owned(),
                (_, Err(fault)) => fault.to_string(),
                (_, Ok(length)) => return Some(length),
            };
            errors.add(&format!("{field}{row}"), fault);
            None
        };
        let nominal = length("nominal", nominal);
        let lower = length("lower", lower);
        let upper = length("upper", upper);
        let lengths = [nominal?, lower?, upper?];
        let read = Dimension::new(name, lengths, unit);
        read.map_err(|fault| {
            let field = match fault {
                mendpost_core::finish::DimensionFault::Name { .. } => "size",
                _ => "lower",
            };
            errors.add(&format!("{field}{row}"), fault.to_string());
        })
        .ok()
    }

    fn expected(&self, row: usize, errors: &mut FieldErrors) -> Option<Expected> {
        let all = [
            &self.property,
            &self.condition,
            &self.least,
            &self.most,
            &self.load,
        ];
        let [property, condition, least, most, load] = all.map(|list| at(list, row));
        if [property, condition, least, most, load]
            .iter()
            .all(|typed| typed.is_empty())
        {
            return None;
        }
        let mut told = |field: &str, fault: &str| errors.add(&format!("{field}{row}"), fault);
        let property = property.parse::<Property>();
        let condition = condition.parse::<Condition>();
        if property.is_err() {
            told("property", "choose what is found of the coupon");
        }
        if condition.is_err() {
            told("condition", "choose in which condition it is tested");
        }
        let mut figure = |field: &str, typed: &str, most: i64| match typed {
            "" => Some(None),
            typed => {
                let read = decimal(typed, 3, 0..=most);
                errors.check(&format!("{field}{row}"), read).map(Some)
            }
        };
        let limit = property
            .as_ref()
            .map_or(3_000_000, |property| property.most());
        let least = figure("least", least, limit);
        let most = figure("most", most, limit);
        let load_gf = figure("load", load, 100_000);
        let expected = Expected {
            property: property.ok()?,
            condition: condition.ok()?,
            least: least?,
            most: most?,
            load_gf: load_gf?,
        };
        let checked = expected.checked();
        checked
            .map_err(|fault| {
                let field = if fault == ExpectedFault::Load {
                    "load"
                } else {
                    "least"
                };
                errors.add(&format!("{field}{row}"), fault.to_string());
            })
            .ok()
    }
}

/// A field of a row as the page shows it.
pub struct Cell {
    pub name: &'static str,
    pub id: String,
    pub label: &'static str,
    pub value: String,
    pub fault: String,
    /// Value and words of each choice; none: it is typed.
    pub choices: Vec<(&'static str, &'static str)>,
}

#[derive(Template)]
#[template(path = "recipe/limits.html")]
struct LimitsPage {
    page: Layout,
    answer: String,
    action: String,
    back: String,
    closed: bool,
    sizes: Vec<Vec<Cell>>,
    coupons: Vec<Vec<Cell>>,
    form: LimitsForm,
    errors: FieldErrors,
    stale: Option<Stale>,
}

impl LimitsPage {
    fn new(page: Layout, recipe: &Recipe, form: LimitsForm, errors: FieldErrors) -> LimitsPage {
        let cell = |name, label, list: &[String], row, choices| {
            let id = format!("{name}{row}");
            Cell {
                name,
                label,
                value: at(list, row).to_owned(),
                fault: errors.of(&id).to_owned(),
                id,
                choices,
            }
        };
        let size = |row| {
            vec![
                cell("size", "Dimension", &form.size, row, Vec::new()),
                cell("nominal", "Nominal", &form.nominal, row, Vec::new()),
                cell("lower", "From", &form.lower, row, Vec::new()),
                cell("upper", "To", &form.upper, row, Vec::new()),
                cell(
                    "unit",
                    "Unit",
                    &form.unit,
                    row,
                    vec![("mm", "mm"), ("in", "in")],
                ),
            ]
        };
        let properties = vec![
            ("strength", "bond strength, MPa"),
            ("hardness", "hardness, HV"),
            ("density", "density, %"),
            ("porosity", "porosity, %"),
        ];
        let conditions = vec![
            ("as-sprayed", "as sprayed"),
            ("heat-treated", "heat treated"),
        ];
        let coupon = |row| {
            vec![
                cell(
                    "property",
                    "Of a coupon",
                    &form.property,
                    row,
                    properties.clone(),
                ),
                cell(
                    "condition",
                    "Condition",
                    &form.condition,
                    row,
                    conditions.clone(),
                ),
                cell("least", "At least", &form.least, row, Vec::new()),
                cell("most", "At most", &form.most, row, Vec::new()),
                cell("load", "Load, kgf", &form.load, row, Vec::new()),
            ]
        };
        LimitsPage {
            answer: match closed(recipe) {
                Some(_) => "Note down what you typed: it cannot be saved here.".to_owned(),
                None => format!("Say what {} is measured against.", named(recipe)),
            },
            action: format!("{}/limits", path(recipe)),
            back: path(recipe),
            closed: closed(recipe).is_some(),
            sizes: (0..form.size_rows() + MORE_SIZES).map(size).collect(),
            coupons: (0..form.coupon_rows() + MORE_COUPONS).map(coupon).collect(),
            stale: None,
            page,
            form,
            errors,
        }
    }
}

type At = Path<(String, String)>;

pub async fn open(
    State(state): State<AppState>,
    visit: Visit,
    Path((code, revision)): At,
) -> Result<Response, AppError> {
    let revision = queries::find(&state, &code, &revision).await?;
    editable(&revision)?;
    let form = LimitsForm::of(&revision.recipe, revision.version);
    let shown = (StatusCode::OK, FieldErrors::default(), None);
    limits_page(&visit, &revision.recipe, form, shown).await
}

pub async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path((code, revision)): At,
    Posted(mut form): Posted<LimitsForm>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let revision = queries::load(change.connection(), &code, &revision).await?;
    let recipe = &revision.recipe;
    if let Some(why) = closed(recipe) {
        drop(change);
        let mut errors = FieldErrors::default();
        errors.add_whole(format!("Not saved: {why}."));
        return limits_page(&visit, recipe, form, (StatusCode::CONFLICT, errors, None)).await;
    }
    let after = match form.parse(recipe) {
        Ok(after) => after,
        Err(errors) => {
            drop(change);
            return limits_page(&visit, recipe, form, (errors.status(), errors, None)).await;
        }
    };
    if !is_current(&form.version, revision.version) {
        let now = visit.moment()?;
        let situation = situation::load(change.connection(), now).await?;
        drop(change);
        let differs = difference(&revision.recipe, &after);
        let stale = stale(&state, &situation, &revision, differs).await?;
        form.version = stale.version.to_string();
        let shown = (StatusCode::CONFLICT, FieldErrors::default(), Some(stale));
        return limits_page(&visit, recipe, form, shown).await;
    }
    let says = |r: &Recipe| json!({ "sizes": r.sizes, "coupons": r.coupons });
    let content = json!({
        "version": revision.version + 1,
        "before": says(recipe),
        "after": says(&after),
    });
    let said = format!("what {} is measured against", named(recipe));
    keep(
        change,
        &who,
        &revision,
        &after,
        ("recipe.said", content),
        &said,
    )
    .await
}

async fn limits_page(
    visit: &Visit,
    recipe: &Recipe,
    form: LimitsForm,
    (status, errors, stale): (StatusCode, FieldErrors, Option<Stale>),
) -> Result<Response, AppError> {
    let layout = visit
        .layout(Screen::Catalogue, recipe.code.as_str())
        .await?;
    let mut page = LimitsPage::new(layout, recipe, form, errors);
    page.stale = stale;
    page_with(status, &page)
}
