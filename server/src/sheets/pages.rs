use askama::Template;

use super::Shown;
use super::columns::meaning;
use super::comparison::{Difference, Entry, Fate};
use super::kind::Kind;
use super::reading::Reading;
use super::upload::{Upload, field_name};
use crate::error::AppError;
use crate::form::FieldErrors;
use crate::journal::Told;
use crate::page::{Layout, Screen, whole};
use crate::people::Visit;
use crate::seed::SeedFault;
use crate::seed::records::Separator;

pub fn figure(number: usize) -> String {
    whole(i64::try_from(number).unwrap_or(i64::MAX))
}

fn may_import(visit: &Visit, kind: Kind) -> bool {
    visit.may(kind.act())
}

/// The word with a capital.
fn title(word: &str) -> String {
    let mut letters = word.chars();
    let first = letters.next().map(char::to_uppercase).into_iter().flatten();
    first.chain(letters).collect()
}

#[derive(Template)]
#[template(path = "sheets/list.html")]
pub struct ListPage {
    page: Layout,
    kinds: Vec<KindRow>,
}

struct KindRow {
    title: String,
    path: &'static str,
    count: String,
    files: String,
    rule: &'static str,
    /// 'take out and bring in', or what this person may do of it.
    may: &'static str,
}

impl ListPage {
    pub async fn new(visit: &Visit, counts: [i64; Kind::ALL.len()]) -> Result<ListPage, AppError> {
        let kinds = Kind::ALL.into_iter().zip(counts).map(|(kind, count)| {
            let files: Vec<&str> = kind.sheets().iter().map(|sheet| sheet.file).collect();
            KindRow {
                title: title(kind.word()),
                path: kind.path(),
                count: whole(count),
                files: files.join(", "),
                rule: kind.rule(),
                may: match may_import(visit, kind) {
                    true => "take out, bring in",
                    false => "take out",
                },
            }
        });
        Ok(ListPage {
            kinds: kinds.collect(),
            page: visit.layout(Screen::Site, "Sheets").await?,
        })
    }
}

#[derive(Template)]
#[template(path = "sheets/kind.html")]
pub struct KindPage {
    page: Layout,
    kind: Kind,
    may_import: bool,
    sheets: Vec<SheetView>,
    imports: Vec<ImportRow>,
    pub errors: FieldErrors,
}

struct SheetView {
    file: &'static str,
    field: &'static str,
    columns: Vec<ColumnView>,
}

struct ColumnView {
    name: &'static str,
    is_optional: bool,
    meaning: &'static str,
}

struct ImportRow {
    sequence: i64,
    time: i64,
    by: String,
    did: String,
    /// File and address of each text that was imported.
    texts: Vec<(String, String)>,
}

impl KindPage {
    pub async fn new(
        kind: Kind,
        visit: &Visit,
        imports: Vec<Told>,
        errors: FieldErrors,
    ) -> Result<KindPage, AppError> {
        let sheets = kind.sheets().iter().map(|sheet| SheetView {
            file: sheet.file,
            field: field_name(sheet.file),
            columns: sheet
                .all_columns()
                .map(|name| ColumnView {
                    name,
                    is_optional: sheet.optional.contains(&name),
                    meaning: meaning(sheet.file, name),
                })
                .collect(),
        });
        Ok(KindPage {
            page: visit
                .layout(Screen::Site, &format!("Sheet of {}", kind.word()))
                .await?,
            kind,
            may_import: may_import(visit, kind),
            sheets: sheets.collect(),
            imports: imports.into_iter().map(|i| import_row(kind, i)).collect(),
            errors,
        })
    }

    fn answer(&self) -> String {
        match self.may_import {
            true => format!("Take the {} out, or bring some in.", self.kind.word()),
            false => format!("Take the {} out.", self.kind.word()),
        }
    }

    fn several(&self) -> bool {
        self.sheets.len() > 1
    }
}

fn import_row(kind: Kind, import: Told) -> ImportRow {
    let content = &import.content;
    let count = |key: &str| content[key].as_array().map_or(0, Vec::len);
    let texts = content["sheets"].as_object().into_iter().flatten();
    ImportRow {
        did: format!(
            "{} new, {} changed, {} as it was",
            figure(count("new")),
            figure(count("changed")),
            whole(content["same"].as_i64().unwrap_or_default())
        ),
        texts: texts
            .filter_map(|(file, hash)| {
                let address = format!("{}/imported/{}", kind.path(), hash.as_str()?);
                Some((file.clone(), address))
            })
            .collect(),
        sequence: import.sequence,
        time: import.time,
        by: import.by,
    }
}

/// How the file was taken, as a sentence.
fn assumed(separator: Separator) -> String {
    let decimals = match separator.decimal_mark() {
        ',' => "a comma",
        _ => "a point",
    };
    format!(
        "Read as parted by {}s, decimals with {decimals}.",
        separator.word()
    )
}

#[derive(Template)]
#[template(path = "sheets/preview.html")]
pub struct PreviewPage {
    page: Layout,
    kind: Kind,
    warning: &'static str,
    errors: FieldErrors,
    answer: String,
    assumed: String,
    new: Vec<Entry>,
    new_left_out: usize,
    changed: Vec<ChangedRow>,
    changed_left_out: usize,
    counts: String,
    changes_nothing: bool,
    /// The reason as typed, where one is taken.
    reason: Option<String>,
    texts: Vec<(&'static str, String)>,
    digest: String,
    detail: String,
}

struct ChangedRow {
    line: u64,
    code: String,
    name: String,
    caution: String,
    differences: Vec<Difference>,
}

/// Rows of each sort that a preview lists; more would be read by nobody.
const NEW_SHOWN: usize = 200;
const CHANGED_SHOWN: usize = 1000;

impl PreviewPage {
    pub async fn new(
        kind: Kind,
        visit: &Visit,
        upload: &Upload,
        read: &Reading,
        shown: Shown,
    ) -> Result<PreviewPage, AppError> {
        let changed = read.changed();
        let (new, same) = (read.added().count(), read.same());
        let rows = changed.iter().take(CHANGED_SHOWN).map(|e| changed_row(e));
        let cautions = changed.iter().filter(|e| !e.caution.is_empty()).count();
        let changes_nothing = read.changes_nothing();
        Ok(PreviewPage {
            page: visit
                .layout(Screen::Site, &format!("Sheet of {}", kind.word()))
                .await?,
            kind,
            warning: shown.warning,
            errors: shown.errors,
            answer: match (changes_nothing, cautions) {
                (true, _) => "Change nothing: all of it stands already.".to_owned(),
                (false, 0) => "Look it through, then import it.".to_owned(),
                (false, 1) => {
                    "Look at the row that may ask for less, say why, then import it.".to_owned()
                }
                (false, many) => format!(
                    "Look at the {} rows that may ask for less, say why, then import it.",
                    figure(many)
                ),
            },
            assumed: assumed(read.separator),
            counts: format!(
                "{} new, {} changed, {} as it stands.",
                figure(new),
                figure(changed.len()),
                figure(same)
            ),
            new: read.added().take(NEW_SHOWN).cloned().collect(),
            new_left_out: new.saturating_sub(NEW_SHOWN),
            changed: rows.collect(),
            changed_left_out: changed.len().saturating_sub(CHANGED_SHOWN),
            changes_nothing,
            reason: read.takes_a_reason().then(|| upload.reason.clone()),
            texts: upload.texts(),
            digest: read.digest(upload),
            detail: format!("{} new, {} changed", figure(new), figure(changed.len())),
        })
    }
}

fn changed_row(entry: &Entry) -> ChangedRow {
    let differences = match &entry.fate {
        Fate::Changed(differences) => differences.clone(),
        Fate::New | Fate::Same => Vec::new(),
    };
    ChangedRow {
        line: entry.line,
        code: entry.code.clone(),
        name: entry.name.clone(),
        caution: entry.caution.clone(),
        differences,
    }
}

/// 'nothing' where a cell is empty.
fn or_nothing(text: &str) -> &str {
    match text {
        "" => "nothing",
        text => text,
    }
}

#[derive(Template)]
#[template(path = "sheets/faults.html")]
pub struct FaultsPage {
    page: Layout,
    kind: Kind,
    answer: String,
    several: bool,
    faults: Vec<SeedFault>,
    left_out: usize,
}

const FAULTS_SHOWN: usize = 500;

impl FaultsPage {
    pub async fn new(
        kind: Kind,
        visit: &Visit,
        mut faults: Vec<SeedFault>,
    ) -> Result<FaultsPage, AppError> {
        let count = faults.len();
        faults.truncate(FAULTS_SHOWN);
        Ok(FaultsPage {
            page: visit
                .layout(Screen::Site, &format!("Sheet of {}", kind.word()))
                .await?,
            kind,
            answer: match count {
                1 => "Put one fault right, and send the sheet again.".to_owned(),
                many => format!(
                    "Put {} faults right, and send the sheet again.",
                    figure(many)
                ),
            },
            several: kind.sheets().len() > 1,
            left_out: count.saturating_sub(FAULTS_SHOWN),
            faults,
        })
    }
}
