//! Load lists as pages show them.

use askama::Template;
use axum::http::StatusCode;
use axum::response::Response;
use chrono::{DateTime, Utc};
use mendpost_core::people::Act;
use mendpost_core::resupply::Trip;
use mendpost_core::resupply::list::answer::AnswerLine;
use mendpost_core::resupply::list::{ListLine, LoadList};

use super::answer::Asked;
use super::answer::form::{OF_LINE, of_line};
use super::draft::{Draft, Read, Row, id};
use super::freeze::Ready;
use super::queries::{Answered, Listed, ON_A_PAGE};
use super::{PATH, new_path, path, words};
use crate::error::AppError;
use crate::form::FieldErrors;
use crate::form::section::Fields;
use crate::page::{Layout, Screen, page, page_with, whole};
use crate::people::Visit;
use crate::receive::delivery_path;
use crate::resupply::trip;

pub fn moment_of(page: &Layout, at: DateTime<Utc>) -> String {
    page.moment(&at.timestamp_millis())
}

#[derive(Template)]
#[template(path = "resupply/list/index.html")]
pub struct ListPage {
    page: Layout,
    answer: String,
    rows: Vec<IndexRow>,
    /// Address of older ones; empty if there are none.
    older: String,
    may_keep: bool,
}

struct IndexRow {
    path: String,
    number: i64,
    trip: String,
    mark: &'static str,
    word: String,
    lines: String,
    frozen: String,
}

pub async fn list(visit: &Visit, rows: Vec<Listed>, trips: &[Trip]) -> Result<ListPage, AppError> {
    let layout = visit.layout(Screen::Resupply, "Load lists").await?;
    let is_full = i64::try_from(rows.len()).is_ok_and(|rows| rows == ON_A_PAGE);
    let older = rows.last().filter(|it| is_full && it.number > 1);
    let open = rows
        .iter()
        .find(|it| it.state == "expected" && it.answers == 0);
    let without = trips
        .iter()
        .find(|trip| !rows.iter().any(|it| it.trip == trip.code.as_str()));
    Ok(ListPage {
        answer: match (open, without) {
            (Some(list), _) => format!(
                "Send load list {} to the depot, and enter its answer.",
                list.number
            ),
            (None, Some(trip)) => format!(
                "Freeze a list for {} by {}.",
                trip.code,
                moment_of(&layout, trip.closes)
            ),
            (None, None) => {
                "Announce the next trip: every trip that is expected has its list.".to_owned()
            }
        },
        older: older.map_or_else(String::new, |it| format!("{PATH}?before={}", it.number)),
        rows: rows.iter().map(|it| index_row(&layout, it)).collect(),
        may_keep: visit.may(Act::KeepItems),
        page: layout,
    })
}

fn index_row(page: &Layout, it: &Listed) -> IndexRow {
    let (mark, word) = match (it.state.as_str(), it.answers) {
        ("expected", 0) => ("waits", "not answered"),
        ("expected", _) => ("ready", "answered"),
        ("arrived", _) => ("done", "arrived"),
        _ => ("lost", "cancelled"),
    };
    let additions = match it.additions {
        0 => String::new(),
        1 => ", 1 addition".to_owned(),
        many => format!(", {many} additions"),
    };
    IndexRow {
        path: path(it.number),
        number: it.number,
        trip: format!("{} {}", it.trip, it.trip_name),
        mark,
        word: word.to_owned(),
        lines: format!("{}{additions}", whole(it.lines)),
        frozen: format!("{}, {}", it.by, page.moment(&it.ms)),
    }
}

/// A list as it is shown and printed, and as the depot's own Mendpost shows a file.
pub struct Body {
    /// Word and value of its head.
    pub pairs: Vec<(&'static str, String)>,
    pub sections: Vec<Section>,
    pub totals: Vec<(String, String)>,
    pub apart: Vec<String>,
    pub warns: &'static str,
}

/// The list itself, or an addition.
pub struct Section {
    pub heading: String,
    pub caption: String,
    pub rows: Vec<LineRow>,
}

pub struct LineRow {
    pub number: i64,
    pub item: String,
    pub name: String,
    pub units: String,
    pub unit: String,
    pub net: String,
    pub gross: String,
    pub size: String,
    pub goods: String,
    pub priority: String,
    pub needed_by: String,
    pub reason: String,
    /// What else the depot must know.
    pub wishes: String,
}

impl Body {
    pub fn of(page: &Layout, list: &LoadList) -> Body {
        let sections = list.additions.iter().map(|addition| {
            let at = moment_of(page, addition.at);
            let own = list
                .lines
                .iter()
                .filter(|it| it.addition == addition.number);
            Section {
                heading: match addition.number {
                    0 => format!("Load list {}", list.number),
                    number => format!("Addition {number}"),
                },
                caption: match addition.number {
                    0 => format!(
                        "frozen {at} by {}, journal {}",
                        addition.by, addition.journal
                    ),
                    _ => format!(
                        "{}; {at} by {}, journal {}",
                        addition.reason, addition.by, addition.journal
                    ),
                },
                rows: own.map(|line| line_row(page, list, line)).collect(),
            }
        });
        Body {
            pairs: vec![
                ("Site", list.site.clone()),
                (
                    "Trip",
                    format!("{}, {}, by {}", list.trip, list.trip_name, list.mode),
                ),
                ("List closes", moment_of(page, list.closes)),
                ("All together", words::both(list)),
            ],
            sections: sections.collect(),
            totals: list
                .totals
                .iter()
                .map(|it| (it.what.clone(), words::total(it)))
                .collect(),
            apart: words::apart(list),
            warns: words::NO_DECLARATION,
        }
    }
}

fn line_row(page: &Layout, list: &LoadList, line: &ListLine) -> LineRow {
    let left = list.asked().get(&line.number).copied();
    let mut wishes = Vec::new();
    if line.one_lot {
        wishes.push("all of one lot".to_owned());
    }
    if let Some(set) = line.set {
        wishes.push(format!("goes with set {set}"));
    }
    if !line.substitutes.is_empty() {
        let all: Vec<&str> = line.substitutes.iter().map(|it| it.as_str()).collect();
        wishes.push(format!("or instead {}", all.join(", ")));
    }
    if let Some(of) = line.takes_back {
        wishes = vec![format!("takes back of line {of}")];
    } else if let Some(left) = left.filter(|left| *left != line.units) {
        wishes.push(format!("{left} left by additions"));
    }
    let sign = if line.takes_back.is_some() { "−" } else { "" };
    LineRow {
        number: line.number,
        item: line.item.to_string(),
        name: line.name.clone(),
        units: format!("{sign}{}", whole(line.units)),
        unit: line.unit.clone(),
        net: format!("{sign}{}", words::of_line(line, line.net_g)),
        gross: format!("{sign}{}", words::of_line(line, line.gross_g)),
        size: words::size(line),
        goods: line.goods.clone(),
        priority: words::priority(line.priority),
        needed_by: line
            .needed_by
            .map_or_else(String::new, |at| moment_of(page, at)),
        reason: line.reason.clone(),
        wishes: wishes.join("; "),
    }
}

#[derive(Template)]
#[template(path = "resupply/list/one.html")]
pub struct OnePage {
    page: Layout,
    answer: String,
    number: i64,
    journal: i64,
    path: String,
    delivery: String,
    body: Body,
    answered: Option<AnsweredView>,
    may_add: bool,
}

struct AnsweredView {
    caption: String,
    arrival: String,
    rows: Vec<(String, String)>,
}

pub async fn one(
    visit: &Visit,
    list: &LoadList,
    answered: Option<Answered>,
    state: &str,
) -> Result<OnePage, AppError> {
    let title = format!("Load list {}", list.number);
    let layout = visit.layout(Screen::Resupply, &title).await?;
    let is_expected = state == "expected";
    let answer = match (is_expected, &answered) {
        (true, None) => format!(
            "Send load list {} to the depot by {}.",
            list.number,
            moment_of(&layout, list.closes)
        ),
        (true, Some(_)) => format!("Receive {} against what the depot sends.", list.trip),
        (false, _) => format!("{} is {state}: this list stays as it was sent.", list.trip),
    };
    let answered = answered.map(|it| AnsweredView {
        caption: format!(
            "answer {}, entered {} by {}, journal {}",
            it.number,
            layout.moment(&it.entered_ms),
            it.entered_by,
            it.journal
        ),
        arrival: it
            .answer
            .arrival
            .map_or_else(String::new, |at| moment_of(&layout, at)),
        rows: it
            .answer
            .lines
            .iter()
            .map(|line| {
                let item = list
                    .line(line.line)
                    .map_or_else(String::new, |it| it.item.to_string());
                (
                    format!("{} {item}", line.line),
                    of_answer_line(&layout, line).join(", "),
                )
            })
            .collect(),
    });
    Ok(OnePage {
        answer,
        number: list.number,
        journal: list.additions.last().map_or(0, |it| it.journal),
        path: path(list.number),
        delivery: delivery_path(list.trip.as_str()),
        body: Body::of(&layout, list),
        answered,
        may_add: visit.may(Act::KeepItems) && is_expected,
        page: layout,
    })
}

/// What becomes of a line, in words.
pub fn of_answer_line(_: &Layout, it: &AnswerLine) -> Vec<String> {
    let mut words = Vec::new();
    for (units, word) in [(it.sent, "sent"), (it.cut, "cut"), (it.later, "later")] {
        if units > 0 {
            words.push(format!("{} {word}", whole(units)));
        }
    }
    words.extend(
        it.later_on
            .map(|on| format!("on {}", on.format("%-d %b %Y"))),
    );
    words.extend(
        it.instead
            .as_ref()
            .map(|it| format!("{} of {} instead", whole(it.units), it.item)),
    );
    if !it.consignment.is_empty() {
        words.push(format!("consignment {}", it.consignment));
    }
    if !it.note.is_empty() {
        words.push(it.note.clone());
    }
    words
}

#[derive(Template)]
#[template(path = "resupply/list/radio.html")]
pub struct RadioPage {
    pub page: Layout,
    pub answer: String,
    pub lines: Vec<String>,
    /// Word and address.
    pub back: (String, String),
}

#[derive(Template)]
#[template(path = "resupply/list/choose.html")]
struct ChoosePage {
    page: Layout,
    /// Address, code, name, and when its list closes.
    trips: Vec<(String, String, String, String)>,
}

pub async fn choose(visit: &Visit, trips: &[Trip]) -> Result<Response, AppError> {
    let layout = visit.layout(Screen::Resupply, "New load list").await?;
    let row = |trip: &Trip| {
        let closes = moment_of(&layout, trip.closes);
        (
            new_path(trip.code.as_str()),
            trip.code.to_string(),
            trip.name.clone(),
            closes,
        )
    };
    page(&ChoosePage {
        trips: trips.iter().map(row).collect(),
        page: layout,
    })
}

/// A field of a repeated row: the name it is sent by, and an id of its own.
pub struct Cell {
    pub name: &'static str,
    pub id: String,
    pub value: String,
    pub error: String,
}

struct RowView {
    number: usize,
    item: Cell,
    units: Cell,
    priority: Cell,
    needed_by: Cell,
    reason: Cell,
    one_lot: Cell,
    takes_back: Cell,
    /// What one unit is; empty where no item is chosen.
    about: String,
}

#[derive(Template)]
#[template(path = "resupply/list/draft.html")]
struct DraftPage {
    page: Layout,
    answer: String,
    reason: String,
    action: String,
    back: String,
    trip: String,
    version: String,
    /// Why it is added; none on a new list.
    why: Option<String>,
    rows: Vec<RowView>,
    items: Vec<(String, String)>,
    yes_no: [(&'static str, &'static str); 2],
    totals: Vec<(String, String)>,
    apart: Vec<String>,
    warns: &'static str,
    verb: String,
    errors: FieldErrors,
}

/// The page on which rows are typed, with what they come to.
pub async fn draft(
    visit: &Visit,
    ready: &Ready,
    draft: Draft,
    read: Option<&Read>,
    (errors, status): (FieldErrors, StatusCode),
    list: Option<&LoadList>,
) -> Result<Response, AppError> {
    let draft = draft.with_blanks();
    let trip = &ready.trip;
    let title = match list {
        None => format!("Load list for {}", trip.code),
        Some(list) => format!("Add to load list {}", list.number),
    };
    let layout = visit.layout(Screen::Resupply, &title).await?;
    let totals = read.map(|read| ready.totals(&read.judged));
    let totals = totals
        .or_else(|| list.map(|it| it.totals.clone()))
        .unwrap_or_default();
    let pairs = read.map_or(&[][..], |it| &it.judged.apart);
    let items = ready.items.iter();
    let it = DraftPage {
        answer: match list {
            None => format!(
                "Freeze the list for {} by {}.",
                trip.code,
                moment_of(&layout, trip.closes)
            ),
            Some(list) => format!("Add to load list {}, or take units back.", list.number),
        },
        reason: "A frozen list is never changed; what comes after it is an addition.".to_owned(),
        action: list.map_or_else(|| PATH.to_owned(), |it| format!("{}/add", path(it.number))),
        back: list.map_or_else(|| trip::path(&trip.code), |it| path(it.number)),
        trip: draft.trip.clone(),
        version: draft.version.clone(),
        why: list.map(|_| draft.why.clone()),
        rows: draft
            .rows
            .iter()
            .enumerate()
            .map(|(at, row)| row_view(at, row, ready, &errors))
            .collect(),
        items: items
            .map(|it| {
                (
                    it.code.to_string(),
                    format!("{} {}, {}", it.code, it.name, it.unit),
                )
            })
            .collect(),
        yes_no: [("no", "no"), ("yes", "yes")],
        totals: totals
            .iter()
            .map(|it| (it.what.clone(), words::total(it)))
            .collect(),
        apart: pairs
            .iter()
            .map(|(one, other)| format!("{one} and {other}"))
            .collect(),
        warns: words::NO_DECLARATION,
        verb: if list.is_some() {
            "Add it"
        } else {
            "Freeze it"
        }
        .to_owned(),
        errors,
        page: layout,
    };
    page_with(status, &it)
}

fn row_view(at: usize, row: &Row, ready: &Ready, errors: &FieldErrors) -> RowView {
    let cell = |name: &'static str, value: &str| {
        let id = id(name, at);
        Cell {
            name,
            value: value.to_owned(),
            error: errors.of(&id).to_owned(),
            id,
        }
    };
    let item = ready
        .items
        .iter()
        .find(|it| it.code.as_str() == row.item.trim());
    RowView {
        number: at + 1,
        item: cell("item", row.item.trim()),
        units: cell("units", &row.units),
        priority: cell("priority", &row.priority),
        needed_by: cell("needed_by", &row.needed_by),
        reason: cell("reason", &row.reason),
        one_lot: cell("one_lot", &row.one_lot),
        takes_back: cell("takes_back", &row.takes_back),
        about: item.map_or_else(String::new, |it| {
            let mass = crate::resupply::item::words::mass(it.gross_g);
            let depot = it.depot.map_or_else(String::new, |units| {
                format!("; the depot has {}", whole(units))
            });
            format!("one: {mass} gross; {}{depot}", it.sheet.in_one_line())
        }),
    }
}

struct AnswerRow {
    number: i64,
    about: String,
    cells: Vec<Cell>,
}

#[derive(Template)]
#[template(path = "resupply/list/answer.html")]
struct AnswerPage {
    page: Layout,
    answer: String,
    path: String,
    version: String,
    by: String,
    arrival: String,
    usual: String,
    rows: Vec<AnswerRow>,
    /// How many lines of the delivery were announced without a list.
    besides: i64,
    besides_typed: String,
    choices: [(&'static str, &'static str); 2],
    text: String,
    errors: FieldErrors,
}

/// The form of an answer; `text` is what could not be read in.
pub async fn answer(
    visit: &Visit,
    asked: &Asked,
    fields: &Fields,
    (errors, status): (FieldErrors, StatusCode),
    text: &str,
) -> Result<Response, AppError> {
    let list = &asked.list;
    let of = |name: &str| fields.get(name).cloned().unwrap_or_default();
    let layout = visit
        .layout(
            Screen::Resupply,
            &format!("Answer to load list {}", list.number),
        )
        .await?;
    let rows = list
        .asked()
        .into_iter()
        .filter(|(_, units)| *units > 0)
        .filter_map(|(number, units)| {
            let line = list.line(number)?;
            let cell = |name: &&'static str| {
                let id = of_line(name, number);
                Cell {
                    name,
                    value: of(&id),
                    error: errors.of(&id).to_owned(),
                    id,
                }
            };
            Some(AnswerRow {
                number,
                about: format!(
                    "{} asked: {} {}, {}",
                    whole(units),
                    line.item,
                    line.name,
                    line.unit
                ),
                cells: OF_LINE.iter().map(cell).collect(),
            })
        });
    let it = AnswerPage {
        answer: format!("Say what the depot sends of load list {}.", list.number),
        path: path(list.number),
        version: of("version"),
        by: of("by"),
        arrival: of("arrival"),
        usual: moment_of(&layout, asked.ready.trip.usual),
        rows: rows.collect(),
        besides: asked.besides,
        besides_typed: of("besides"),
        choices: [
            ("stay", "they come besides"),
            ("go", "this list takes their place"),
        ],
        text: text.to_owned(),
        errors,
        page: layout,
    };
    page_with(status, &it)
}
