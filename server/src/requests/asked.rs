//! What is asked: machine, part, damage, dates and people, each with who said so.

use crate::words::authority::authority;
use mendpost_core::lineup::{is_down, loss_now, stops_now};
use mendpost_core::situation::{Damage, Request, Situation};

use super::detail::{Detail, Metal, crack_words, weighed};
use crate::page::{Layout, whole};
use crate::words::Words;
use crate::words::work::{self, damage, flag, sentence};
use crate::words::{kilograms, size};

/// A request in pairs of a word and its value.
pub struct Asked {
    /// When and by whom it was filed.
    pub filed: String,
    pub pairs: Vec<Pair>,
}

/// A word, its value, and what is said below it.
pub struct Pair {
    pub word: &'static str,
    pub value: String,
    pub below: String,
    /// Past or dangerous: shown as a loss.
    pub wrong: bool,
}

pub fn asked(
    page: &Layout,
    words: &Words<'_>,
    situation: &Situation,
    request: &Request,
    record: &[Detail],
) -> Asked {
    let mut pairs = vec![machine(words, situation, request)];
    pairs.extend(part(situation, request));
    pairs.push(pair(
        "Damage",
        sentence(damage(request.damage)),
        &request.description,
    ));
    pairs.push(stands(page, words, situation, request));
    if request.danger {
        pairs.push(Pair {
            wrong: true,
            ..pair(
                "Danger",
                "Somebody is in danger while it is down".to_owned(),
                "make it safe first",
            )
        });
    }
    pairs.push(needed(page, words, situation, request));
    pairs.push(pair("Who asks", request.asked_by.clone(), ""));
    pairs.push(broken_part(page, situation, request, record));
    pairs.extend(particulars(record));
    pairs.push(costs(situation, request));
    let at = request.reported_at.timestamp_millis();
    let report = record.last().map(|report| report.entered_by.as_str());
    let by = report.map_or_else(String::new, |by| format!(", by {by}"));
    Asked {
        filed: format!("filed {}, {}{by}", page.moment(&at), page.age(&at)),
        pairs,
    }
}

fn pair(word: &'static str, value: String, below: &str) -> Pair {
    Pair {
        word,
        value,
        below: below.to_owned(),
        wrong: false,
    }
}

fn machine(words: &Words<'_>, situation: &Situation, request: &Request) -> Pair {
    let losses = loss_now(situation);
    let serves: Vec<String> = situation
        .capabilities
        .iter()
        .zip(&losses)
        .filter(|(capability, _)| capability.assets.contains(&request.asset))
        .map(|(capability, loss)| {
            format!(
                "{}: {} of {} must run, {} {}; {}",
                capability.name,
                loss.must_run,
                loss.total,
                loss.running,
                if loss.running == 1 { "runs" } else { "run" },
                work::standing(loss)
            )
        })
        .collect();
    pair(
        "Machine",
        words.asset(request.asset.as_str()),
        &serves.join(". "),
    )
}

fn part(situation: &Situation, request: &Request) -> Vec<Pair> {
    let Some(part) = request.part.as_ref().and_then(|code| situation.part(code)) else {
        return vec![pair(
            "Part",
            request.part_name.clone(),
            "not listed in the catalogue",
        )];
    };
    let [length, width, height] = part.envelope_mm;
    let flags: Vec<&str> = part.flags.iter().map(|f| flag(*f)).collect();
    let flags = if flags.is_empty() {
        flag(mendpost_core::catalogue::Flag::Unknown).to_owned()
    } else {
        flags.join(", ")
    };
    vec![
        pair(
            "Part",
            format!("{} {}", part.code, request.part_name),
            &format!(
                "{}, {}",
                size([length, width, height]),
                kilograms(part.mass_g)
            ),
        ),
        pair(
            "Use",
            sentence(&flags),
            &authority(&situation.rules.authority(&part.flags)),
        ),
    ]
}

/// Since when the machine is down, or how long it still runs.
fn stands(page: &Layout, words: &Words<'_>, situation: &Situation, request: &Request) -> Pair {
    let asset = situation.asset(&request.asset);
    let back = asset.and_then(|a| a.back).map_or_else(String::new, |at| {
        format!("; a replacement is expected {}", words.when(at))
    });
    match asset.and_then(|a| a.down_from) {
        None => pair(
            "Machine runs",
            "No date is known at which it will fail".to_owned(),
            "",
        ),
        Some(from) => {
            let ms = from.timestamp_millis();
            let below = page.age(&ms) + &back;
            let word = if is_down(situation, &request.asset) {
                "Down since"
            } else {
                "Runs until"
            };
            pair(word, page.moment(&ms), &below)
        }
    }
}

fn needed(page: &Layout, words: &Words<'_>, situation: &Situation, request: &Request) -> Pair {
    let Some(at) = request.needed_by else {
        return pair("Needed by", "No date given".to_owned(), "");
    };
    let past = at < situation.now;
    let age = page.age(&at.timestamp_millis());
    Pair {
        wrong: past,
        ..pair(
            "Needed by",
            words.when(at),
            &if past { format!("past, {age}") } else { age },
        )
    }
}

fn broken_part(page: &Layout, situation: &Situation, request: &Request, record: &[Detail]) -> Pair {
    if let Some(arrived) = record.first().and_then(|newest| newest.told.arrived_ms) {
        // Who received it: the first to say so.
        let received = record
            .iter()
            .rfind(|detail| detail.told.arrived_ms.is_some());
        let by = received.map_or("", |detail| detail.entered_by.as_str());
        let below = format!(
            "received {}, {}, by {by}",
            page.moment(&arrived),
            page.age(&arrived)
        );
        return pair("Broken part", "At the cell".to_owned(), &below);
    }
    match request.at_cell_from.filter(|at| *at > situation.now) {
        None if request.damage == Damage::Interim => pair(
            "Interim part",
            "On its machine".to_owned(),
            "until it comes off",
        ),
        None => pair(
            "Broken part",
            "At the cell".to_owned(),
            "as reported; nobody has received it yet",
        ),
        Some(at) => {
            let ms = at.timestamp_millis();
            pair(
                "Broken part",
                format!("Arrives {}", page.moment(&ms)),
                &page.age(&ms),
            )
        }
    }
}

/// What is known of the broken part itself; of what nobody has told, it is said so where that holds up
/// the work.
fn particulars(record: &[Detail]) -> Vec<Pair> {
    let Some(told) = record.first().map(|newest| &newest.told) else {
        return Vec::new();
    };
    let given = |word, value: Option<String>| value.map(|value| pair(word, value, ""));
    let metal = told.metal.as_ref().map(Metal::words);
    let spare = match told.spare.as_str() {
        "yes" => format!("There is one: {}", told.spare_where),
        "no" => "None".to_owned(),
        _ => "Not known".to_owned(),
    };
    let serial = Some(told.serial.clone()).filter(|serial| !serial.is_empty());
    let cracks = Some(crack_words(told.crack_check)).filter(|words| !words.is_empty());
    let metal = metal.map_or_else(|| "Not known".to_owned(), |metal| sentence(&metal));
    [
        given("Tag", told.tag.clone()),
        given("Weighs", told.mass_g.map(weighed)),
        Some(pair("Base metal", metal, "")),
        given("Serial number", serial),
        given("First crack check", cracks.map(sentence)),
        Some(pair("Spare", spare, "")),
    ]
    .into_iter()
    .flatten()
    .collect()
}

fn costs(situation: &Situation, request: &Request) -> Pair {
    let rate = stops_now(situation, &request.asset);
    let said = situation
        .capabilities
        .iter()
        .find(|c| c.assets.contains(&request.asset));
    let below = said.map_or_else(
        || "no one has said what the site loses without it".to_owned(),
        |c| {
            format!(
                "what its return alone would stop now; rates by {}",
                c.said_by
            )
        },
    );
    pair(
        "Costs",
        format!("{} {}/h", whole(rate), situation.site.loss_word),
        &below,
    )
}
