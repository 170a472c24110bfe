//! The route table: a route cannot be made without saying who may use it.

use axum::Router;
use axum::extract::{DefaultBodyLimit, Request, State};
use axum::handler::Handler;
use axum::http::Method;
use axum::middleware::{Next, from_fn_with_state};
use axum::response::Response;
use axum::routing::{MethodRouter, get, post};
use mendpost_core::people::{Act, Role, may};

use crate::figures::of_site::{self, OfSite};
use crate::people::{Visit, sign_in_first};
use crate::{AppState, FILES_LIMIT};

/// Who may use a route.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Access {
    /// Anybody, signed in or not.
    Open,
    /// Those whose role may do this act.
    Needs(Act),
}

impl Access {
    /// Whether a person of this role, or nobody, may use the route.
    pub fn allows(self, role: Option<Role>) -> bool {
        match self {
            Access::Open => true,
            Access::Needs(act) => role.is_some_and(|role| may(role, act)),
        }
    }
}

impl From<Act> for Access {
    fn from(act: Act) -> Self {
        Access::Needs(act)
    }
}

/// One line of the route table.
#[derive(Debug, Clone)]
pub struct Route {
    pub method: Method,
    pub path: &'static str,
    pub access: Access,
}

/// The routes of one feature, or of all.
#[derive(Default)]
pub struct Routes {
    pub(crate) router: Router<AppState>,
    /// What was declared, for the test that tries every route with every role.
    pub table: Vec<Route>,
}

impl Routes {
    /// A page: reads, never changes anything.
    pub fn get<H, T>(self, path: &'static str, access: impl Into<Access>, handler: H) -> Self
    where
        H: Handler<T, AppState>,
        T: 'static,
    {
        self.add(Method::GET, path, access.into(), get(handler))
    }

    /// An act: what it changes it journals.
    pub fn post<H, T>(self, path: &'static str, access: impl Into<Access>, handler: H) -> Self
    where
        H: Handler<T, AppState>,
        T: 'static,
    {
        self.add(Method::POST, path, access.into(), post(handler))
    }

    /// An act whose form carries files: takes more than others.
    pub fn post_files<H, T>(self, path: &'static str, access: impl Into<Access>, handler: H) -> Self
    where
        H: Handler<T, AppState>,
        T: 'static,
    {
        let handler = post(handler).layer(DefaultBodyLimit::max(FILES_LIMIT));
        self.add(Method::POST, path, access.into(), handler)
    }

    /// Figures of the site: looked at by anybody, changed at the second address by who sets up the site.
    pub fn of_site<T: OfSite<N>, const N: usize>(self, change: &'static str) -> Self {
        self.get(T::PATH, Act::Look, of_site::look::<T, N>)
            .get(change, Act::SetUpSite, of_site::open::<T, N>)
            .post(change, Act::SetUpSite, of_site::save::<T, N>)
    }

    /// Both tables as one.
    pub fn merge(mut self, other: Routes) -> Self {
        self.table.extend(other.table);
        Routes {
            router: self.router.merge(other.router),
            table: self.table,
        }
    }

    fn add(
        mut self,
        method: Method,
        path: &'static str,
        access: Access,
        handler: MethodRouter<AppState>,
    ) -> Self {
        self.table.push(Route {
            method,
            path,
            access,
        });
        let guarded = handler.route_layer(from_fn_with_state(access, guard));
        Routes {
            router: self.router.route(path, guarded),
            table: self.table,
        }
    }
}

async fn guard(
    State(access): State<Access>,
    visit: Visit,
    request: Request,
    next: Next,
) -> Response {
    let Access::Needs(act) = access else {
        return next.run(request).await;
    };
    match &visit.who {
        None => sign_in_first(&request),
        Some(who) => match who.may(act) {
            Ok(()) => next.run(request).await,
            Err(error) => axum::response::IntoResponse::into_response(error),
        },
    }
}
