//! Rules of carriage as pages show them.

use askama::Template;
use axum::http::StatusCode;
use axum::response::Response;
use mendpost_core::people::Act;
use mendpost_core::resupply::{CarriageRule, CarriageRules, Mode, PackingGroup};

use super::PATH;
use super::form::{APART, LIMIT, RULE};
use crate::error::AppError;
use crate::form::section::{Fields, Section, Shown, numbered};
use crate::form::{FieldErrors, plain_decimal};
use crate::page::act::Field;
use crate::page::{Layout, Screen, page_with};
use crate::people::Visit;
use crate::resupply::form as shared;

/// Stands on every page of the rules.
const WARNS: &str =
    "A trained shipper decides, by the edition in force; this warns only, and is no declaration.";

#[derive(Template)]
#[template(path = "resupply/carriage.html")]
pub struct ShowPage {
    page: Layout,
    warns: &'static str,
    modes: Vec<OfMode>,
    may_keep: bool,
}

struct OfMode {
    mode: String,
    /// None: nobody wrote anything down.
    edition: Option<String>,
    entered: String,
    points: String,
    /// Of what, what holds, why.
    rules: Vec<(String, String, String)>,
    /// Which two, what the rules say, what that means here.
    apart: Vec<(String, String, &'static str)>,
}

pub async fn show(
    visit: &Visit,
    all: &[(Mode, Option<CarriageRules>)],
) -> Result<ShowPage, AppError> {
    let layout = visit.layout(Screen::Resupply, "Rules of carriage").await?;
    Ok(ShowPage {
        warns: WARNS,
        modes: all
            .iter()
            .map(|(mode, rules)| of_mode(&layout, *mode, rules.as_ref()))
            .collect(),
        may_keep: visit.may(Act::KeepItems),
        page: layout,
    })
}

fn of_mode(page: &Layout, mode: Mode, rules: Option<&CarriageRules>) -> OfMode {
    OfMode {
        mode: mode.to_string(),
        edition: rules.map(|it| it.edition.clone()),
        entered: rules.map_or_else(String::new, |it| {
            let when = page.moment(&it.entered_at.timestamp_millis());
            format!("entered by {}, {when}", it.entered_by)
        }),
        points: rules
            .and_then(|it| it.points_milli)
            .map_or_else(String::new, |milli| {
                format!("At most {} points in one load.", plain_decimal(milli, 3))
            }),
        rules: rules.map_or_else(Vec::new, |it| {
            let rules = it.rules.iter();
            rules
                .map(|rule| (of_what(rule), holds(rule), rule.note.clone()))
                .collect()
        }),
        apart: rules.map_or_else(Vec::new, |it| {
            let pairs = it.apart.iter();
            let kept = |can| match can {
                true => "can be kept so on the vehicle",
                false => "never on one trip",
            };
            pairs
                .map(|pair| {
                    let both = format!("{} and {}", pair.one, pair.other);
                    (both, pair.what.clone(), kept(pair.can_be_kept))
                })
                .collect()
        }),
    }
}

/// 'UN 3089, class 4.1, III'; 'all others'.
fn of_what(rule: &CarriageRule) -> String {
    let named = [
        rule.un.map(|un| format!("UN {un}")),
        rule.class.as_ref().map(|class| format!("class {class}")),
        rule.group.map(|group| format!("group {group}")),
    ];
    let named: Vec<String> = named.into_iter().flatten().collect();
    match named.is_empty() {
        true => "all others".to_owned(),
        false => named.join(", "),
    }
}

fn holds(rule: &CarriageRule) -> String {
    if rule.refused {
        return "refused".to_owned();
    }
    let points = match rule.points {
        0 => None,
        1 => Some("1 point a kg or l".to_owned()),
        points => Some(format!("{points} points a kg or l")),
    };
    let of = |most: Option<i64>, of: &str| {
        most.map(|most| format!("at most {} kg or l {of}", plain_decimal(most, 3)))
    };
    let all = [
        of(rule.package, "in a package"),
        of(rule.load, "in a load"),
        points,
    ];
    let all: Vec<String> = all.into_iter().flatten().collect();
    match all.is_empty() {
        true => "taken".to_owned(),
        false => all.join(", "),
    }
}

#[derive(Template)]
#[template(path = "resupply/carriage-form.html")]
struct FormPage {
    page: Layout,
    mode: String,
    warns: &'static str,
    edition: Field,
    limit: Field,
    rules: Vec<[Shown; 8]>,
    apart: Vec<[Shown; 4]>,
    groups: Vec<(String, String)>,
    answers: Vec<(String, String)>,
    version: String,
    back: &'static str,
    errors: FieldErrors,
}

/// How many empty places follow on what stands.
const FREE: usize = 3;

/// The places of a letter that hold something, and some empty ones.
fn places<const N: usize>(
    fields: &Fields,
    letter: char,
    names: &[&str; N],
    errors: &FieldErrors,
) -> Vec<[Shown; N]> {
    let mut sections = numbered(fields, letter);
    sections.retain(|_, section| section.values().any(|typed| !typed.trim().is_empty()));
    let next = sections.keys().last().map_or(0, |last| last + 1);
    sections.extend((next..next + FREE).map(|at| (at, Fields::new())));
    let each = sections.iter().map(|(at, section)| {
        let section = Section::new(format!("{letter}{at}_"), section);
        names.map(|name| section.shown(name, errors))
    });
    each.collect()
}

pub async fn form(
    visit: &Visit,
    mode: Mode,
    fields: &Fields,
    (status, errors): (StatusCode, FieldErrors),
) -> Result<Response, AppError> {
    let shown = shared::Shown(fields);
    let word = |word: &str| (word.to_owned(), word.to_owned());
    let page = FormPage {
        page: visit
            .layout(Screen::Resupply, &format!("Rules by {mode}"))
            .await?,
        mode: mode.to_string(),
        warns: WARNS,
        edition: shown.text("edition", "Title and edition", "as it stands on the book"),
        limit: shown.figure(&LIMIT),
        rules: places(fields, 'r', &RULE, &errors),
        apart: places(fields, 'a', &APART, &errors),
        groups: PackingGroup::ALL
            .iter()
            .map(|group| word(group.as_str()))
            .collect(),
        answers: ["no", "yes"].map(word).into(),
        version: shown.of("version").to_owned(),
        back: PATH,
        errors,
    };
    page_with(status, &page)
}
