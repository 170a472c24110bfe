//! Mendpost's web service and command line.

pub mod assets;
pub mod attachment;
pub mod authority;
pub mod background;
pub mod backup;
pub mod blend;
pub mod book;
pub mod build;
pub mod catalogue;
pub mod caution;
pub mod cell;
pub mod certificate;
pub mod change;
pub mod clock;
pub mod clock_check;
pub mod command;
pub mod config;
pub mod contents;
pub mod count;
pub mod db;
pub mod drawing;
pub mod error;
pub mod feeder;
pub mod figures;
pub mod finish;
pub mod form;
pub mod furnace;
pub mod handover;
pub mod health;
pub mod hold;
pub mod interim;
pub mod journal;
pub mod keep_back;
pub mod kit;
pub mod labels;
pub mod lineup;
pub mod metal;
pub mod need;
pub mod now;
pub mod once;
pub mod pace;
pub mod page;
pub mod part_file;
pub mod people;
pub mod powder;
pub mod receive;
pub mod recipe;
pub mod request_id;
pub mod requests;
pub mod resupply;
pub mod routes;
pub mod security;
pub mod seed;
pub mod sent;
pub mod shape;
pub mod sheets;
pub mod signature;
pub mod site;
pub mod situation;
pub mod skin;
pub mod solve;
pub mod tools;
pub mod trace;
pub mod verify;
pub mod version;
pub mod words;

use std::any::Any;
use std::sync::Arc;

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::http::StatusCode;
use axum::middleware::{from_fn, from_fn_with_state};
use axum::response::{IntoResponse, Response};
use tower::ServiceBuilder;
use tower_http::catch_panic::CatchPanicLayer;
use tower_http::csrf::CsrfLayer;
use tower_http::timeout::TimeoutLayer;
use tower_http::trace::TraceLayer;

use attachment::{Intake, Shelf};
use backup::Keeper;
use clock::Clock;
use config::Config;
use db::Db;
use error::AppError;
use health::Health;
use lineup::{Planner, Worths};
use people::{Passphrases, SlowDown};
use resupply::{FirstLoads, Proposals};
use routes::Routes;
use shape::Readings;

/// What every request may use.
#[derive(Debug, Clone)]
pub struct AppState {
    pub db: Db,
    pub clock: Clock,
    pub config: Arc<Config>,
    pub passphrases: Passphrases,
    pub slow_down: SlowDown,
    pub planner: Planner,
    pub worths: Worths,
    pub proposals: Proposals,
    pub first_loads: FirstLoads,
    pub health: Health,
    pub keeper: Keeper,
    pub intake: Intake,
    pub shelf: Shelf,
    pub readings: Readings,
}

impl AppState {
    pub fn new(db: Db, clock: Clock, config: Config) -> Self {
        AppState {
            db,
            clock,
            config: Arc::new(config),
            passphrases: Passphrases::default(),
            slow_down: SlowDown::default(),
            planner: Planner::default(),
            worths: Worths::default(),
            proposals: Proposals::default(),
            first_loads: FirstLoads::default(),
            health: Health::default(),
            keeper: Keeper::default(),
            intake: Intake::default(),
            shelf: Shelf::default(),
            readings: Readings::default(),
        }
    }
}

/// Every page and act of the service.
pub fn routes() -> Routes {
    Routes::default()
        .merge(people::routes())
        .merge(catalogue::routes())
        .merge(cell::routes())
        .merge(recipe::routes())
        .merge(keep_back::routes())
        .merge(kit::routes())
        .merge(tools::routes())
        .merge(furnace::routes())
        .merge(hold::routes())
        .merge(finish::routes())
        .merge(metal::routes())
        .merge(build::routes())
        .merge(count::routes())
        .merge(trace::routes())
        .merge(part_file::routes())
        .merge(feeder::routes())
        .merge(powder::routes())
        .merge(certificate::routes())
        .merge(receive::routes())
        .merge(blend::routes())
        .merge(labels::routes())
        .merge(now::routes())
        .merge(requests::routes())
        .merge(interim::routes())
        .merge(resupply::routes())
        .merge(attachment::routes())
        .merge(shape::routes())
        .merge(sheets::routes())
        .merge(contents::routes())
        .merge(lineup::routes())
        .merge(signature::routes())
        .merge(site::routes())
        .merge(need::routes())
        .merge(authority::routes())
        .merge(handover::routes())
        .merge(journal::routes())
        .merge(backup::routes())
        .merge(clock_check::routes())
        .merge(skin::routes())
}

/// The service: routes, static files, and the layers that every request passes, outermost first.
pub fn app(state: AppState) -> Router {
    with_routes(state, routes())
}

/// The same with other routes, for tests of the layers.
pub fn with_routes(state: AppState, routes: Routes) -> Router {
    let sessions = ServiceBuilder::new()
        .layer(people::session_layer(&state))
        .layer(from_fn_with_state(state.clone(), people::identify))
        .layer(from_fn(people::check_token));
    let layers = ServiceBuilder::new()
        .layer(from_fn(request_id::assign))
        .layer(
            TraceLayer::new_for_http()
                .make_span_with(request_id::span)
                .on_failure(()),
        )
        .layer(from_fn(security::headers))
        .layer(from_fn_with_state(state.clone(), error::render))
        .layer(CatchPanicLayer::custom(panicked))
        .layer(TimeoutLayer::with_status_code(
            StatusCode::SERVICE_UNAVAILABLE,
            state.config.time_limit,
        ))
        .layer(from_fn_with_state(state.clone(), security::check_host))
        .layer(CsrfLayer::new())
        .layer(DefaultBodyLimit::max(BODY_LIMIT));
    routes
        .router
        .fallback(async || StatusCode::NOT_FOUND)
        .layer(sessions)
        .merge(assets::routes())
        .layer(layers)
        .with_state(state)
}

/// The most that a request may send, in bytes.
pub const BODY_LIMIT: usize = 1024 * 1024;

/// The most that a form with files may send: a photo as a telephone takes it, with room to spare.
pub const FILES_LIMIT: usize = 12 * 1024 * 1024;

#[expect(
    clippy::needless_pass_by_value,
    reason = "the shape that the layer asks for"
)]
fn panicked(panic: Box<dyn Any + Send>) -> Response {
    let cause = panic
        .downcast_ref::<String>()
        .map(String::as_str)
        .or_else(|| panic.downcast_ref::<&str>().copied())
        .unwrap_or("no text");
    AppError::internal(format!("panic: {cause}")).into_response()
}
