//! Photos and papers as pages show them: tiles, the section of another page, a page of their own.

use askama::Template;

use super::HOLDER_MAX;
use super::check::FILE_LIMIT;
use super::form::{AddForm, FILES_MAX, TakeOffForm};
use super::holder::Holder;
use super::queries::{self, Attached};
use crate::AppState;
use crate::FILES_LIMIT;
use crate::error::AppError;
use crate::form::FieldErrors;
use crate::page::{Layout, age, whole};
use crate::people::{Visit, Who};
use mendpost_core::people::{Act, Role, may};

/// The section 'Photos and papers' of the page of a request, a lot, a part or a build, whose template shows it as
/// `{{ photos|safe }}`.
#[derive(Template)]
#[template(path = "attachment/section.html")]
pub struct Photos {
    /// Where all of them are, and where more are added.
    path: String,
    title: String,
    wanted: &'static str,
    tiles: Vec<Tile>,
    count: usize,
    may_add: bool,
}

impl Photos {
    pub fn is_empty(&self) -> bool {
        self.tiles.is_empty()
    }

    /// What hangs on a holder, for another page than its own: it says of what, and nothing is added there.
    pub async fn of(state: &AppState, visit: &Visit, holder: &Holder) -> Result<Photos, AppError> {
        let photos = Photos::load(state, visit, holder).await?;
        Ok(Photos {
            title: format!("Photos of {}", holder.code()),
            may_add: false,
            ..photos
        })
    }

    /// What hangs on a holder, for its own page.
    pub async fn load(
        state: &AppState,
        visit: &Visit,
        holder: &Holder,
    ) -> Result<Photos, AppError> {
        let attached = queries::of(&state.db.read, holder).await?;
        let mut tiles = tiles(&attached, visit);
        let count = tiles.len();
        tiles.truncate(SHOWN);
        // What is taken off is taken off where all of it is in view.
        tiles.iter_mut().for_each(|tile| tile.take_off = None);
        Ok(Photos {
            path: holder.photos_path(),
            title: "Photos and papers".to_owned(),
            wanted: holder.wanted(),
            tiles,
            count,
            may_add: may_add(visit),
        })
    }
}

/// Tiles on the page of a request or a lot; the rest is one tap away.
const SHOWN: usize = 6;

/// One photo or paper.
#[derive(Debug)]
struct Tile {
    path: String,
    /// None for a paper, which is drawn as one.
    thumbnail: Option<String>,
    pages: String,
    /// What a picture says to those who do not see it.
    alt: String,
    caption: String,
    told: String,
    file: String,
    take_off: Option<String>,
}

fn tiles(attached: &[Attached], visit: &Visit) -> Vec<Tile> {
    let shown = attached.iter().filter(|attached| attached.off.is_none());
    shown.map(|attached| tile(attached, visit)).collect()
}

fn tile(attached: &Attached, visit: &Visit) -> Tile {
    let path = format!("/attachments/{}", attached.hash);
    let is_picture = attached.pixels.is_some();
    let what = if is_picture { "photo" } else { "paper" };
    let by = &attached.added_by;
    Tile {
        thumbnail: is_picture.then(|| format!("{path}/thumbnail")),
        path,
        pages: pages(attached.pages),
        alt: match attached.caption.as_str() {
            "" => format!("{what} “{}”, without a caption", attached.file_name),
            caption => format!("{what}: {caption}"),
        },
        caption: attached.caption.clone(),
        told: format!("{by}, {}", age(attached.added_ms, visit.now)),
        file: file(attached),
        take_off: visit
            .who
            .as_ref()
            .filter(|who| may_take_off(who, attached))
            .map(|_| take_off_path(attached)),
    }
}

/// 'pump.jpg, 2560 × 1920, 840 KiB'.
fn file(attached: &Attached) -> String {
    let kib = whole((attached.size + 1023) / 1024);
    let name = &attached.file_name;
    match attached.pixels {
        Some((width, height)) => {
            format!("{name}, {width}\u{a0}×\u{a0}{height}, {kib}\u{a0}KiB")
        }
        None => format!("{name}, {}, {kib}\u{a0}KiB", pages(attached.pages)),
    }
}

fn pages(count: i64) -> String {
    match count {
        1 => "1\u{a0}page".to_owned(),
        count => format!("{count}\u{a0}pages"),
    }
}

fn take_off_path(attached: &Attached) -> String {
    format!("/attached/{}/take-off", attached.id)
}

/// Whoever added it may have added the wrong one; the lead answers for the rest.
pub fn may_take_off(who: &Who, attached: &Attached) -> bool {
    may(who.role, Act::Attach) && (who.id == attached.person || who.role == Role::Lead)
}

fn may_add(visit: &Visit) -> bool {
    visit.may(Act::Attach)
}

/// All photos and papers of a request or a lot, with the form to add more.
#[derive(Template)]
#[template(path = "attachment/show.html")]
pub struct PhotosPage {
    page: Layout,
    answer: String,
    holder: Holder,
    tiles: Vec<Tile>,
    taken_off: Vec<TakenOffRow>,
    may_add: bool,
    form: AddForm,
    errors: FieldErrors,
}

struct TakenOffRow {
    path: String,
    name: String,
    added: String,
    off: String,
    reason: String,
}

impl PhotosPage {
    pub fn new(
        page: Layout,
        visit: &Visit,
        holder: Holder,
        attached: &[Attached],
        form: AddForm,
        errors: FieldErrors,
    ) -> Self {
        let tiles = tiles(attached, visit);
        PhotosPage {
            answer: answer(&holder, tiles.len()),
            taken_off: taken_off(&page, attached),
            may_add: may_add(visit),
            tiles,
            page,
            holder,
            form,
            errors,
        }
    }

    fn files_hint(&self) -> String {
        format!(
            "JPEG, PNG or WebP pictures and PDF papers; up to {FILES_MAX} at once, each up to {} MiB, \
             together up to {} MiB; {HOLDER_MAX} in all",
            FILE_LIMIT / MIB,
            FILES_LIMIT / MIB
        )
    }
}

const MIB: usize = 1024 * 1024;

fn answer(holder: &Holder, count: usize) -> String {
    let (code, name) = (holder.code(), &holder.name);
    match count {
        0 => format!("Add the first photo of {code}, {name}."),
        1 => format!("Look at the photo or paper of {code}, {name}."),
        count => format!("Look at {count} photos and papers of {code}, {name}."),
    }
}

fn taken_off(page: &Layout, attached: &[Attached]) -> Vec<TakenOffRow> {
    let mut rows = Vec::new();
    for attached in attached {
        let Some(off) = &attached.off else { continue };
        rows.push(TakenOffRow {
            path: format!("/attachments/{}", attached.hash),
            name: match attached.caption.as_str() {
                "" => attached.file_name.clone(),
                caption => caption.to_owned(),
            },
            added: format!("{}, {}", attached.added_by, page.moment(&attached.added_ms)),
            off: format!("{}, {}", off.by, page.moment(&off.at_ms)),
            reason: off.reason.clone(),
        });
    }
    rows
}

/// Asks why one is taken off.
#[derive(Template)]
#[template(path = "attachment/take-off.html")]
pub struct TakeOffPage {
    page: Layout,
    holder: Holder,
    path: String,
    tiles: Vec<Tile>,
    form: TakeOffForm,
    errors: FieldErrors,
}

impl TakeOffPage {
    pub fn new(
        page: Layout,
        visit: &Visit,
        holder: Holder,
        attached: &Attached,
        form: TakeOffForm,
        errors: FieldErrors,
    ) -> Self {
        let mut tile = tile(attached, visit);
        tile.take_off = None;
        TakeOffPage {
            path: take_off_path(attached),
            tiles: vec![tile],
            page,
            holder,
            form,
            errors,
        }
    }
}
