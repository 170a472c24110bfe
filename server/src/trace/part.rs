//! What is in a part: powder by lot and container, builds, furnace loads, what measured it, and who did what.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Response;

use super::queries::{self, InLoad, MeasuredWith, PowderIn};
use crate::AppState;
use crate::attachment::{Holder, Photos};
use crate::build::{
    self,
    queries::{Build, of_request},
};
use crate::error::AppError;
use crate::finish::{Tested, tested};
use crate::page::{Layout, Screen, grams_exact, page};
use crate::people::Visit;
use crate::powder::lot_path;
use crate::requests::decision::named;
use crate::{furnace, tools};

#[derive(Template)]
#[template(path = "trace/part.html")]
struct PartPage {
    page: Layout,
    number: i64,
    answer: String,
    reason: String,
    powder: Vec<PowderRow>,
    builds: Vec<BuildRow>,
    loads: Vec<LoadRow>,
    tools: Vec<ToolRow>,
    done: Vec<DoneRow>,
    coupons: Vec<Tested>,
    /// Of its builds, those that have any.
    photos: Vec<Photos>,
}

struct PowderRow {
    path: String,
    lot: String,
    powder: String,
    maker_lot: String,
    containers: String,
    build: i64,
    grams: String,
}

struct BuildRow {
    path: String,
    number: i64,
    what: String,
    recipe: String,
    nozzle: String,
    state: String,
}

struct LoadRow {
    path: String,
    code: String,
    /// Furnace and cycle.
    what: String,
    soak: String,
    /// Code and address of each part that shared it.
    others: Vec<(String, String)>,
    opened: String,
}

struct ToolRow {
    path: String,
    code: String,
    name: String,
    what: String,
    last: String,
}

struct DoneRow {
    name: String,
    recipe: String,
    when: String,
    by: String,
    sequence: i64,
}

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.acquire().await?;
    let request = named(&mut reading, &number).await?;
    let number = request.number;
    let powder = queries::powder_of(&mut *reading, number).await?;
    let builds = of_request(&mut *reading, number).await?;
    let loads = queries::loads_of(&mut *reading, number).await?;
    let tools = queries::tools_of(&mut *reading, number).await?;
    let done = queries::work_of(&mut *reading, number).await?;
    let coupons = tested(&mut reading, request.id, None).await?;
    drop(reading);
    let photos = photos(&state, &visit, &builds).await?;
    let layout = visit
        .layout(Screen::Requests, &format!("Trace of R{number}"))
        .await?;
    let what = format!("{} {}", request.asset, request.part_name);
    let open = builds.iter().find(|it| it.ended_ms.is_none());
    let (answer, reason) = answer(number, &what, &powder, open.map(|it| it.number));
    page(&PartPage {
        number,
        answer,
        reason,
        powder: powder.iter().map(powder_row).collect(),
        builds: builds
            .iter()
            .map(|it| BuildRow {
                path: build::path(it.number),
                number: it.number,
                what: it.operation.clone(),
                recipe: format!("{} rev {}", it.recipe, it.revision),
                nozzle: it.nozzle.clone().unwrap_or_else(|| "not told".to_owned()),
                state: match (&it.ended_ms, it.outcome.as_deref()) {
                    (None, _) => "under way".to_owned(),
                    (Some(at), Some("scrapped")) => format!("scrapped {}", layout.moment(at)),
                    (Some(at), _) => format!("ended {}", layout.moment(at)),
                },
            })
            .collect(),
        loads: loads.iter().map(|it| load_row(&layout, it)).collect(),
        tools: tools.iter().map(|it| tool_row(&layout, it)).collect(),
        done: done
            .iter()
            .map(|it| DoneRow {
                name: it.name.clone(),
                recipe: format!("{} rev {}", it.recipe, it.revision),
                when: layout.moment(&it.ended_ms),
                by: it.by.clone(),
                sequence: it.sequence,
            })
            .collect(),
        coupons,
        photos,
        page: layout,
    })
}

async fn photos(
    state: &AppState,
    visit: &Visit,
    builds: &[Build],
) -> Result<Vec<Photos>, AppError> {
    let mut all = Vec::new();
    for build in builds {
        if let Some(holder) = Holder::build(&state.db.read, build.number).await? {
            all.push(Photos::of(state, visit, &holder).await?);
        }
    }
    all.retain(|photos| !photos.is_empty());
    Ok(all)
}

const NO_BUILD: &str = "What was entered as done without a build is traced by its journal only.";

fn answer(
    number: i64,
    what: &str,
    powder: &[PowderIn],
    under_way: Option<i64>,
) -> (String, String) {
    let mut lots: Vec<&str> = powder.iter().map(|it| it.lot.as_str()).collect();
    lots.dedup();
    match lots.as_slice() {
        [] => (
            format!("No powder is on record for R{number}, {what}."),
            under_way.map_or_else(
                || NO_BUILD.to_owned(),
                |build| format!("Build {build} is under way: what it takes is told when it ends."),
            ),
        ),
        [lot] => (
            format!("R{number}, {what}, is of lot {lot}."),
            String::new(),
        ),
        lots => (
            format!("R{number}, {what}, is of lots {}.", lots.join(" and ")),
            "Where lots were mixed in the feeder, each is in it by its share there.".to_owned(),
        ),
    }
}

fn load_row(page: &Layout, it: &InLoad) -> LoadRow {
    LoadRow {
        path: furnace::path(it.number),
        code: format!("F{}", it.number),
        what: format!("{}, {}", it.station, it.cycle),
        soak: match (it.actual_c, it.closed) {
            (Some(found), _) => {
                format!("{} °C set, {found} °C found, chart {}", it.set_c, it.chart)
            }
            (None, true) => "given up, not treated".to_owned(),
            (None, false) => format!("{} °C set, in the furnace", it.set_c),
        },
        others: it
            .others
            .split_whitespace()
            .map(|number| (format!("R{number}"), format!("/requests/{number}/trace")))
            .collect(),
        opened: page.moment(&it.opened_ms),
    }
}

fn tool_row(page: &Layout, it: &MeasuredWith) -> ToolRow {
    ToolRow {
        path: tools::path(&it.code),
        code: it.code.clone(),
        name: it.name.clone(),
        what: it.what.replace(',', ", ").replace(",  ", ", "),
        last: page.moment(&it.at_ms),
    }
}

fn powder_row(it: &PowderIn) -> PowderRow {
    PowderRow {
        path: lot_path(&it.lot),
        lot: it.lot.clone(),
        powder: it.powder.clone(),
        maker_lot: match it.maker_lot.as_str() {
            "" => "not on record".to_owned(),
            maker => maker.to_owned(),
        },
        containers: it.containers.replace(' ', ", "),
        build: it.build,
        grams: grams_exact(it.milligrams),
    }
}
