use askama::Template;
use chrono::{DateTime, Utc};
use mendpost_core::catalogue::RecipeState;
use mendpost_core::lineup::{Fall, LotStock, OutCause, Place, Stock, stage_need};
use mendpost_core::powder::LotState;
use mendpost_core::situation::{Held, KeepBack, Situation};

use super::columns::{self, Column, Fill, LABEL_LEFT, Layer};
use super::drawdown::{self, Scene};
use super::kind;
use super::lot_path;
use super::queries::{Counted, Moved};
use crate::drawing::{Drawing, Mark, fitted, width};
use crate::error::AppError;
use crate::page::{Layout, whole};
use crate::words::work::sentence;
use crate::words::{Words, tenths_of};

/// All powders: lots as layers, one powder's course, and every lot in a table.
#[derive(Template)]
#[template(path = "powder/show.html")]
pub struct PowderPage {
    page: Layout,
    answer: String,
    reason: String,
    order: String,
    book: String,
    lots_drawn: Option<[Drawing; 2]>,
    course: Option<Course>,
    powders: Vec<PowderRow>,
    /// What keep-backs hold of the powders, each with its number and for whom.
    kept: Vec<String>,
    lots: Vec<LotRow>,
    may_blend: bool,
}

/// What the page is made of.
pub struct Book<'a> {
    pub situation: &'a Situation,
    pub stocks: &'a [Stock],
    /// The number of the line-up that it is seen by.
    pub order: Option<i64>,
    /// Its places.
    pub places: &'a [Place],
    /// Movements of the powder chosen.
    pub history: &'a [Moved],
    pub count: Option<Counted>,
    pub may_blend: bool,
}

struct Course {
    name: String,
    /// The address of its figures.
    kind: String,
    until: String,
    drawn: [Drawing; 2],
    /// In how many of 100 builds what is planned suffices.
    share: String,
    /// The same as rows.
    draws: Vec<DrawRow>,
    /// Rests that nothing can use any more, with what the least takes.
    stranded: String,
}

/// A draw of the order, as the table behind the picture has it.
struct DrawRow {
    place: usize,
    part: String,
    ends: String,
    planned: String,
    likely: String,
    left: String,
}

struct PowderRow {
    path: String,
    name: String,
    code: String,
    chosen: bool,
    out: String,
    comes: String,
    largest: String,
    usable: String,
    committed: String,
    free: String,
    /// How much of it is held for named machines.
    kept: String,
}

struct LotRow {
    path: String,
    code: String,
    powder: String,
    state: &'static str,
    note: String,
    use_by: String,
    /// The part, and what it takes.
    serves: (String, String),
    on_hand: String,
    committed: String,
    free: String,
    /// What of it nothing can use any more.
    stranded: String,
}

/// The powder asked for; else the one that runs out first, else the first that has a lot.
pub fn chosen<'a>(stocks: &'a [Stock], code: &str) -> Result<Option<&'a Stock>, AppError> {
    if code.is_empty() {
        let by_lots = || stocks.iter().find(|s| !s.lots.is_empty());
        return Ok(first_out(stocks).map(|(stock, _)| stock).or_else(by_lots));
    }
    let asked = stocks.iter().find(|s| s.powder.as_str() == code);
    asked.map(Some).ok_or_else(|| AppError::NotFound {
        what: format!("powder {code}"),
    })
}

fn first_out(stocks: &[Stock]) -> Option<(&Stock, &mendpost_core::lineup::RunOut)> {
    let out = stocks.iter().filter_map(|s| Some((s, s.out.as_ref()?)));
    out.min_by_key(|(_, out)| out.at)
}

/// The lot that the line-up draws on first.
fn next_lot(stocks: &[Stock]) -> Option<&LotStock> {
    let lots = stocks.iter().flat_map(Stock::usable);
    lots.filter(|l| l.first_draw.is_some())
        .min_by_key(|l| l.first_draw)
}

impl PowderPage {
    pub fn new(page: Layout, book: &Book<'_>, chosen: Option<&Stock>) -> Self {
        let words = Words::new(book.situation);
        let (answer, reason) = answer(book, &words);
        let any = book.stocks.iter().any(|s| !s.lots.is_empty());
        let columns: Vec<Column> = book
            .stocks
            .iter()
            .map(|s| column(book, &words, s))
            .collect();
        PowderPage {
            answer,
            reason,
            order: book.order.map_or_else(
                || "no order is planned".to_owned(),
                |number| format!("planned by order {number}"),
            ),
            book: book_line(&page, book),
            lots_drawn: any.then(|| {
                [
                    columns::draw(&columns, 1232, 252.0),
                    columns::draw(&columns, 752, 200.0),
                ]
            }),
            course: chosen.map(|stock| course(book, &words, stock)),
            powders: book
                .stocks
                .iter()
                .map(|s| {
                    let chosen = chosen.is_some_and(|c| c.powder == s.powder);
                    powder_row(&words, s, chosen)
                })
                .collect(),
            kept: kept_back(book.situation, &words),
            may_blend: book.may_blend,
            lots: book
                .stocks
                .iter()
                .flat_map(|s| s.lots.iter().map(move |l| (s, l)))
                .map(|(stock, lot)| lot_row(&page, book.situation, &words, stock, lot))
                .collect(),
            page,
        }
    }
}

/// Which lot to open, and what runs out first; what else runs out stands in the reason.
fn answer(book: &Book<'_>, words: &Words<'_>) -> (String, String) {
    let any = book.stocks.iter().any(|s| !s.lots.is_empty());
    let open = match next_lot(book.stocks) {
        Some(next) if next.lot.opened => format!("Go on with {}, which is open.", next.lot.code),
        Some(next) => format!("Open {} next.", next.lot.code),
        None if !any => "Book a lot in: no powder is on hand.".to_owned(),
        None if book.order.is_none() => "Open nothing yet: no order is planned.".to_owned(),
        None => "Open nothing: no place of the order draws on a lot here.".to_owned(),
    };
    let Some((stock, out)) = first_out(book.stocks) else {
        let end = book.stocks.iter().filter_map(|s| s.levels.last()).max();
        let reason = end
            .filter(|_| any)
            .map(|(at, _)| format!("No powder runs out before {}.", words.clock(*at)));
        return (open, reason.unwrap_or_default());
    };
    let name = sentence(&words.powder_short(stock.powder.as_str()));
    let mut others: Vec<_> = book
        .stocks
        .iter()
        .filter(|s| s.powder != stock.powder)
        .filter_map(|s| Some((s, s.out.as_ref()?)))
        .collect();
    others.sort_by_key(|(_, out)| out.at);
    let also: Vec<String> = others
        .iter()
        .map(|(s, out)| {
            let name = words.powder_short(s.powder.as_str());
            match out.cause {
                OutCause::Already => format!("{name} is out"),
                _ => format!("{name} runs out {}", words.clock(out.at)),
            }
        })
        .collect();
    let reason = if also.is_empty() {
        String::new()
    } else {
        format!("{}.", sentence(&also.join(", ")))
    };
    (
        format!("{open} {name} {}.", words.runs_out(stock, out)),
        reason,
    )
}

fn book_line(page: &Layout, book: &Book<'_>) -> String {
    let now = page.clock(&book.situation.now.timestamp_millis());
    let count = book.count.as_ref().map_or_else(
        || "no count on record".to_owned(),
        |c| {
            format!(
                "last count {}, gap {} g",
                page.day(&c.at_ms),
                whole(c.gap_mg / 1000)
            )
        },
    );
    format!("grams in each lot; book at {now}; {count}")
}

fn column(book: &Book<'_>, words: &Words<'_>, stock: &Stock) -> Column {
    let name = words.powder_short(stock.powder.as_str());
    let fits = width(&name, 18.0, true) <= NAME_ROOM;
    let free = stock.free_g();
    let mut below = vec![format!("free {} g", whole(free))];
    if free > 0 {
        below.push(format!(
            "largest in one lot {} g",
            whole(stock.largest_free_g())
        ));
    }
    if stock.kept_g > 0 {
        below.push(format!("kept back {} g", whole(stock.kept_g)));
    }
    let next = next_lot(book.stocks).map(|l| l.lot.code.clone());
    Column {
        name: if fits {
            sentence(&name)
        } else {
            stock.powder.to_string()
        },
        below,
        layers: stock
            .lots
            .iter()
            .map(|lot| {
                layer(
                    book.situation,
                    words,
                    lot,
                    next.as_ref() == Some(&lot.lot.code),
                )
            })
            .collect(),
    }
}

/// Room for a name, and for a fact beside a layer, in the narrowest column.
const NAME_ROOM: f64 = 232.0;
const FACT_ROOM: f64 = 220.0 - LABEL_LEFT + 16.0;

fn layer(situation: &Situation, words: &Words<'_>, lot: &LotStock, next: bool) -> Layer {
    let end = situation.moment(situation.horizon());
    let expires = lot.usable && lot.lot.use_by.is_some_and(|until| until <= end);
    Layer {
        number: lot.lot.code.to_string(),
        grams: lot.on_hand_g,
        committed_g: lot.committed_g,
        fill: match lot.lot.state {
            LotState::Hold => Fill::Hold,
            LotState::Arrived | LotState::Quarantine => Fill::Quarantine,
            LotState::Rejected => Fill::Rejected,
            LotState::Released | LotState::Empty => Fill::Committed,
        },
        expires,
        facts: facts(situation, words, lot, next, expires),
        next,
    }
}

fn facts(
    situation: &Situation,
    words: &Words<'_>,
    lot: &LotStock,
    next: bool,
    expires: bool,
) -> Vec<String> {
    if !lot.usable {
        return vec![barred(words, lot)];
    }
    let mut facts = Vec::new();
    if next {
        let word = if lot.lot.opened {
            "go on with it"
        } else {
            "open next"
        };
        facts.push(word.to_owned());
    }
    if let Some(until) = lot.lot.use_by.filter(|_| expires) {
        facts.push(format!("use by {}", near_day(situation, until)));
    }
    match (lot.free_g, lot.for_any_g) {
        _ if next => {}
        (0, _) if lot.committed_g > 0 => facts.push("all committed".to_owned()),
        (free, 0) if free > 0 => facts.push(format!("{} kept back", whole(free))),
        (_, free) => facts.push(format!("{} free", whole(free))),
    }
    facts
}

/// Why a lot may not be drawn, with as much of the reason as there is room for whole.
fn barred(words: &Words<'_>, lot: &LotStock) -> String {
    let state = words.lot_state(lot);
    let note = lot
        .lot
        .state_note
        .split([';', ','])
        .next()
        .unwrap_or_default();
    let full = format!("{state}: {note}");
    if !note.is_empty() && width(&full, 15.0, false) <= FACT_ROOM {
        return full;
    }
    fitted(
        state.split(',').next().unwrap_or(state),
        15.0,
        false,
        FACT_ROOM,
    )
}

/// 'Fri' within six days, else '2 Dec'.
fn near_day(situation: &Situation, moment: DateTime<Utc>) -> String {
    let near = (moment - situation.now).num_days() < 6;
    let local = moment.with_timezone(&situation.site.zone);
    local.format(if near { "%a" } else { "%-d %b" }).to_string()
}

fn course(book: &Book<'_>, words: &Words<'_>, stock: &Stock) -> Course {
    let situation = book.situation;
    let scene = scene(book, words, stock);
    let until = stock.arrivals.first().map_or_else(
        || "no delivery brings it".to_owned(),
        |a| format!("until the {}", words.delivery(a.delivery.as_str())),
    );
    let drawn = [drawdown::draw(&scene, 1232), drawdown::draw(&scene, 752)];
    Course {
        share: format!("{} %", tenths_of(situation.site.need_permille, 10)),
        draws: stock
            .falls
            .iter()
            .map(|fall| draw_row(book, words, fall))
            .collect(),
        stranded: stranded(stock).unwrap_or_default(),
        kind: kind::path(stock.powder.as_str()),
        name: sentence(&Words::new(situation).powder_short(stock.powder.as_str())),
        until,
        drawn,
    }
}

fn draw_row(book: &Book<'_>, words: &Words<'_>, fall: &Fall) -> DrawRow {
    let places = book.places.iter();
    let place = places.clone().find(|place| place.number == fall.place);
    DrawRow {
        place: fall.place,
        part: place.map_or_else(String::new, |place| {
            format!("{} {}", words.asset(place.asset.as_str()), place.part_name)
        }),
        ends: words.clock(fall.end),
        planned: whole(fall.grams),
        likely: whole(fall.likely_g),
        left: whole(fall.left_g),
    }
}

/// 'Stranded after the order: 1 700 g of L0415, 200 g of L0399; no approved recipe takes less than 3 000 g.'
fn stranded(stock: &Stock) -> Option<String> {
    let rests: Vec<String> = stock
        .stranded()
        .map(|it| format!("{} g of {}", whole(it.stranded_g), it.lot.code))
        .collect();
    let least = stock.least_g.filter(|_| !rests.is_empty())?;
    Some(format!(
        "Stranded after the order: {}; the least that an approved recipe takes is {} g.",
        rests.join(", "),
        whole(least)
    ))
}

fn scene(book: &Book<'_>, words: &Words<'_>, stock: &Stock) -> Scene {
    let (situation, zone) = (book.situation, book.situation.site.zone);
    let name = words.powder(stock.powder.as_str());
    let now_g = stock.usable_g();
    let barred = stock.lots.iter().any(|l| !l.usable && l.on_hand_g > 0);
    let deliveries: Vec<(DateTime<Utc>, String)> = stock
        .arrivals
        .iter()
        .map(|a| {
            let delivery = words.delivery(a.delivery.as_str());
            let when = words.clock(a.expected);
            (
                a.expected,
                format!("{delivery} {when}, +{} g", whole(a.grams)),
            )
        })
        .collect();
    let out = stock.out.as_ref().map(|out| {
        let head = match out.cause {
            OutCause::Already => "is out now".to_owned(),
            _ => format!("runs out {}", words.out(out)),
        };
        (out.at, head, words.left(out))
    });
    let told = out.as_ref().map_or_else(
        || "does not run out".to_owned(),
        |(_, head, _)| head.clone(),
    );
    let brought: Vec<&str> = deliveries.iter().map(|(_, text)| text.as_str()).collect();
    let last = [
        stock.arrivals.last().map(|a| a.usable_from),
        stock.falls.last().map(|f| f.end),
        stock.out.as_ref().map(|o| o.at),
    ];
    Scene {
        title: format!(
            "{name}: {} g now, {told}; {}. {} The table below has each draw.",
            whole(now_g),
            brought.join(", "),
            stranded(stock).unwrap_or_default()
        ),
        zone,
        now: situation.now,
        last: last.into_iter().flatten().max().unwrap_or(situation.now),
        past: past(book, stock),
        plan: stock.levels.clone(),
        likely: stock.likely.clone(),
        strata: stock
            .usable()
            .rev()
            .map(|l| {
                let open = if l.lot.opened { "open" } else { "sealed" };
                (format!("{}, {open}", l.lot.code), l.on_hand_g)
            })
            .collect(),
        falls: stock
            .falls
            .iter()
            .map(|f| (f.place, f.end, f.left_g))
            .collect(),
        out,
        deliveries,
        now_words: if barred {
            format!("now {} g, without what may not be drawn", whole(now_g))
        } else {
            format!("now {} g", whole(now_g))
        },
    }
}

/// What there was of the lots that may be drawn now, and of those used up since.
fn past(book: &Book<'_>, stock: &Stock) -> Vec<(DateTime<Utc>, i64)> {
    let now = book.situation.now;
    let start = drawdown::first_moment(book.situation.site.zone, now);
    let counts =
        |moved: &&Moved| moved.empty || stock.usable().any(|l| l.lot.code.as_str() == moved.lot);
    let since: Vec<(DateTime<Utc>, i64)> = book
        .history
        .iter()
        .filter(counts)
        .filter_map(|moved| {
            Some((
                DateTime::from_timestamp_millis(moved.at_ms)?,
                moved.milligrams,
            ))
        })
        .filter(|(at, _)| *at > start && *at <= now)
        .collect();
    let here: i64 = stock.usable().map(|l| l.lot.on_hand.0).sum();
    let mut level = here - since.iter().map(|(_, milligrams)| milligrams).sum::<i64>();
    let mut points = vec![(start, level / 1000)];
    for (at, milligrams) in since {
        points.push((at, level / 1000));
        level += milligrams;
        points.push((at, level / 1000));
    }
    points.push((now, stock.usable_g()));
    points
}

/// '4 500 kept back', where it is.
fn kept(stock: &Stock) -> String {
    match stock.kept_g {
        0 => String::new(),
        grams => format!("{} kept back", whole(grams)),
    }
}

/// 'Keep-back 1: 3 500 g of bronze for feed pump 1', for each that holds powder.
fn kept_back(situation: &Situation, words: &Words<'_>) -> Vec<String> {
    let of_powder = |it: &&KeepBack| matches!(it.held, Held::Powder(_));
    let keep_backs = situation.keep_backs.iter().filter(of_powder);
    keep_backs.map(|it| words.kept(it)).collect()
}

fn powder_row(words: &Words<'_>, stock: &Stock, chosen: bool) -> PowderRow {
    let committed: i64 = stock.lots.iter().map(|l| l.committed_g).sum();
    PowderRow {
        path: format!("/powder?powder={}", stock.powder),
        name: words.powder(stock.powder.as_str()),
        code: stock.powder.to_string(),
        chosen,
        out: stock
            .out
            .as_ref()
            .map_or_else(|| "no".to_owned(), |out| words.out(out)),
        comes: stock.arrivals.first().map_or_else(
            || "none".to_owned(),
            |a| {
                let name = words.delivery(a.delivery.as_str());
                format!(
                    "{name} {}, {}\u{a0}g",
                    words.clock(a.expected),
                    whole(a.grams)
                )
            },
        ),
        largest: whole(stock.largest_free_g()),
        usable: whole(stock.usable_g()),
        committed: whole(committed),
        free: whole(stock.free_g()),
        kept: kept(stock),
    }
}

fn lot_row(
    page: &Layout,
    situation: &Situation,
    words: &Words<'_>,
    stock: &Stock,
    lot: &LotStock,
) -> LotRow {
    LotRow {
        path: lot_path(lot.lot.code.as_str()),
        code: lot.lot.code.to_string(),
        powder: words.powder_short(stock.powder.as_str()),
        state: words.lot_state(lot),
        note: lot.lot.state_note.clone(),
        use_by: lot.lot.use_by.map_or_else(
            || "none told".to_owned(),
            |until| page.day(&until.timestamp_millis()),
        ),
        serves: serves(situation, lot),
        on_hand: whole(lot.on_hand_g),
        committed: whole(lot.committed_g),
        free: whole(lot.for_any_g),
        stranded: match lot.stranded_g {
            0 => String::new(),
            grams => format!("{} stranded", whole(grams)),
        },
    }
}

/// The part that takes most of what any machine may still draw of this lot.
fn serves(situation: &Situation, lot: &LotStock) -> (String, String) {
    let approved = situation
        .recipes
        .iter()
        .filter(|r| r.state == RecipeState::Approved);
    let parts = approved.flat_map(|recipe| {
        let stages = recipe.sprays().filter(|s| s.powder == lot.lot.powder);
        stages.filter_map(|s| Some((stage_need(situation, s).ok()?.powder_g, &recipe.part)))
    });
    let largest = parts
        .filter(|(grams, _)| *grams <= lot.for_any_g)
        .max_by_key(|(grams, _)| *grams);
    largest.map_or_else(
        || ("none".to_owned(), String::new()),
        |(grams, part)| {
            let name = situation
                .part(part)
                .map_or(part.as_str(), |p| p.name.as_str());
            (name.to_owned(), format!("takes {} g", whole(grams)))
        },
    )
}
