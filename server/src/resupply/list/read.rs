//! Reads what came over a link or was read by voice: a depot file, a sheet, lines. Says line by line what was
//! understood; changes nothing.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use mendpost_core::people::Act;
use mendpost_core::resupply::list::answer::Answer;
use mendpost_core::resupply::list::depot::{self, MOST_BYTES};
use mendpost_core::resupply::list::{LoadList, depot::Read};
use mendpost_core::resupply::radio::{self, End, Heard, Message, Misheard, OnHand, Why};

use super::answer::TextForm;
use super::pages::{Body, moment_of};
use super::{csv, path};
use crate::AppState;
use crate::attachment::{SentFile, WithFiles};
use crate::error::AppError;
use crate::form::FieldErrors;
use crate::form::section::Fields;
use crate::page::{Layout, Screen, page_with, whole};
use crate::people::Visit;
use crate::words::bar;

/// What a text is, as far as it was understood.
pub enum Understood {
    /// It is none of ours, or came damaged.
    Fault(String),
    Sheet {
        list: i64,
        fields: Fields,
    },
    Answer(Answer),
    List(Box<LoadList>),
    Voice {
        heard: Heard,
        message: Option<Message>,
    },
}

/// Tells what a text is.
pub fn understand(text: &str) -> Understood {
    let bare = text.trim_start_matches('\u{feff}').trim_start();
    if bare.starts_with(['{', '[']) {
        return match depot::read_any(bare) {
            Ok(Read::List(list)) => Understood::List(list),
            Ok(Read::Answer(answer)) => Understood::Answer(answer),
            Err(fault) => Understood::Fault(fault.to_string()),
        };
    }
    let first = bare.lines().next().unwrap_or_default();
    if first.split([',', ';', '\t']).count() > 2 {
        return match csv::read(bare) {
            Ok((list, fields)) => Understood::Sheet { list, fields },
            Err(fault) => Understood::Fault(fault),
        };
    }
    let (heard, message) = radio::read(bare);
    Understood::Voice { heard, message }
}

/// What was sent: the file if there is one, else what was pasted.
pub fn text_of(pasted: &str, files: &[SentFile]) -> Result<String, String> {
    let text = match files
        .iter()
        .find(|it| it.field == "file" && !it.bytes.is_empty())
    {
        Some(file) => String::from_utf8(file.bytes.clone()).map_err(|_| {
            format!(
                "'{}' is no text; send the file or the sheet as it was made, in UTF-8",
                file.name
            )
        })?,
        None => pasted.to_owned(),
    };
    if text.trim().is_empty() {
        return Err("paste a text, or choose a file".to_owned());
    }
    if text.len() > MOST_BYTES {
        let (given, most) = (text.len().div_ceil(1024), MOST_BYTES / 1024);
        return Err(format!("{given} KiB are too much; send at most {most} KiB"));
    }
    Ok(text)
}

fn of_row(it: &Misheard) -> String {
    let line = it
        .number
        .map_or_else(String::new, |number| format!(", as line {number},"));
    let why = match it.why {
        Why::Check => "its check characters do not fit",
        Why::Number => "two lines of this number say different things",
        Why::Sense => "it says nothing that is known here",
    };
    format!("row {}{line} was misheard: {why}", it.row)
}

fn numbers(numbers: impl IntoIterator<Item = usize>) -> String {
    let each: Vec<String> = numbers.into_iter().map(|it| it.to_string()).collect();
    each.join(", ")
}

/// What is wrong with what was heard, each by itself; empty if nothing is.
pub fn in_words(heard: &Heard) -> Vec<String> {
    let mut words: Vec<String> = heard.misheard.iter().map(of_row).collect();
    if !heard.missing.is_empty() {
        words.push(format!(
            "missing: line {}",
            numbers(heard.missing.iter().copied())
        ));
    }
    match heard.end {
        End::Missing => words.push("its last line is missing: more may be".to_owned()),
        End::Differs => words.push(
            "each line fits, and all together are not what was said: have all of them read again"
                .to_owned(),
        ),
        End::Open | End::Whole => {}
    }
    words
}

#[derive(Template)]
#[template(path = "resupply/list/read.html")]
struct ReadPage {
    page: Layout,
    answer: String,
    reason: String,
    text: String,
    errors: FieldErrors,
    /// What was not heard right.
    wrong: Vec<String>,
    /// What was understood.
    rows: Vec<(String, String)>,
    list: Option<Body>,
    /// Where an answer is entered.
    go_on: Option<String>,
}

pub async fn open(visit: Visit) -> Result<Response, AppError> {
    let page = visit.layout(Screen::Resupply, "Read").await?;
    show(&ReadPage {
        answer: "Paste what was read to you, or choose the file that came.".to_owned(),
        reason: "A load list, a depot’s answer or a report of what is on hand. \
                 Nothing is entered by reading it."
            .to_owned(),
        text: String::new(),
        errors: FieldErrors::default(),
        wrong: Vec::new(),
        rows: Vec::new(),
        list: None,
        go_on: None,
        page,
    })
}

fn show(it: &ReadPage) -> Result<Response, AppError> {
    page_with(it.errors.status(), it)
}

pub async fn read(
    State(state): State<AppState>,
    visit: Visit,
    WithFiles { form, files }: WithFiles<TextForm>,
) -> Result<Response, AppError> {
    let layout = visit.layout(Screen::Resupply, "Read").await?;
    let mut it = ReadPage {
        answer: String::new(),
        reason: String::new(),
        text: form.text.clone(),
        errors: FieldErrors::default(),
        wrong: Vec::new(),
        rows: Vec::new(),
        list: None,
        go_on: None,
        page: layout,
    };
    let answers = match text_of(&form.text, &files) {
        Err(fault) => {
            it.errors.add("text", fault);
            None
        }
        Ok(text) => {
            let answers = it.understood(understand(&text));
            it.text = text;
            answers
        }
    };
    if it.answer.is_empty() {
        it.answer = "Nothing was understood.".to_owned();
    }
    if let Some(number) = answers.filter(|_| visit.may(Act::KeepItems)) {
        let known = sqlx::query_scalar!("select number from load_list where number = ?", number)
            .fetch_optional(&state.db.read)
            .await?;
        it.go_on = known.map(|number| format!("{}/answer/read", path(number)));
    }
    show(&it)
}

impl ReadPage {
    /// Says what it is; the number of the list that it answers, if it does.
    fn understood(&mut self, what: Understood) -> Option<i64> {
        match what {
            Understood::Fault(fault) => {
                self.errors.add("text", fault);
                None
            }
            Understood::List(list) => {
                self.answer = format!(
                    "This is load list {} of {}, for {}.",
                    list.number, list.site, list.trip
                );
                self.reason =
                    "It came as it was sent: its check fits, and its sums are right.".to_owned();
                self.list = Some(Body::of(&self.page, &list));
                None
            }
            Understood::Sheet { list, fields } => {
                self.answer = format!("This is a sheet of load list {list}.");
                let typed = fields.into_iter().filter(|(_, typed)| !typed.is_empty());
                self.rows = typed
                    .map(|(field, typed)| (field.replace('-', " of line "), typed))
                    .collect();
                Some(list)
            }
            Understood::Answer(answer) => {
                self.answer = format!(
                    "This is the answer to load list {} for {}.",
                    answer.list, answer.trip
                );
                self.reason = "It came as it was sent: its check fits.".to_owned();
                self.rows = of_answer(&self.page, &answer);
                Some(answer.list)
            }
            Understood::Voice { heard, message } => self.voice(&heard, message),
        }
    }

    fn voice(&mut self, heard: &Heard, message: Option<Message>) -> Option<i64> {
        self.wrong = in_words(heard);
        self.reason = match (self.wrong.is_empty(), heard.twice.is_empty()) {
            (true, true) => format!(
                "All {} lines were heard as they were said.",
                heard.lines.len()
            ),
            (true, false) => format!(
                "All lines were heard as they were said; twice: {}.",
                numbers(heard.twice.iter().copied())
            ),
            (false, _) => "Have these read again; what was understood stands below.".to_owned(),
        };
        let Some(message) = message else {
            self.errors.add(
                "text",
                "what this is was not understood: line 1 says it, and is misheard or missing",
            );
            return None;
        };
        match message {
            Message::Request(it) => {
                self.answer = format!("This is load list {} for trip {}.", it.list, it.trip);
                let by = |at| moment_of(&self.page, at);
                let rows = it.lines.iter().map(|(n, line)| {
                    let by = line
                        .needed_by
                        .map_or_else(String::new, |at| format!(", by {}", by(at)));
                    let said = format!(
                        "{} of {}, priority {}{by}",
                        whole(line.units),
                        line.item,
                        line.priority
                    );
                    (format!("Line {n}"), said)
                });
                self.rows = rows.collect();
                None
            }
            Message::Stock(it) => {
                self.answer = format!("This is what was on hand {}.", moment_of(&self.page, it.at));
                self.rows = it.entries.iter().map(on_hand).collect();
                None
            }
            Message::Answer(it) => {
                self.answer = format!(
                    "This is the answer to load list {} for trip {}.",
                    it.list, it.trip
                );
                self.rows = of_answer(&self.page, &it);
                self.wrong.is_empty().then_some(it.list)
            }
        }
    }
}

fn of_answer(page: &Layout, answer: &Answer) -> Vec<(String, String)> {
    let mut rows = Vec::new();
    rows.extend(
        answer
            .arrival
            .map(|at| ("Arrives".to_owned(), moment_of(page, at))),
    );
    rows.extend(answer.lines.iter().map(|it| {
        let said = super::pages::of_answer_line(page, it).join(", ");
        (format!("Line {}", it.line), said)
    }));
    rows
}

/// What and how much.
pub fn on_hand(entry: &OnHand) -> (String, String) {
    match entry {
        OnHand::Lot {
            lot,
            powder,
            grams,
            state,
            use_by,
        } => {
            let by = use_by.map_or_else(String::new, |day| {
                format!(", use by {}", day.format("%-d %b %Y"))
            });
            (
                format!("{powder}, lot {lot}"),
                format!("{} g, {state}{by}", whole(*grams)),
            )
        }
        OnHand::Bank {
            bank,
            bottles,
            mbar,
        } => (
            format!("Bank {bank}"),
            format!("{} bottles at {}", whole(*bottles), bar(*mbar)),
        ),
        OnHand::Fuel { ml } => (
            "Fuel".to_owned(),
            format!("{} l", crate::form::plain_decimal(*ml, 3)),
        ),
        OnHand::Item { item, units } => (item.to_string(), format!("{} counted", whole(*units))),
    }
}
