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
    /// Whether whoever looks may change what stands here.
    pub is_lead: bool,
    pub people: Vec<Person>,
}

impl SitePage<'_> {
    fn answer(&self) -> String {
        if self.is_lead {
            return "Change what is no longer so.".to_owned();
        }
        let leads: Vec<&str> = self
            .active()
            .filter(|person| may(person.role, Act::SetUpSite))
            .map(|person| person.name.as_str())
            .collect();
        format!("Ask {} for a change here.", leads.join(" or "))
    }

    fn count(&self) -> String {
        match self.active().count() {
            1 => format!("One person works at {}.", self.site.name),
            many => format!("{many} people work at {}.", self.site.name),
        }
    }

    fn active(&self) -> impl Iterator<Item = &Person> {
        self.people.iter().filter(|person| person.active)
    }

    fn roles(&self) -> &'static [Role] {
        &Role::ALL
    }

    fn acts(&self) -> &'static [Act] {
        &Act::ALL
    }

    fn may(&self, role: &Role, act: &Act) -> &'static str {
        if may(*role, *act) { "yes" } else { "no" }
    }
}
