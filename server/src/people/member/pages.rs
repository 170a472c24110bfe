use askama::Template;
use mendpost_core::people::Role;

use crate::form::FieldErrors;
use crate::page::Layout;
use crate::people::Person;
use crate::people::account::SessionRow;
use crate::people::codes::StartCode;
use crate::people::form::PersonForm;
use crate::people::roster::OnlyLead;
use crate::signature::{Ask, Secret};
use crate::version::Stale;

#[derive(Template)]
#[template(path = "people/person.html")]
pub struct PersonPage {
    pub page: Layout,
    pub path: String,
    pub person: Person,
    pub form: PersonForm,
    pub errors: FieldErrors,
    pub stale: Option<Stale>,
    pub ask: Ask,
    pub signs_in: SignsIn,
    pub sessions: Vec<SessionRow>,
    /// Why the person cannot leave.
    pub only_lead: Option<OnlyLead>,
}

/// By what a person gets in.
pub struct SignsIn {
    pub demonstration: bool,
    pub has_passphrase: bool,
    /// Until when a start code is open.
    pub start_until: Option<i64>,
    pub codes_left: i64,
}

impl SignsIn {
    /// Whether the person cannot get in at all.
    fn is_shut(&self) -> bool {
        !self.demonstration && !self.has_passphrase && self.start_until.is_none()
    }
}

impl PersonPage {
    fn answer(&self) -> String {
        let name = &self.person.name;
        if self.stale.is_some() {
            "Choose which of the two stands.".to_owned()
        } else if !self.person.active {
            format!("Say when {name} is back.")
        } else if self.signs_in.is_shut() {
            format!("Give {name} a start code.")
        } else {
            "Change what is no longer so.".to_owned()
        }
    }

    fn roles(&self) -> Vec<(&'static str, &'static str)> {
        roles()
    }
}

#[derive(Template)]
#[template(path = "people/new.html")]
pub struct NewPersonPage {
    pub page: Layout,
    pub form: PersonForm,
    pub errors: FieldErrors,
    pub ask: Ask,
    pub demonstration: bool,
}

impl NewPersonPage {
    fn roles(&self) -> Vec<(&'static str, &'static str)> {
        roles()
    }
}

/// The page that is shown once.
#[derive(Template)]
#[template(path = "people/start-code.html")]
pub struct StartCodePage {
    pub page: Layout,
    pub path: String,
    pub name: String,
    pub start: StartCode,
}

fn roles() -> Vec<(&'static str, &'static str)> {
    Role::ALL
        .iter()
        .map(|role| (role.as_str(), role.as_str()))
        .collect()
}
