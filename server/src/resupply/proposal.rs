//! A proposed load as pages show it, of a trip and of a cell about to leave alike.

use mendpost_core::code::{ItemCode, RequestCode};
use mendpost_core::planner::{Plan, PlannedJob};
use mendpost_core::resupply::list::Total;
use mendpost_core::resupply::{
    Barred, Carrier, Content, Item, Kind, Lacks, Load, LoadLine, MASS, Need, Proposal, RunsOut,
    Shelf, Stays, VOLUME,
};

use super::item;
use super::item::words::kg;
use super::list::words;
use super::run::Basis;
use crate::form::plain_decimal;
use crate::page::{field_time, loss, whole};
use crate::words::work::{lower_first, sentence};
use crate::words::{Words, litres};

/// A proposal in words.
pub struct ProposalRows {
    pub lines: Vec<Line>,
    pub limits: Vec<LimitRow>,
    /// Pairs to be kept apart on the vehicle.
    pub apart: Vec<String>,
    pub behind: Vec<BehindRow>,
    pub barred: Vec<BarredRow>,
    /// What must go and does not fit.
    pub must_left: Vec<String>,
    /// Ways of ordering, with what each averts; ours first.
    pub ways: Vec<WayRow>,
    pub needs: Vec<NeedRow>,
    pub packed: String,
    pub ten_more: String,
    /// It has an item with a dangerous-goods entry.
    pub dangerous: bool,
}

pub struct Line {
    pub number: usize,
    pub path: String,
    pub code: String,
    pub name: String,
    pub unit: String,
    pub units: String,
    pub gross: String,
    pub averts: String,
    pub per_kg: String,
    pub counts: bool,
    /// What else there is to say of it.
    pub told: Vec<String>,
    /// What the form that freezes a list says of it.
    pub form: FormLine,
}

/// A line as the form of a load list has it.
pub struct FormLine {
    pub units: i64,
    /// 1 must go, up to 9.
    pub priority: usize,
    /// When the plan first works at what has no place without it, as a field takes it; empty where it
    /// frees nothing.
    pub needed_by: String,
    /// Cans of one powder are reckoned with as one lot.
    pub one_lot: bool,
    pub reason: String,
}

pub struct LimitRow {
    pub name: String,
    /// What is taken of what is allowed.
    pub said: String,
    pub share: usize,
    /// It is shown even where nothing is taken of it.
    always: bool,
}

pub struct BehindRow {
    pub path: String,
    pub name: String,
    pub averts: String,
    pub told: Vec<String>,
}

pub struct BarredRow {
    pub path: String,
    pub name: String,
    pub why: String,
}

pub struct WayRow {
    pub name: &'static str,
    pub ours: bool,
    pub averts: String,
    pub less: String,
}

pub struct NeedRow {
    pub name: String,
    pub waiting: String,
    pub mean: String,
    pub in_95: String,
    pub left: String,
    pub brings: String,
    pub chance: String,
    pub note: String,
}

/// So many requests are named that something frees; of more only how many.
const MOST_NAMED: usize = 3;

/// What words are made of.
pub struct Told<'a> {
    pub words: Words<'a>,
    pub basis: &'a Basis,
}

impl Told<'_> {
    pub fn rows(&self, proposal: &Proposal, needs: &[Need]) -> ProposalRows {
        let lines = proposal.lines.iter().enumerate();
        let carrier = self.carrier();
        let items = &self.basis.items;
        let loaded = |code: &ItemCode| proposal.load.contains_key(code);
        let shown_behind = |code: &ItemCode| proposal.behind.iter().any(|it| it.item == *code);
        ProposalRows {
            lines: lines
                .map(|(n, line)| self.line(n, line, needs, &proposal.truly.plan))
                .collect(),
            limits: self.limits(&proposal.load),
            apart: carrier
                .kept_apart(items, &proposal.load)
                .iter()
                .map(|(one, other)| format!("{} and {}", self.item(one), self.item(other)))
                .collect(),
            barred: proposal
                .barred
                .iter()
                .filter(|(code, _)| !shown_behind(code))
                .map(|(code, bars)| BarredRow {
                    path: item::path(code),
                    name: self.item(code),
                    why: all_barred(bars),
                })
                .collect(),
            behind: proposal.behind.iter().map(|it| self.behind(it)).collect(),
            must_left: proposal
                .must_left
                .iter()
                .map(|(code, units)| format!("{} {}", whole(*units), self.item(code)))
                .collect(),
            ways: ways(proposal),
            needs: needs.iter().map(|need| self.need(need)).collect(),
            packed: packed(proposal),
            ten_more: match proposal.ten_kg_more {
                0 => "Ten kilograms more of payload would avert nothing more.".to_owned(),
                more => format!(
                    "Ten kilograms more of payload would avert {} {} more.",
                    loss(more),
                    self.unit()
                ),
            },
            dangerous: items.iter().any(|item| {
                loaded(&item.code) && matches!(item.sheet, mendpost_core::resupply::Sheet::Entry(_))
            }),
        }
    }

    fn unit(&self) -> &str {
        self.words.loss_word()
    }

    fn carrier(&self) -> Carrier<'_> {
        Carrier {
            trip: &self.basis.trip,
            rules: self.basis.rules.as_ref(),
        }
    }

    fn known(&self, code: &ItemCode) -> Option<&Item> {
        self.basis.items.iter().find(|item| item.code == *code)
    }

    /// Its name and unit of issue, as 'bronze powder, can 5 kg'.
    pub fn item(&self, code: &ItemCode) -> String {
        let known = self.known(code);
        known.map_or_else(
            || code.to_string(),
            |it| format!("{}, {}", it.name, it.unit),
        )
    }

    fn requests(&self, codes: &[RequestCode]) -> Option<String> {
        let named = codes.iter().take(MOST_NAMED);
        let named = named.map(|code| self.words.request(code.as_str()));
        let mut names: Vec<String> = named.collect();
        if let Some(more) = codes.len().checked_sub(MOST_NAMED).filter(|more| *more > 0) {
            names.push(format!("{more} more"));
        }
        (!names.is_empty()).then(|| format!("frees {}", names.join("; ")))
    }

    fn line(&self, n: usize, line: &LoadLine, needs: &[Need], plan: &Plan) -> Line {
        let item = self.known(&line.item);
        let gross_g = item.map_or(0, |it| it.gross_g) * line.units;
        let need = item.and_then(|it| {
            needs
                .iter()
                .find(|need| need.is_of(self.words.situation(), it))
        });
        let must = (line.must > 0).then(|| format!("must go: {}", whole(line.must)));
        let last = (line.units > 1 && line.last_averts > 0)
            .then(|| format!("the last one averts {}", loss(line.last_averts)));
        let chance = need
            .filter(|it| it.enough_with > it.enough_without)
            .map(|it| {
                format!(
                    "enough for failures to come in {} of 100, without it in {}",
                    it.enough_with / 10,
                    it.enough_without / 10
                )
            });
        let frees = self.requests(&line.frees);
        let told: Vec<String> = must
            .into_iter()
            .chain(frees)
            .chain(last)
            .chain(chance)
            .collect();
        let reason = self.reason(line);
        Line {
            number: n + 1,
            path: item::path(&line.item),
            code: line.item.to_string(),
            name: item.map_or_else(String::new, |it| it.name.clone()),
            unit: item.map_or_else(String::new, |it| it.unit.clone()),
            units: whole(line.units),
            gross: kg(gross_g),
            averts: loss(line.averts.max(0)),
            per_kg: loss(line.averts.max(0).saturating_mul(1000) / gross_g.max(1)),
            counts: line.averts > 0,
            told,
            form: FormLine {
                units: line.units,
                priority: if line.must > 0 {
                    1
                } else {
                    (n + 1).clamp(2, 9)
                },
                needed_by: self.needed_by(line, plan),
                one_lot: item.is_some_and(|it| matches!(it.content, Content::Powder { .. })),
                reason,
            },
        }
    }

    fn needed_by(&self, line: &LoadLine, plan: &Plan) -> String {
        let freed = |job: &&PlannedJob| line.frees.iter().any(|code| code.as_str() == job.id);
        let here = (self.basis.trip.usual - self.basis.from).num_minutes();
        let used = |job: &PlannedJob| first_used(job, here);
        let first = plan.jobs.iter().filter(freed).filter_map(used).min();
        first.map_or_else(String::new, |minute| {
            let at = self.basis.from + chrono::TimeDelta::minutes(minute);
            field_time(at.timestamp_millis(), self.words.situation().site.zone)
        })
    }

    /// In a few words, for the list.
    fn reason(&self, line: &LoadLine) -> String {
        let must = (line.must > 0).then(|| "must go".to_owned());
        let averts = format!("averts {} {}", loss(line.averts), self.unit());
        let averts = Some(averts).filter(|_| line.averts > 0);
        let frees: Vec<&str> = line.frees.iter().map(RequestCode::as_str).collect();
        let frees = (!frees.is_empty()).then(|| format!("frees {}", frees.join(", ")));
        let all: Vec<String> = must.into_iter().chain(averts).chain(frees).collect();
        match all.is_empty() {
            true => "For failures to come, or with its set".to_owned(),
            false => sentence(&all.join("; ")),
        }
    }

    fn limits(&self, load: &Load) -> Vec<LimitRow> {
        let carrier = self.carrier();
        let taken = carrier.taken(&self.basis.items, load);
        let limits = carrier.limits().into_iter();
        let rows = limits.map(|limit| {
            let (what, unit) = self.limit(&limit.id);
            let total = Total {
                taken: taken.get(&limit.id).copied().unwrap_or(0),
                allowed: limit.limit,
                id: limit.id,
                what,
                unit,
            };
            let share = total.taken * 100 / total.allowed.max(1);
            LimitRow {
                name: sentence(&total.what),
                said: words::total(&total),
                share: usize::try_from(share).unwrap_or(0),
                always: matches!(total.id.as_str(), MASS | VOLUME),
            }
        });
        rows.filter(|row| row.share > 0 || row.always).collect()
    }

    /// A limit's name and unit.
    fn limit(&self, id: &str) -> (String, String) {
        words::limit(id, self.basis.rules.as_ref())
    }

    fn behind(&self, behind: &mendpost_core::resupply::Behind) -> BehindRow {
        let why = match &behind.why {
            Stays::Barred(bars) => all_barred(bars),
            Stays::Full(limits) => {
                let names: Vec<String> = limits.iter().map(|id| self.limit(id).0).collect();
                format!(
                    "no room beside the rest: {}",
                    lower_first(&names.join(", "))
                )
            }
            Stays::Apart(others) => {
                let names: Vec<String> = others.iter().map(|code| self.item(code)).collect();
                format!("not loaded together with {}", names.join("; "))
            }
            Stays::Set => "goes only with the rest of its set".to_owned(),
            Stays::Little => "too little to be told from nothing".to_owned(),
        };
        BehindRow {
            path: item::path(&behind.item),
            name: format!("One more {}", self.item(&behind.item)),
            averts: loss(behind.averts),
            told: self
                .requests(&behind.frees)
                .into_iter()
                .chain([why])
                .collect(),
        }
    }

    fn need(&self, need: &Need) -> NeedRow {
        let shown = |value: i64| match (value, &need.kind) {
            (0, _) => "–".to_owned(),
            (_, Kind::Powder(_) | Kind::Gas(_)) => format!("{} kg", kg(value)),
            (_, Kind::Fuel) => litres(value),
            (_, Kind::Consumable(_)) => plain_decimal((value + 5) / 10, 2),
        };
        let lapses = (need.lapses > 0)
            .then(|| format!("{} of what is left goes out of date", shown(need.lapses)));
        let steady = (need.steady > 0).then(|| format!("days take {}", shown(need.steady)));
        let notes: Vec<String> = steady.into_iter().chain(lapses).collect();
        NeedRow {
            name: sentence(&match &need.kind {
                Kind::Powder(powder) => self.words.powder(powder.as_str()),
                Kind::Gas(gas) => format!("{} in bottles", gas.as_str()),
                Kind::Fuel => "fuel".to_owned(),
                Kind::Consumable(code) => self.item(code),
            }),
            waiting: shown(need.waiting),
            mean: shown(need.mean),
            in_95: shown(need.in_95),
            left: shown(need.left),
            brings: shown(need.brings),
            chance: format!("{} → {}", need.enough_without / 10, need.enough_with / 10),
            note: notes.join("; "),
        }
    }

    /// 'bronze in 41 of 100, half of them by Sat 6 14:00'.
    pub fn runs_out(&self, out: &RunsOut) -> String {
        let what = match &out.what {
            Lacks::Powder(powder) => self.words.powder(powder.as_str()),
            Lacks::Store(store) => self.store(store),
        };
        let by = self.basis.from + chrono::TimeDelta::minutes(out.by);
        format!(
            "{what} in {} of 100, half of them by {}",
            out.permille / 10,
            self.words.clock_day(by)
        )
    }

    fn store(&self, store: &str) -> String {
        if let Some(code) = Shelf::item_of(store) {
            return code
                .parse()
                .map_or_else(|_| code.to_owned(), |it| self.item(&it));
        }
        match store.split_once('/') {
            Some(("gas", _)) => "gas at the pressure that is asked for".to_owned(),
            _ if store == "fuel" => "fuel".to_owned(),
            _ if store == "compressor" => "hours of the compressor to its service".to_owned(),
            _ => "a plate".to_owned(),
        }
    }
}

/// When a planned job first takes powder or gas after the trip is here; without such a stage, when it is first
/// worked at then. Minutes from the plan's beginning.
fn first_used(job: &PlannedJob, here: i64) -> Option<i64> {
    let after = || job.operations.iter().filter(|spot| spot.start >= here);
    let stage = after().find(|spot| spot.cell.is_some());
    Some(stage.or_else(|| after().next())?.start)
}

fn all_barred(bars: &[Barred]) -> String {
    let each: Vec<String> = bars.iter().map(words::barred).collect();
    each.join("; ")
}

fn ways(proposal: &Proposal) -> Vec<WayRow> {
    let ours = proposal.truly.averted();
    let usual = &proposal.usual;
    let all = [
        ("This load", ours),
        ("Oldest request first, until it is full", usual.by_age.1),
        ("The same kilos of each powder", usual.same_kilos.1),
    ];
    let rows = all.into_iter().enumerate();
    rows.map(|(n, (name, averts))| WayRow {
        name,
        ours: n == 0,
        averts: loss(averts.max(0)),
        less: match ours - averts {
            _ if n == 0 => String::new(),
            less if less >= 0 => format!("{} less", loss(less)),
            more => format!("{} more", loss(-more)),
        },
    })
    .collect()
}

/// How good the packing is by single worths.
fn packed(proposal: &Proposal) -> String {
    let packed = &proposal.packed;
    let tried = whole(i64::try_from(proposal.tried).unwrap_or(i64::MAX));
    let proof = if packed.proven {
        "The packing by single worths is proven best".to_owned()
    } else {
        let gap = (packed.bound - packed.worth).max(0) * 1000 / packed.bound.max(1);
        format!(
            "The packing by single worths is at most {} % below the best possible",
            plain_decimal(gap + 1, 1)
        )
    };
    format!(
        "{proof}; from there {tried} whole loads were planned with, and the best of them is this."
    )
}
