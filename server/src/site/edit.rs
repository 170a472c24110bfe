//! Changing the site's facts: name, cell, zone, height.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use chrono_tz::Tz;
use mendpost_core::journal::Subject;
use serde::Deserialize;
use serde_json::json;

use super::{Site, queries};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, integer, text};
use crate::page::{Layout, Notice, Screen, page_with, whole};
use crate::people::{Visit, Who};
use crate::version::{Field, Stale, is_current};

/// What was typed of the site's facts.
#[derive(Default, Deserialize)]
#[serde(default)]
pub struct SiteForm {
    name: String,
    cell_name: String,
    zone: String,
    altitude_m: String,
    version: String,
}

impl SiteForm {
    fn of(site: &Site, version: i64) -> SiteForm {
        SiteForm {
            name: site.name.clone(),
            cell_name: site.cell_name.clone(),
            zone: site.zone.name().to_owned(),
            altitude_m: site.altitude_m.to_string(),
            version: version.to_string(),
        }
    }

    /// The site as typed; whether it is the demonstration is not for a form to say.
    fn parse(&self, demonstration: bool) -> Result<Site, FieldErrors> {
        let mut errors = FieldErrors::default();
        let name = errors.check("name", text(&self.name, 80));
        let cell_name = errors.check("cell_name", text(&self.cell_name, 80));
        let zone = errors.check("zone", text(&self.zone, 64));
        let zone = zone.and_then(|given| {
            let zone: Option<Tz> = given.parse().ok();
            if zone.is_none() {
                let fault =
                    format!("'{given}' is no time zone; give a name as Pacific/Port_Moresby");
                errors.add("zone", fault);
            }
            zone
        });
        let altitude_m = errors.check("altitude_m", integer(&self.altitude_m, -500..=6000));
        match (name, cell_name, zone, altitude_m) {
            (Some(name), Some(cell_name), Some(zone), Some(altitude_m)) => Ok(Site {
                name,
                cell_name,
                zone,
                altitude_m,
                demonstration,
            }),
            _ => Err(errors),
        }
    }
}

#[derive(Template)]
#[template(path = "site/edit.html")]
struct EditPage {
    page: Layout,
    form: SiteForm,
    errors: FieldErrors,
    stale: Option<Stale>,
}

pub async fn show(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let (site, version) = queries::site_with_version(&state.db.read).await?;
    let form = SiteForm::of(&site, version);
    edit_page(&visit, StatusCode::OK, form, FieldErrors::default(), None).await
}

pub async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(mut form): Posted<SiteForm>,
) -> Result<Response, AppError> {
    let after = match form.parse(visit.site.demonstration) {
        Ok(site) => site,
        Err(errors) => {
            let refused = StatusCode::UNPROCESSABLE_ENTITY;
            return edit_page(&visit, refused, form, errors, None).await;
        }
    };
    let subject = Subject::new("site", 1);
    let mut change = Change::begin(&state, &who).await?;
    let (before, version) = queries::site_with_version(change.connection()).await?;
    if !is_current(&form.version, version) {
        drop(change);
        let fields = both(&before, &after);
        let stale = Stale::of(&state.db.read, &subject, version, fields).await?;
        form.version = stale.version.to_string();
        let errors = FieldErrors::default();
        return edit_page(&visit, StatusCode::CONFLICT, form, errors, Some(stale)).await;
    }
    queries::update(change.connection(), &after).await?;
    let content = json!({ "version": version + 1, "before": before, "after": after });
    let journal = change.journal("site.changed", subject, content).await?;
    let text = format!("{}, {}. Journal {journal}.", after.name, after.cell_name);
    let notice = Notice::done("SAVED", text);
    change.finish(&who, Screen::Site.path(), notice).await
}

fn both(stands: &Site, yours: &Site) -> Vec<Field> {
    let height = |site: &Site| format!("{} m", whole(site.altitude_m));
    vec![
        Field::new("Site", &stands.name, &yours.name),
        Field::new("Cell", &stands.cell_name, &yours.cell_name),
        Field::new("Time zone", &stands.zone, &yours.zone),
        Field::new("Height above the sea", &height(stands), &height(yours)),
    ]
}

async fn edit_page(
    visit: &Visit,
    status: StatusCode,
    form: SiteForm,
    errors: FieldErrors,
    stale: Option<Stale>,
) -> Result<Response, AppError> {
    let page = visit.layout(Screen::Site, "Change the site").await?;
    page_with(
        status,
        &EditPage {
            page,
            form,
            errors,
            stale,
        },
    )
}
