use std::collections::BTreeMap;

use askama::Template;
use mendpost_core::code::AssetCode;
use mendpost_core::lineup::stops_now;
use mendpost_core::situation::{Request, Situation};

use super::path;
use super::standing::{Orders, Standing, Told};
use crate::page::{Layout, whole};
use crate::shape::Small;
use crate::words::Words;
use crate::words::work::matter;

/// All open requests, the dearest first.
#[derive(Template)]
#[template(path = "requests/list.html")]
pub struct ListPage {
    page: Layout,
    answer: String,
    reason: String,
    unit: String,
    /// Which order the states are by.
    order: String,
    may_file: bool,
    rows: Vec<Row>,
}

struct Row {
    code: String,
    picture: Option<Small>,
    path: String,
    age: String,
    asset: String,
    part: String,
    matter: String,
    danger: bool,
    told: Told,
    back: String,
    needed: String,
    late: bool,
    stops: String,
}

impl ListPage {
    pub fn new(
        page: Layout,
        situation: &Situation,
        orders: &Orders,
        mut pictures: BTreeMap<String, Small>,
        may_file: bool,
    ) -> Self {
        let words = Words::new(situation);
        let mut requests: Vec<(i64, &Request)> = situation
            .requests
            .iter()
            .map(|request| (stops(situation, orders, request), request))
            .collect();
        requests.sort_by_key(|(stops, request)| (-stops, request.reported_at));
        ListPage {
            answer: answer(situation, orders),
            reason: reason(&page, situation),
            unit: situation.site.loss_word.clone(),
            order: by_order(&page, orders),
            may_file,
            rows: requests
                .iter()
                .map(|(stops, request)| Row {
                    picture: pictures.remove(request.code.as_str()),
                    ..row(&page, &words, situation, orders, request, *stops)
                })
                .collect(),
            page,
        }
    }
}

/// The loss rate that stops when the request's machine is back: the order's figure if it has a place
/// and still holds, else that of this moment. A machine that is yet to stop has the order's alone.
fn stops(situation: &Situation, orders: &Orders, request: &Request) -> i64 {
    let will_stop = situation
        .asset(&request.asset)
        .and_then(|asset| asset.down_from)
        .is_some_and(|from| from > situation.now);
    match orders.standing(&request.code) {
        Standing::Place(stored, place) if !stored.need_changed || will_stop => place.stops_per_hour,
        _ => stops_now(situation, &request.asset),
    }
}

fn row(
    page: &Layout,
    words: &Words<'_>,
    situation: &Situation,
    orders: &Orders,
    request: &Request,
    stops: i64,
) -> Row {
    let told = orders.told(words, &request.code, situation.now);
    let back = match orders.standing(&request.code) {
        Standing::Place(_, place) => place.back,
        _ => None,
    };
    let needed = request.needed_by;
    Row {
        code: request.code.to_string(),
        picture: None,
        path: path(&request.code),
        age: page.age(&request.reported_at.timestamp_millis()),
        asset: words.asset(request.asset.as_str()),
        part: request.part_name.clone(),
        matter: cut(&matter(request), ROW_LETTERS[usize::from(request.danger)]),
        danger: request.danger,
        told,
        back: back.map_or_else(|| "no time yet".to_owned(), |at| words.when(at)),
        needed: needed.map_or_else(
            || "no date".to_owned(),
            |at| format!("needed {}", words.when(at)),
        ),
        late: needed.is_some_and(|at| back.unwrap_or(situation.now) > at),
        stops: whole(stops),
    }
}

/// What to do about all of them.
fn answer(situation: &Situation, orders: &Orders) -> String {
    let all = situation.requests.len();
    let standings = || situation.requests.iter().map(|r| orders.standing(&r.code));
    let placed = standings()
        .filter(|s| matches!(s, Standing::Place(..)))
        .count();
    let gated = standings()
        .filter(|s| matches!(s, Standing::Gate(..)))
        .count();
    let new = all - placed - gated;
    if all == 0 {
        return "Report what is broken: no request is open.".to_owned();
    }
    if orders.current.is_none() {
        return format!(
            "Plan the order: {} asked for, and nothing is planned.",
            parts(all)
        );
    }
    let start = if placed == all {
        format!("Rebuild all {} asked for", parts(all))
    } else if placed == 0 {
        format!("Build nothing yet of {} asked for", parts(all))
    } else {
        format!("Rebuild {placed} of {} asked for", parts(all))
    };
    let gated = match gated {
        0 => String::new(),
        1 => "; 1 waits at a gate".to_owned(),
        many => format!("; {many} wait at a gate"),
    };
    let new = match new {
        0 => String::new(),
        new => format!("; plan again for {new} new"),
    };
    format!("{start}{gated}{new}.")
}

/// As many whole words of a text as a row holds.
fn cut(text: &str, letters: usize) -> String {
    let Some((end, _)) = text.char_indices().nth(letters) else {
        return text.to_owned();
    };
    let whole = text[..end]
        .rsplit_once(' ')
        .map_or(&text[..end], |(words, _)| words);
    format!("{} ...", whole.trim_end_matches([' ', ',', ';', '.', ':']))
}

/// Letters of a damage that stay on one line, alone and beside the word of danger.
const ROW_LETTERS: [usize; 2] = [44, 26];

fn parts(number: usize) -> String {
    format!("{number} {}", if number == 1 { "part" } else { "parts" })
}

/// Who is in danger, before anything else; else what came last.
fn reason(page: &Layout, situation: &Situation) -> String {
    let danger: Vec<&AssetCode> = situation
        .requests
        .iter()
        .filter(|r| r.danger)
        .map(|r| &r.asset)
        .collect();
    let mut names: Vec<String> = Vec::new();
    let words = Words::new(situation);
    for asset in danger {
        let name = words.asset(asset.as_str());
        if !names.contains(&name) {
            names.push(name);
        }
    }
    if !names.is_empty() {
        return format!("Somebody is in danger at: {}.", names.join(", "));
    }
    let newest = situation.requests.iter().max_by_key(|r| r.reported_at);
    newest.map_or_else(String::new, |newest| {
        format!(
            "Newest: {}, {}.",
            newest.code,
            page.age(&newest.reported_at.timestamp_millis())
        )
    })
}

fn by_order(page: &Layout, orders: &Orders) -> String {
    orders.current.as_ref().map_or_else(String::new, |stored| {
        let state = match &stored.accepted {
            Some((by, at)) => format!("accepted {} by {by}", page.clock(at)),
            None => "not accepted yet".to_owned(),
        };
        format!("States by order {}, {state}.", stored.number)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_damage_is_cut_after_a_word() {
        assert_eq!(cut("Tip broken off", 14), "Tip broken off");
        assert_eq!(
            cut("Hub split at the keyway; wards are hot", 26),
            "Hub split at the keyway ..."
        );
        assert_eq!(cut("\u{e9}\u{e9}\u{e9}\u{e9}", 2), "\u{e9}\u{e9} ...");
    }
}
