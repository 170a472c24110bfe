//! Reporting that an asset is down, up, expected to stop, or expected back by other means.

use axum::extract::{Path, State as Shared};
use axum::http::StatusCode;
use axum::response::Response;
use chrono_tz::Tz;
use mendpost_core::lineup::loss_now;
use mendpost_core::situation::Situation;
use mendpost_core::word_enum;
use serde::Deserialize;
use serde_json::json;
use sqlx::SqliteConnection;

use super::asset_path;
use super::item::{Item, Thing};
use super::queries::{self, AssetRow};
use super::standing::journalled;
use super::state::State;
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, local_time};
use crate::interim;
use crate::page::act::{ActPage, Field};
use crate::page::{Notice, Screen, age, moment, page_with, whole};
use crate::people::{Visit, Who};
use crate::situation;
use crate::version::is_current;
use crate::words::work::sentence;

word_enum! {
    /// What is reported of an asset.
    What {
        /// Stopped, now or since a time.
        Down = "down",
        /// Runs again, or will not stop after all.
        Up = "up",
        /// Runs, and will stop at a time.
        Expected = "expected",
        /// Will be back at a time without the cell.
        Back = "back",
    }
}

impl What {
    /// The words of a link to it.
    pub fn short(self) -> &'static str {
        match self {
            What::Down => "Report down",
            What::Up => "Report up",
            What::Expected => "Will stop",
            What::Back => "Back by other means",
        }
    }
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct ReportForm {
    at: String,
    version: String,
}

/// An asset and the site before a report, and the report read against them.
struct Report {
    what: What,
    item: Item,
    asset: AssetRow,
    /// The first end to come of an interim part on it: the part, and when.
    end: Option<(String, i64)>,
    situation: Situation,
    zone: Tz,
    now: i64,
}

pub async fn open(
    Shared(state): Shared<AppState>,
    visit: Visit,
    Path((code, what)): Path<(String, String)>,
) -> Result<Response, AppError> {
    let what = what_of(&what)?;
    let mut reading = state.db.read.begin().await?;
    let report = Report::find(&mut reading, &visit, &code, what).await?;
    let form = ReportForm {
        at: String::new(),
        version: report.asset.version.to_string(),
    };
    report
        .page(&visit, form, FieldErrors::default(), StatusCode::OK)
        .await
}

pub async fn save(
    Shared(state): Shared<AppState>,
    visit: Visit,
    who: Who,
    Path((code, what)): Path<(String, String)>,
    Posted(mut form): Posted<ReportForm>,
) -> Result<Response, AppError> {
    let what = what_of(&what)?;
    let mut change = Change::begin(&state, &who).await?;
    let report = Report::find(change.connection(), &visit, &code, what).await?;
    if !is_current(&form.version, report.asset.version) {
        drop(change);
        let mut errors = FieldErrors::default();
        let stands = "How it stands now is told here";
        errors.add_whole(report.item.overtaken(&state, visit.now, stands).await?);
        form.version = report.asset.version.to_string();
        return report
            .page(&visit, form, errors, StatusCode::CONFLICT)
            .await;
    }
    let after = match report.read(&form) {
        Ok(after) => after,
        Err(errors) => {
            drop(change);
            let status = errors.status();
            return report.page(&visit, form, errors, status).await;
        }
    };
    let text = report.write(&mut change, &after).await?;
    change
        .finish(&who, &asset_path(&code), Notice::done("SAVED", text))
        .await
}

fn what_of(word: &str) -> Result<What, AppError> {
    word.parse().map_err(|_| AppError::NotFound {
        what: format!("report '{word}' of an asset"),
    })
}

/// What a report makes of an asset.
struct After {
    asset: AssetRow,
    /// The time told: since when, from when, when back; none where none was needed.
    at_ms: Option<i64>,
}

impl Report {
    async fn find(
        connection: &mut SqliteConnection,
        visit: &Visit,
        code: &str,
        what: What,
    ) -> Result<Report, AppError> {
        let now = visit.moment()?;
        let item = Item::find(Thing::Asset, &mut *connection, code).await?;
        item.in_use()?;
        let asset = queries::asset(&mut *connection, code).await?;
        let asset = asset.ok_or_else(|| Thing::Asset.none(code))?;
        let fitted = interim::queries::on_machine(&mut *connection, code, now).await?;
        let mut ends = fitted.iter().map(|part| (part.code(), part.end_ms(now)));
        Ok(Report {
            what,
            item,
            asset,
            end: ends.find(|(_, end)| *end > visit.now),
            situation: situation::load(connection, now).await?,
            zone: visit.site.zone,
            now: visit.now,
        })
    }

    /// How the asset stands before the report.
    fn state(&self) -> State {
        let code = &self.asset.code;
        let mut assets = self.situation.assets.iter();
        assets
            .find(|asset| asset.code.as_str() == code)
            .map_or(State::Runs, |asset| State::of(&self.situation, asset))
    }

    /// Since when it is down, if it is.
    fn down_since(&self) -> Option<i64> {
        match self.state() {
            State::Down(since) => Some(since.timestamp_millis()),
            State::Runs | State::Expected(_) => None,
        }
    }

    /// The minute in which this is reported: what stops now is down in it.
    fn this_minute(&self) -> i64 {
        self.situation.now.timestamp_millis()
    }

    /// The asset as it stands after this report, or what is wrong with the report.
    fn read(&self, form: &ReportForm) -> Result<After, FieldErrors> {
        let mut errors = FieldErrors::default();
        let at = match form.at.trim() {
            "" => None,
            typed => errors.check("at", local_time(typed, self.zone)),
        };
        if !errors.is_empty() {
            return Err(errors);
        }
        let read = match self.what {
            What::Down => self.down(at),
            What::Up => self.up(at),
            What::Expected => self.expected(at),
            What::Back => self.back(at),
        };
        read.map_err(|fault| {
            errors.add("at", fault);
            errors
        })
    }

    fn down(&self, at: Option<i64>) -> Result<After, String> {
        let since = at.unwrap_or_else(|| self.this_minute());
        self.past(since)?;
        if let Some(known) = self
            .down_since()
            .filter(|known| *known == since || at.is_none())
        {
            return Err(format!(
                "it has been down since {} already; give another time to correct that",
                moment(known, self.zone)
            ));
        }
        let back_ms = self.asset.back_ms.filter(|back| *back > self.now);
        Ok(self.after(Some(since), back_ms, Some(since)))
    }

    /// With an interim part on it, it runs until that must come off.
    fn up(&self, at: Option<i64>) -> Result<After, String> {
        let end = self.end.as_ref().map(|(_, end)| *end);
        let Some(since) = self.down_since() else {
            return match (self.state(), at) {
                (State::Expected(_), None) => {
                    self.not_past_end(None)?;
                    Ok(self.after(end, None, None))
                }
                (State::Expected(_), Some(_)) => {
                    Err("leave the time empty: it has not stopped".to_owned())
                }
                _ => Err("it runs already; there is nothing to report".to_owned()),
            };
        };
        let up = at.unwrap_or_else(|| self.this_minute());
        self.past(up)?;
        if up < since {
            return Err(format!(
                "it stopped after that, {}; give a time since then, or correct when it stopped",
                moment(since, self.zone)
            ));
        }
        Ok(self.after(end, None, Some(up)))
    }

    /// Refuses that it runs on when an interim part on it must come off; `until` is when it stops, if
    /// at all.
    fn not_past_end(&self, until: Option<i64>) -> Result<(), String> {
        let Some((part, end)) = &self.end else {
            return Ok(());
        };
        let stops_then = self.asset.down_from_ms == Some(*end);
        if until.map_or(stops_then, |until| until > *end) {
            let end = moment(*end, self.zone);
            return Err(format!(
                "{part} on it must come off {end}; give a time up to then, or enter that it is off first"
            ));
        }
        Ok(())
    }

    fn expected(&self, at: Option<i64>) -> Result<After, String> {
        if let Some(since) = self.down_since() {
            let since = moment(since, self.zone);
            return Err(format!(
                "it has been down since {since}; report it up first"
            ));
        }
        let from = at.ok_or("enter when it is expected to stop")?;
        self.to_come(from)?;
        self.not_past_end(Some(from))?;
        let back_ms = self.asset.back_ms.filter(|back| *back > from);
        Ok(self.after(Some(from), back_ms, Some(from)))
    }

    /// Empty takes back what was expected.
    fn back(&self, at: Option<i64>) -> Result<After, String> {
        let runs = self.state() == State::Runs;
        let Some(from) = self.asset.down_from_ms.filter(|_| !runs) else {
            return Err("it runs, and nobody expects it to stop; report that first".to_owned());
        };
        let Some(back) = at else {
            return match self.asset.back_ms {
                Some(_) => Ok(self.after(Some(from), None, None)),
                None => Err("enter when it is expected back".to_owned()),
            };
        };
        self.to_come(back)?;
        if back <= from {
            let from = moment(from, self.zone);
            return Err(format!("it stops only {from}; give a time after that"));
        }
        Ok(self.after(Some(from), Some(back), Some(back)))
    }

    fn after(&self, down_from_ms: Option<i64>, back_ms: Option<i64>, at_ms: Option<i64>) -> After {
        let asset = AssetRow {
            down_from_ms,
            back_ms,
            ..self.asset.clone()
        };
        After { asset, at_ms }
    }

    fn past(&self, at: i64) -> Result<(), String> {
        if at > self.now {
            let distance = age(at, self.now);
            return Err(format!("that is {distance}; give a time up to now"));
        }
        self.within_a_year(at)
    }

    fn to_come(&self, at: i64) -> Result<(), String> {
        if at <= self.now {
            let distance = age(at, self.now);
            return Err(format!("that was {distance}; give a time to come"));
        }
        self.within_a_year(at)
    }

    fn within_a_year(&self, at: i64) -> Result<(), String> {
        if at.abs_diff(self.now) > YEAR_MS {
            let distance = age(at, self.now);
            return Err(format!("that is {distance}; look at the year"));
        }
        Ok(())
    }

    /// Writes it, and says what it changed of the site's loss and which requests stay open.
    async fn write(&self, change: &mut Change, after: &After) -> Result<String, AppError> {
        let kind = format!("asset.{}", self.what);
        let at = json!({ "at_ms": after.at_ms });
        let journal = journalled(change, &self.asset, &after.asset, &kind, at).await?;
        let after_it = situation::load(change.connection(), self.situation.now).await?;
        Ok(format!(
            "{}{}. {} Journal {journal}.",
            sentence(&self.done(after)),
            self.open(),
            loss(&self.situation, &after_it),
        ))
    }

    fn done(&self, after: &After) -> String {
        let name = &self.asset.name;
        let at = after
            .at_ms
            .map(|at| moment(at, self.zone))
            .unwrap_or_default();
        match (self.what, after.at_ms) {
            (What::Down, _) => format!("{name} is down since {at}"),
            (What::Up, told) => {
                let up = match told {
                    Some(_) => format!("{name} is up since {at}"),
                    None => format!("{name} is no longer expected to stop"),
                };
                up + &self.until_end()
            }
            (What::Expected, _) => format!("{name} runs until {at}"),
            (What::Back, Some(_)) => format!("{name} is expected back {at}"),
            (What::Back, None) => format!("{name} is no longer expected back by other means"),
        }
    }

    /// '; it runs until 29 Nov 2026 15:40, when I1 must come off'.
    fn until_end(&self) -> String {
        self.end.as_ref().map_or_else(String::new, |(part, end)| {
            let end = moment(*end, self.zone);
            format!("; it runs until {end}, when {part} must come off")
        })
    }

    /// The requests that stay open for an asset that is up.
    fn open(&self) -> String {
        let open: Vec<&str> = self
            .situation
            .requests
            .iter()
            .filter(|r| r.asset.as_str() == self.asset.code)
            .map(|r| r.code.as_str())
            .collect();
        match (self.what, open.as_slice()) {
            (What::Up, [one]) => format!("; {one} is still open for it"),
            (What::Up, [_, ..]) => format!("; {} are still open for it", open.join(" and ")),
            _ => String::new(),
        }
    }

    async fn page(
        &self,
        visit: &Visit,
        form: ReportForm,
        errors: FieldErrors,
        status: StatusCode,
    ) -> Result<Response, AppError> {
        let words = self.words();
        let act = ActPage {
            page: visit
                .layout(Screen::Site, &sentence(&self.asset.name))
                .await?,
            answer: words.answer,
            reason: words.reason.to_owned(),
            pairs: self.pairs(),
            fields: vec![
                Field::hidden("version", &form.version),
                Field::time("at", words.label, &form.at, words.hint),
            ],
            action: format!("{}/report/{}", asset_path(&self.asset.code), self.what),
            verb: words.verb,
            detail: "counts at once; plan again after it".to_owned(),
            back: ("Report nothing", asset_path(&self.asset.code)),
            ask: None,
            errors,
        };
        page_with(status, &act)
    }

    fn pairs(&self) -> Vec<(&'static str, String)> {
        let shown = |at: i64| format!("{}, {}", moment(at, self.zone), age(at, self.now));
        let mut pairs = vec![("Asset", format!("{}, {}", self.asset.name, self.asset.code))];
        let state = self.state();
        pairs.push(match state {
            State::Down(since) => ("Down since", shown(since.timestamp_millis())),
            State::Expected(from) => ("Runs until", shown(from.timestamp_millis())),
            State::Runs => ("State", "runs".to_owned()),
        });
        if let Some(back) = self.asset.back_ms.filter(|_| state != State::Runs) {
            pairs.push(("Expected back", shown(back)));
        }
        let open = self
            .situation
            .requests
            .iter()
            .filter(|r| r.asset.as_str() == self.asset.code);
        for request in open {
            pairs.push((
                "Open request",
                format!("{} {}", request.code, request.part_name),
            ));
        }
        for capability in &self.situation.capabilities {
            if capability
                .assets
                .iter()
                .any(|a| a.as_str() == self.asset.code)
            {
                pairs.push(("Serves", capability.name.clone()));
            }
        }
        pairs
    }

    fn words(&self) -> ReportWords {
        let name = &self.asset.name;
        match self.what {
            What::Down => ReportWords {
                answer: format!("Report {name} down."),
                reason: "What the site loses without it counts at once.",
                label: "Down since",
                hint: "empty: now",
                verb: "Save: it is down",
            },
            What::Up => ReportWords {
                answer: format!("Report {name} up."),
                reason: "Up means fitted and run. A request that is open for it stays open.",
                label: "Up since",
                hint: "empty: now",
                verb: "Save: it is up",
            },
            What::Expected => ReportWords {
                answer: format!("Report when {name} will stop."),
                reason: "It still runs and loses nothing until then.",
                label: "Runs until",
                hint: "when a worn or cracked part is expected to give way",
                verb: "Save: it will stop",
            },
            What::Back => ReportWords {
                answer: format!("Report when {name} is back without the cell."),
                reason: "By a spare, a hired one, the owner's own repair.",
                label: "Expected back",
                hint: "empty: no longer expected",
                verb: "Save: expected back",
            },
        }
    }
}

struct ReportWords {
    answer: String,
    reason: &'static str,
    label: &'static str,
    hint: &'static str,
    verb: &'static str,
}

/// A year and a day: what lies further away than that is a slip of the finger.
const YEAR_MS: u64 = 366 * 24 * 3_600_000;

/// 'The site now loses 60 points/h, 4 before.'
fn loss(before: &Situation, after: &Situation) -> String {
    let rate = |s: &Situation| -> i64 { loss_now(s).iter().map(|l| l.loss_per_hour).sum() };
    let (before, then, unit) = (rate(before), rate(after), &after.site.loss_word);
    match before == then {
        true => format!("The site loses {} {unit}/h, as before.", whole(then)),
        false => format!(
            "The site now loses {} {unit}/h, {} before.",
            whole(then),
            whole(before)
        ),
    }
}
