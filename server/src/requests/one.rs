use askama::Template;
use mendpost_core::course::{Stand, Step};
use mendpost_core::lineup::{Place, Work};
use mendpost_core::situation::{Request, Situation};

use super::answer_rows::{AnswerRow, answer_rows};
use super::asked::{Asked, asked};
use super::course::{DecisionRow, LayerRow, course_rows, decision_rows};
use super::decision::{History, open_to};
use super::detail::Detail;
use super::path;
use super::queries::Told;
use super::standing::{Orders, Standing};
use super::ways::{GatesOfWay, WayRow, Ways};
use crate::attachment::Photos;
use crate::caution::{Caution, cautions};
use crate::finish::Sheet;
use crate::hold::{HoldRow, hold_rows};
use crate::need::asset_path;
use crate::page::{Layout, minutes, whole};
use crate::shape::Small;
use crate::signature::Signature;
use crate::words::Words;
use crate::words::work::sentence;

/// What is on record about a request beside what it asks for.
pub struct Record {
    pub number: i64,
    pub history: History,
    pub signatures: Vec<Signature>,
    pub rights: Rights,
    pub photos: Photos,
    pub picture: Option<Small>,
    /// Everything that was said of it, the newest first.
    pub details: Vec<Detail>,
    /// When each answer was given, and who typed it in: in the order of the situation's.
    pub told: Vec<Told>,
    /// What was found of its part and counts still.
    pub sheet: Sheet,
    /// Of the interim part that this one replaces, while that is on its machine.
    pub interim: Option<Replaced>,
}

/// An interim part that runs until this request is served.
pub struct Replaced {
    pub code: String,
    pub path: String,
    pub caution: Caution,
}

/// Everything of one request.
#[derive(Template)]
#[template(path = "requests/one.html")]
pub struct OnePage {
    page: Layout,
    answer: String,
    reason: String,
    asked: Asked,
    ways: Vec<WayRow>,
    gates: Vec<GatesOfWay>,
    planned: Option<Planned>,
    siblings: Vec<Sibling>,
    interim: Option<Replaced>,
    cautions: Vec<Caution>,
    /// No order knows it: the next act is to plan.
    unplanned: bool,
    /// The answers on record, the newest first.
    answers: Vec<AnswerRow>,
    course: Vec<LayerRow>,
    /// What was decided, the newest first.
    decisions: Vec<DecisionRow>,
    /// Questions on its part, open and judged.
    holds: Vec<HoldRow>,
    sheet: Sheet,
    /// Its part is released, and its tag can be printed.
    has_tag: bool,
    /// Something of it is begun, so that coupons of it may be tested.
    has_coupons: bool,
    /// What may be decided, with its words and address.
    decide: Vec<(&'static str, String)>,
    may_sort: bool,
    may_work: bool,
    may_rework: bool,
    /// On which yeses its place counts.
    if_yes: Vec<String>,
    signatures: Vec<Signature>,
    photos: Photos,
    picture: Option<Small>,
    rights: Rights,
    path: String,
    /// Where its asset is reported down or up.
    asset_path: String,
}

/// What the person may do here.
pub struct Rights {
    pub sort: bool,
    pub work: bool,
    pub judge: bool,
    pub plan: bool,
    pub record_yes: bool,
    pub file: bool,
}

/// Its place with all its work.
struct Planned {
    place: usize,
    order: String,
    steps: Vec<StepRow>,
    draws: Vec<DrawRow>,
    done: String,
    back: String,
    why: String,
    /// Why it does not go earlier.
    earlier: Option<String>,
}

struct StepRow {
    /// 'full', 'part' or 'open'.
    kind: &'static str,
    share: usize,
    name: String,
    place: String,
    when: String,
}

struct DrawRow {
    lot: String,
    powder: String,
    grams: String,
    by: String,
}

/// Another open request of the same machine.
struct Sibling {
    path: String,
    name: String,
    stands: String,
    detail: String,
}

impl OnePage {
    pub fn new(
        page: Layout,
        situation: &Situation,
        orders: &Orders,
        request: &Request,
        record: Record,
    ) -> Self {
        let words = Words::new(situation);
        let standing = orders.standing(&request.code);
        let ways = Ways::new(&words, situation, request, standing);
        let (answer, reason) = answer(&words, situation, orders, request);
        let part = request.part.as_ref().and_then(|code| situation.part(code));
        OnePage {
            answer,
            reason,
            asked: asked(&page, &words, situation, request, &record.details),
            ways: ways.rows(),
            gates: ways.gates(),
            planned: match standing {
                Standing::Place(stored, place) => {
                    let order = match &stored.accepted {
                        Some((by, at)) => {
                            format!(
                                "order {}, accepted {} by {by}",
                                stored.number,
                                page.clock(at)
                            )
                        }
                        None => format!("order {}, not accepted", stored.number),
                    };
                    Some(planned(&words, situation, place, order))
                }
                _ => None,
            },
            siblings: siblings(&words, situation, orders, request),
            cautions: cautions(&situation.rules, ways.recipe(), part, request.damage),
            unplanned: matches!(standing, Standing::Unplanned),
            course: course_rows(&words, situation, request, &record.history, &record.details),
            decisions: decision_rows(&page, &record.history),
            holds: hold_rows(&page, &record.history.holds),
            sheet: record.sheet,
            has_tag: record.history.stand == Stand::Released,
            has_coupons: request.begun.is_some(),
            decide: match record.rights.sort {
                true => open_to(record.history.stand, record.number),
                false => Vec::new(),
            },
            may_sort: record.rights.sort && record.history.stand.after(Step::Sort).is_ok(),
            may_rework: record.rights.sort
                && record.history.stand.after(Step::Rework).is_ok()
                && !record.history.still_done().is_empty(),
            may_work: record.rights.work && record.history.stand != Stand::Reported,
            if_yes: match standing {
                Standing::Place(_, place) => {
                    place.if_yes.iter().map(|yes| words.if_yes(yes)).collect()
                }
                _ => Vec::new(),
            },
            answers: answer_rows(&page, &words, &request.answers, &record.told),
            interim: record.interim,
            signatures: record.signatures,
            photos: record.photos,
            picture: record.picture,
            rights: record.rights,
            asset_path: asset_path(request.asset.as_str()),
            path: path(&request.code),
            page,
        }
    }
}

/// The next act for this request, and what belongs to it.
fn answer(
    words: &Words<'_>,
    situation: &Situation,
    orders: &Orders,
    request: &Request,
) -> (String, String) {
    let name = words.asset_part(request.asset.as_str(), &request.part_name);
    let code = &request.code;
    if let Some(held) = request.on_hold.first() {
        let answer = format!("Have hold {} judged: {code}, {name}.", held.number);
        return (answer, sentence(&held.what) + ".");
    }
    match orders.standing(code) {
        Standing::Unplanned => {
            let reason = match orders.newest() {
                Some(newest) => format!("Order {} does not know it.", newest.number),
                None => "Nothing is planned here yet.".to_owned(),
            };
            (
                format!("Plan again to give {code}, {name}, a place."),
                reason,
            )
        }
        Standing::Gate(..) => {
            let told = orders.told(words, code, situation.now);
            let answer = format!("Open a gate for {code}, {name}: {}.", told.act);
            (answer, sentence(&told.detail) + ".")
        }
        Standing::Place(stored, place) => {
            let Some(work) = place.next_work(situation.now) else {
                return (
                    format!(
                        "Plan again: {code}, {name}, was to be done {}.",
                        words.when(place.done)
                    ),
                    format!("Order {} has nothing left to do for it.", stored.number),
                );
            };
            let act = match work {
                Work::Stage(_) => format!("{} for {code}, {name}.", sentence(&words.work(work))),
                Work::Step(step) => format!("{}: {code}, {name}.", sentence(&step.name)),
            };
            let back = place.back.map_or_else(
                || "the machine waits for another part".to_owned(),
                |at| format!("machine back {}", words.when(at)),
            );
            let when = match work {
                Work::Stage(_) => words.span(work, situation.now),
                Work::Step(step) => words.when(step.start),
            };
            (act, format!("Place {}, {when}; {back}.", place.number))
        }
    }
}

fn planned(words: &Words<'_>, situation: &Situation, place: &Place, order: String) -> Planned {
    let stages = place.stages().count();
    Planned {
        place: place.number,
        order,
        steps: place
            .work
            .iter()
            .map(|work| step_row(words, situation, work))
            .collect(),
        draws: place
            .stages()
            .flat_map(|(_, stage)| stage.lots.iter().map(move |share| (stage, share)))
            .map(|(stage, share)| DrawRow {
                lot: sentence(&words.lot(&share.lot)),
                powder: words.powder(&stage.powder),
                grams: format!("{} g", whole(share.grams)),
                by: words.when(stage.setup_from),
            })
            .collect(),
        done: words.when(place.done),
        back: place.back.map_or_else(
            || "not in this order: it waits for another part".to_owned(),
            |at| words.when(at),
        ),
        why: why(situation, place, stages),
        earlier: words.earlier(place),
    }
}

fn why(situation: &Situation, place: &Place, stages: usize) -> String {
    let unit = &situation.site.loss_word;
    let stops = format!(
        "The machine's return stops {} {unit}/h",
        whole(place.stops_per_hour)
    );
    match place.averts_per_cell_hour {
        Some(averts) => {
            let of = if stages == 1 {
                "this part"
            } else {
                "these stages"
            };
            format!(
                "{stops}. For each hour of the cell that {of} and the machine's other parts take, {} {unit} are averted.",
                whole(averts)
            )
        }
        None => format!("{stops}, and takes no hour of the cell."),
    }
}

fn step_row(words: &Words<'_>, situation: &Situation, work: &Work) -> StepRow {
    let now = situation.now;
    let (starts, ends) = match work {
        Work::Stage(stage) => (stage.start, stage.end),
        Work::Step(step) => (step.start, step.end),
    };
    let whole_min = (ends - starts).num_minutes();
    let (kind, share) = if ends <= now {
        ("full", 0)
    } else if starts < now {
        let gone = (now - starts).num_minutes() * 100 / whole_min.max(1);
        ("part", usize::try_from(gone).unwrap_or(0))
    } else {
        ("open", 0)
    };
    let (name, place) = match work {
        Work::Stage(stage) => (
            format!("Spray {}", words.powder(&stage.powder)),
            "cell".to_owned(),
        ),
        Work::Step(step) => (sentence(&step.name), words.place_of(step)),
    };
    StepRow {
        kind,
        share,
        name,
        place,
        when: format!("{}, {}", words.when(starts), minutes(whole_min)),
    }
}

fn siblings(
    words: &Words<'_>,
    situation: &Situation,
    orders: &Orders,
    request: &Request,
) -> Vec<Sibling> {
    situation
        .requests
        .iter()
        .filter(|other| other.asset == request.asset && other.code != request.code)
        .map(|other| {
            let told = orders.told(words, &other.code, situation.now);
            Sibling {
                path: path(&other.code),
                name: format!("{} {}", other.code, other.part_name),
                stands: match told.number.as_str() {
                    "" => format!("{}: {}", told.word, told.act),
                    number => format!("place {number}, {}: {}", told.word, told.act),
                },
                detail: told.detail,
            }
        })
        .collect()
}
