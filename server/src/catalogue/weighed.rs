//! Entering a weighed build: what was fed to the part, and what was deposited on it.

use axum::extract::{Path, Query, State};
use axum::response::Response;
use chrono_tz::Tz;
use mendpost_core::catalogue::{Part, Recipe, RecipeState, Spray};
use mendpost_core::lineup::recipes_of;
use mendpost_core::situation::Situation;
use serde::Deserialize;

use super::queries::{self, NewWeighed};
use super::{part_of, path};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, MOST_WEIGHED_MG, Posted, decimal, local_time, optional_text};
use crate::page::act::{ActPage, Field};
use crate::page::{Notice, Screen, field_time, grams_exact, moment};
use crate::people::{Visit, Who};
use crate::situation;
use crate::words::Words;
use crate::words::catalogue::setting;
use crate::words::efficiency::percent;
use crate::words::powder::lot_state;

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct WeighedForm {
    recipe: String,
    stage: String,
    fed: String,
    deposited: String,
    built: String,
    lot: String,
    request: String,
    note: String,
}

/// The address of the form for a stage of a recipe, by its place among the stages.
pub fn form_path(part: &Part, recipe: &Recipe, stage: usize) -> String {
    let query = form_urlencoded::Serializer::new(String::new())
        .append_pair("recipe", recipe.code.as_str())
        .append_pair("stage", &stage.to_string())
        .finish();
    format!("{}/weigh?{query}", path(part.code.as_str()))
}

pub async fn show(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
    Query(asked): Query<WeighedForm>,
) -> Result<Response, AppError> {
    let situation = situation::now(&state).await?;
    let stage = Stage::find(&situation, &code, &asked)?;
    let form = WeighedForm {
        built: field_time(state.clock.now(), situation.site.zone),
        ..asked
    };
    stage
        .page(&state, &visit, form, FieldErrors::default())
        .await
}

pub async fn enter(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
    Posted(form): Posted<WeighedForm>,
) -> Result<Response, AppError> {
    let situation = situation::now(&state).await?;
    let stage = Stage::find(&situation, &code, &form)?;
    let lots = queries::lots_of(&state.db.read, stage.spray.powder.as_str()).await?;
    let parsed = form.parse(&stage, &lots, state.clock.now());
    let given = match parsed {
        Ok(given) => given,
        Err(errors) => return stage.page(&state, &visit, form, errors).await,
    };
    let mut change = Change::begin(&state, &who).await?;
    let throat_um = queries::throat_um(change.connection(), given.built_ms).await?;
    let new = NewWeighed {
        recipe: stage.recipe.code.as_str(),
        revision: stage.recipe.revision,
        position: stage.position,
        fed_mg: given.fed_mg,
        deposited_mg: given.deposited_mg,
        lot: given.lot.as_deref(),
        throat_um,
        request: given.request,
        built_ms: given.built_ms,
        by: &who.name,
        note: &given.note,
    };
    let (number, journal) = queries::enter(&mut change, &new).await?;
    let text = format!(
        "weighed build {number}: {} of {} deposited, journal {journal}. Plan again to count with it.",
        percent(given.deposited_mg as f64 / given.fed_mg as f64),
        grams_exact(given.fed_mg),
    );
    change
        .finish(&who, &path(&code), Notice::done("SAVED", text))
        .await
}

/// What was weighed, in milligrams.
struct Given {
    fed_mg: i64,
    deposited_mg: i64,
    lot: Option<String>,
    request: Option<i64>,
    built_ms: i64,
    note: String,
}

impl WeighedForm {
    fn parse(
        &self,
        stage: &Stage<'_>,
        lots: &[(String, String)],
        now: i64,
    ) -> Result<Given, FieldErrors> {
        let mut errors = FieldErrors::default();
        let fed = errors.check("fed", decimal(&self.fed, 3, 1000..=MOST_WEIGHED_MG));
        let deposited = errors.check(
            "deposited",
            decimal(&self.deposited, 3, 1..=MOST_WEIGHED_MG),
        );
        if let Some((fed, deposited)) = fed.zip(deposited)
            && (deposited > fed || deposited * 50 < fed)
        {
            errors.add("deposited", no_efficiency(fed, deposited));
        }
        let zone = stage.situation.site.zone;
        let built = errors.check("built", local_time(&self.built, zone));
        if let Some(built) = built.filter(|built| *built > now) {
            errors.add("built", not_yet(built, now, zone));
        }
        let lot = self.lot.trim();
        if !lot.is_empty() && !lots.iter().any(|(code, _)| code == lot) {
            errors.add(
                "lot",
                format!("'{lot}' is not one of the lots; choose from the list"),
            );
        }
        let request = self.request.trim();
        let asked = requests(stage).find(|(number, _)| number == request);
        if !request.is_empty() && asked.is_none() {
            let what = format!("'{request}' is not one of the requests; choose from the list");
            errors.add("request", what);
        }
        let note = errors.check("note", optional_text(&self.note, 200));
        match (fed, deposited, built, note, errors.is_empty()) {
            (Some(fed_mg), Some(deposited_mg), Some(built_ms), Some(note), true) => Ok(Given {
                fed_mg,
                deposited_mg,
                lot: (!lot.is_empty()).then(|| lot.to_owned()),
                request: request.parse().ok(),
                built_ms,
                note: note.unwrap_or_default(),
            }),
            _ => Err(errors),
        }
    }
}

fn no_efficiency(fed_mg: i64, deposited_mg: i64) -> String {
    let (fed, deposited) = (grams_exact(fed_mg), grams_exact(deposited_mg));
    if deposited_mg > fed_mg {
        format!("{deposited} can't come of {fed} fed; weigh both again")
    } else {
        format!(
            "{deposited} of {fed} is less than 2 %, which is a failed build and no efficiency; \
             weigh both again, or leave it out"
        )
    }
}

fn not_yet(built_ms: i64, now: i64, zone: Tz) -> String {
    let (built, now) = (moment(built_ms, zone), moment(now, zone));
    format!("{built} is later than now, {now}; enter when it was built")
}

/// Open requests for the part: number and words.
fn requests<'a>(stage: &'a Stage<'_>) -> impl Iterator<Item = (String, String)> + 'a {
    let words = Words::new(stage.situation);
    stage
        .situation
        .requests
        .iter()
        .filter(|r| r.part.as_ref() == Some(&stage.part.code))
        .map(move |r| {
            let number = r.code.as_str().trim_start_matches('R').to_owned();
            (number, words.request(r.code.as_str()))
        })
}

/// The stage of an approved recipe that a build was sprayed by.
struct Stage<'a> {
    situation: &'a Situation,
    part: &'a Part,
    recipe: &'a Recipe,
    spray: &'a Spray,
    /// Its place among the operations, from 1.
    position: i64,
}

impl<'a> Stage<'a> {
    fn find(
        situation: &'a Situation,
        part: &str,
        form: &WeighedForm,
    ) -> Result<Stage<'a>, AppError> {
        let part = part_of(situation, part)?;
        let none = || AppError::NotFound {
            what: format!(
                "stage {} of an approved recipe {} for {}",
                form.stage, form.recipe, part.code
            ),
        };
        let recipe = recipes_of(situation, part)
            .into_iter()
            .find(|r| r.state == RecipeState::Approved && r.code.as_str() == form.recipe.trim());
        let recipe = recipe.ok_or_else(none)?;
        let stage: usize = form.stage.trim().parse().map_err(|_| none())?;
        let index = stage.checked_sub(1).ok_or_else(none)?;
        let mut stages = (1..)
            .zip(&recipe.operations)
            .filter_map(|(position, o)| Some((position, o.spray.as_ref()?)));
        let (position, spray) = stages.nth(index).ok_or_else(none)?;
        Ok(Stage {
            situation,
            part,
            recipe,
            spray,
            position,
        })
    }

    async fn page(
        &self,
        state: &AppState,
        visit: &Visit,
        form: WeighedForm,
        errors: FieldErrors,
    ) -> Result<Response, AppError> {
        let Stage { part, recipe, .. } = self;
        let act = ActPage {
            page: visit.layout(Screen::Catalogue, part.code.as_str()).await?,
            answer: format!(
                "Weigh what was fed and deposited, and enter it for stage {} of {}.",
                form.stage, recipe.code
            ),
            reason: "The next build is planned with it.".to_owned(),
            pairs: self.pairs(),
            fields: self.fields(state, form).await?,
            action: format!("{}/weigh", path(part.code.as_str())),
            verb: "Save",
            detail: "counts from the next plan on".to_owned(),
            back: ("Enter nothing", path(part.code.as_str())),
            ask: None,
            errors,
        };
        act.answer()
    }

    fn pairs(&self) -> Vec<(&'static str, String)> {
        let words = Words::new(self.situation);
        vec![
            ("Part", format!("{}, {}", self.part.name, self.part.code)),
            (
                "Recipe",
                format!("{} revision {}", self.recipe.code, self.recipe.revision),
            ),
            ("Powder", words.powder_short(self.spray.powder.as_str())),
            ("Setting", setting(self.spray)),
            ("To deposit", grams_exact(self.spray.deposited_g * 1000)),
        ]
    }

    async fn fields(&self, state: &AppState, form: WeighedForm) -> Result<Vec<Field>, AppError> {
        let lots = queries::lots_of(&state.db.read, self.spray.powder.as_str()).await?;
        let lots = lots.into_iter().map(|(code, state)| {
            let words = state.parse().map(lot_state).unwrap_or_default();
            (code.clone(), format!("{code}, {words}"))
        });
        let mut fields = vec![
            Field::hidden("recipe", &form.recipe),
            Field::hidden("stage", &form.stage),
            Field::amount(
                "fed",
                "Fed to the part",
                &form.fed,
                "g",
                "without starts, stops and coupons",
            ),
            Field::amount(
                "deposited",
                "Deposited",
                &form.deposited,
                "g",
                "the part's weight after spraying less that before",
            ),
            Field::time("built", "Built", &form.built, "when spraying ended"),
            Field::choose(
                "lot",
                "Lot",
                &form.lot,
                lots.collect(),
                "empty if not known, or several",
            ),
        ];
        let asked: Vec<_> = requests(self).collect();
        if !asked.is_empty() {
            let hint = "empty if for none of these";
            fields.push(Field::choose(
                "request",
                "Request",
                &form.request,
                asked,
                hint,
            ));
        }
        fields.push(Field::text(
            "note",
            "Note",
            &form.note,
            "what was unlike other builds",
        ));
        Ok(fields)
    }
}
