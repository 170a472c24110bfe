use askama::Template;
use chrono::{DateTime, Utc};
use mendpost_core::interim::Standing;

use super::queries::Interim;
use super::telling::{left_words, mark, take_off};
use crate::page::Layout;
use crate::words::work::sentence;

/// Which interim parts are fitted, and when they must come off.
#[derive(Template)]
#[template(path = "interim/list.html")]
pub struct ListPage {
    page: Layout,
    answer: String,
    reason: String,
    out: Vec<OutRow>,
    off: Vec<OffRow>,
    may_watch: bool,
}

/// One that is out there.
struct OutRow {
    path: String,
    code: String,
    asset: String,
    part: String,
    place: String,
    since: String,
    age: String,
    mark: &'static str,
    word: &'static str,
    left: String,
    off_by: String,
    owner: String,
    plan: String,
    successor: (String, String),
}

/// One that came off.
struct OffRow {
    path: String,
    name: String,
    when: String,
    age: String,
    by: String,
    fate: String,
    /// It has not come back yet.
    missing: bool,
}

impl ListPage {
    pub fn new(page: Layout, now: DateTime<Utc>, all: Vec<Interim>, may_watch: bool) -> Self {
        let (mut out, mut off): (Vec<Interim>, Vec<Interim>) =
            all.into_iter().partition(|interim| interim.off.is_none());
        out.sort_by_key(|interim| (interim.left(now).off_by, interim.number));
        off.sort_by_key(|interim| (interim.returned.is_some(), -interim.number));
        let (answer, reason) = answer(&page, &out, now);
        ListPage {
            answer,
            reason,
            out: out.iter().map(|one| out_row(&page, one, now)).collect(),
            off: off.iter().filter_map(|one| off_row(&page, one)).collect(),
            may_watch,
            page,
        }
    }
}

fn answer(page: &Layout, out: &[Interim], now: DateTime<Utc>) -> (String, String) {
    let Some(first) = out.first() else {
        return (
            "Nothing must come off: no interim part is out there.".to_owned(),
            String::new(),
        );
    };
    let left = first.left(now);
    let at = page.clock(&left.off_by.timestamp_millis());
    let answer = match left.standing {
        Standing::Overdue => format!("Take off {}, {}, now.", first.code(), first.name()),
        Standing::DueSoon => format!("Take off {}, {}, by {at}.", first.code(), first.name()),
        Standing::Fine => format!(
            "Leave all in place: the first to come off is {}, {}, {at}.",
            first.code(),
            first.name()
        ),
    };
    let due = |standing| {
        let all = out.iter().map(|one| one.left(now).standing);
        all.filter(|one| *one == standing).count()
    };
    let reason = format!(
        "{} out there, {} due soon, {} overdue.",
        out.len(),
        due(Standing::DueSoon),
        due(Standing::Overdue)
    );
    (answer, reason)
}

fn out_row(page: &Layout, interim: &Interim, now: DateTime<Utc>) -> OutRow {
    let left = interim.left(now);
    let since = interim.since.timestamp_millis();
    let successor = interim.follow_on;
    OutRow {
        path: interim.path(),
        code: interim.code(),
        asset: sentence(&interim.asset),
        part: interim.part_name.clone(),
        place: interim.place.clone(),
        since: page.day(&since),
        age: page.age(&since),
        mark: mark(left.standing),
        word: left.standing.as_str(),
        left: left_words(&left, now),
        off_by: take_off(interim, now, page.zone()),
        owner: interim.owner.clone(),
        plan: interim.removal_plan.clone(),
        successor: (format!("R{successor}"), format!("/requests/{successor}")),
    }
}

fn off_row(page: &Layout, interim: &Interim) -> Option<OffRow> {
    let off = interim.off.as_ref()?;
    let at = off.at.timestamp_millis();
    Some(OffRow {
        path: interim.path(),
        name: format!("{} {}", interim.code(), interim.name()),
        when: page.moment(&at),
        age: page.age(&at),
        by: off.by.clone(),
        fate: interim.returned.as_ref().map_or_else(
            || "not back yet".to_owned(),
            |returned| format!("{}: {}", returned.fate, returned.wear),
        ),
        missing: interim.returned.is_none(),
    })
}
