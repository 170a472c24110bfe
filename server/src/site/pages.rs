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
    /// The numbers of those who have no way in yet: nobody's in the demonstration.
    pub shut_out: Vec<i64>,
}

impl SitePage<'_> {
    fn answer(&self) -> String {
        if self.is_lead {
            return match self.shut_out.as_slice() {
                [] => "Change what is no longer so.".to_owned(),
                [one] => format!("Give {} a start code.", self.name_of(*one)),
                many => format!("Give {} people a start code.", many.len()),
            };
        }
        let leads: Vec<&str> = self
            .active()
            .filter(|person| may(person.role, Act::SetUpSite))
            .map(|person| person.name.as_str())
            .collect();
        format!("Ask {} for a change here.", leads.join(" or "))
    }

    fn name_of(&self, number: i64) -> &str {
        let person = self.people.iter().find(|person| person.number == number);
        person.map_or("somebody", |person| &person.name)
    }

    fn state(&self, person: &Person) -> &'static str {
        if self.shut_out.contains(&person.number) {
            "needs a start code"
        } else {
            person.state()
        }
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
        Act::ALL
    }

    fn may(&self, role: &Role, act: &Act) -> &'static str {
        if may(*role, *act) { "yes" } else { "no" }
    }
}
