//! Figures of which the site has one row: looked at, typed anew, and kept, all in the same way.

use std::future::Future;

use axum::extract::State;
use axum::response::Response;
use mendpost_core::journal::Subject;
use mendpost_core::people::Act;
use serde_json::json;
use sqlx::SqliteConnection;

use super::{About, Figure, FiguresForm, Values, both, change, kept, show};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted};
use crate::page::{Layout, Notice, Screen};
use crate::people::{Visit, Who};
use crate::version::{Stale, is_current};

/// `N` figures of the site, as they are told, kept and said.
pub trait OfSite<const N: usize>: 'static {
    /// In the order in which they are typed and kept.
    const FIGURES: &'static [Figure; N];
    /// Where they are shown; the form stands at this with '/change'.
    const PATH: &'static str;
    const TITLE: &'static str;
    /// What the journal calls them: its subject, and with '.changed' the kind of an entry.
    const SUBJECT: &'static str;
    /// What stands above the form.
    const REASON: &'static str;

    /// Answer and reason above the figures, at this version of them.
    fn said(values: &Values<N>, version: i64) -> (String, String);

    /// What there is to say once they are kept by a journal entry.
    fn told(journal: i64) -> String;

    /// Figures that contradict each other: name of the one to mend, and what is wrong with it.
    fn contradictions(_: &Values<N>) -> Vec<(&'static str, &'static str)> {
        Vec::new()
    }

    /// The figures, and the version that a form of them carries.
    fn load(
        connection: &mut SqliteConnection,
    ) -> impl Future<Output = Result<(Values<N>, i64), sqlx::Error>> + Send;

    /// Keeps them as another version.
    fn update(
        connection: &mut SqliteConnection,
        values: &Values<N>,
    ) -> impl Future<Output = Result<(), sqlx::Error>> + Send;
}

pub async fn look<T: OfSite<N>, const N: usize>(
    State(state): State<AppState>,
    visit: Visit,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.acquire().await?;
    let (values, version) = T::load(&mut reading).await?;
    drop(reading);
    show(
        layout::<T, N>(&visit).await?,
        T::said(&values, version),
        about::<T, N>(),
        (T::FIGURES, &values),
        visit.may(Act::SetUpSite),
        None,
    )
}

pub async fn open<T: OfSite<N>, const N: usize>(
    State(state): State<AppState>,
    visit: Visit,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.acquire().await?;
    let (values, version) = T::load(&mut reading).await?;
    drop(reading);
    let form = FiguresForm::of(T::FIGURES, &values, version);
    form_page::<T, N>(&visit, form, FieldErrors::default(), None).await
}

pub async fn save<T: OfSite<N>, const N: usize>(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(form): Posted<FiguresForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let after = form.parse(T::FIGURES, &mut errors);
    for (name, fault) in T::contradictions(&after) {
        errors.add(name, fault);
    }
    if !errors.is_empty() {
        return form_page::<T, N>(&visit, form, errors, None).await;
    }
    let subject = Subject::new(T::SUBJECT, 1);
    let mut change = Change::begin(&state, &who).await?;
    let (before, version) = T::load(change.connection()).await?;
    if !is_current(&form.version, version) {
        drop(change);
        let fields = both(T::FIGURES, &before, &after);
        let stale = Stale::of(&state.db.read, &subject, version, fields).await?;
        return form_page::<T, N>(&visit, form, errors, Some(stale)).await;
    }
    T::update(change.connection(), &after).await?;
    // What is told is what is kept: an empty heel is one of nothing.
    let (after, version) = T::load(change.connection()).await?;
    let content = json!({
        "version": version,
        "before": kept(T::FIGURES, &before),
        "after": kept(T::FIGURES, &after),
    });
    let kind = format!("{}.changed", T::SUBJECT);
    let journal = change.journal(&kind, subject, content).await?;
    let notice = Notice::done("SAVED", T::told(journal));
    change.finish(&who, T::PATH, notice).await
}

async fn layout<T: OfSite<N>, const N: usize>(visit: &Visit) -> Result<Layout, AppError> {
    visit.layout(Screen::Site, T::TITLE).await
}

fn about<T: OfSite<N>, const N: usize>() -> About {
    About {
        title: T::TITLE.to_owned(),
        path: T::PATH.to_owned(),
        back: ("Site", Screen::Site.path().to_owned()),
    }
}

async fn form_page<T: OfSite<N>, const N: usize>(
    visit: &Visit,
    form: FiguresForm,
    errors: FieldErrors,
    stale: Option<Stale>,
) -> Result<Response, AppError> {
    change(
        layout::<T, N>(visit).await?,
        (about::<T, N>(), T::REASON),
        T::FIGURES,
        form,
        errors,
        stale,
    )
}
