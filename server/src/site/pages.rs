use askama::Template;
use mendpost_core::people::{Act, Role, may};

use super::Site;
use crate::page::Layout;
use crate::page::filters;
use crate::people::Person;

#[derive(Template)]
#[template(path = "site/show.html")]
pub struct SitePage<'a> {
    pub page: Layout,
    pub site: &'a Site,
    pub people: Vec<Person>,
}

impl SitePage<'_> {
    fn roles(&self) -> [Role; 5] {
        Role::ALL
    }

    fn acts(&self) -> [Act; 8] {
        Act::ALL
    }

    fn may(&self, role: &Role, act: &Act) -> &'static str {
        if may(*role, *act) { "yes" } else { "no" }
    }
}
