//! What the lines of each kind say.

use super::words::{Rest, day, minute, spoken};
use super::{End, Heard, Misheard, Why, hear, lines};
use crate::code::{BankCode, DeliveryCode, ItemCode, LotCode, PowderCode};
use crate::powder::LotState;
use crate::resupply::list::LoadList;
use crate::resupply::list::answer::{Answer, AnswerLine, Instead};
use chrono::{DateTime, NaiveDate, Utc};
use std::collections::BTreeMap;

/// What was read off a text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Message {
    /// What a load list asks for.
    Request(Request),
    /// What is on hand.
    Stock(Stock),
    /// The depot's answer; what the lines do not carry (who answers, notes) is empty.
    Answer(Answer),
}

/// What a load list asks for, as far as its lines carry it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Request {
    /// The number of the list.
    pub list: i64,
    /// The trip that it is for.
    pub trip: DeliveryCode,
    /// By line.
    pub lines: BTreeMap<i64, Asked>,
}

/// What one line of a load list asks for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Asked {
    /// The stock number.
    pub item: ItemCode,
    /// How many units.
    pub units: i64,
    /// 1: must go.
    pub priority: i64,
    /// By when it is needed.
    pub needed_by: Option<DateTime<Utc>>,
}

/// What is on hand.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stock {
    /// When.
    pub at: DateTime<Utc>,
    /// By number, from 1.
    pub entries: Vec<OnHand>,
}

/// One thing of which there is something.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum OnHand {
    /// A lot of powder.
    Lot {
        /// Which.
        lot: LotCode,
        /// Of what.
        powder: PowderCode,
        /// Whole grams, rounded down.
        grams: i64,
        /// Where it stands.
        state: LotState,
        /// The last day on which it may be sprayed.
        use_by: Option<NaiveDate>,
    },
    /// A bank of bottles.
    Bank {
        /// Which.
        bank: BankCode,
        /// How many bottles.
        bottles: i64,
        /// Pressure read last, absolute, in millibar.
        mbar: i64,
    },
    /// Fuel for the set, in millilitres.
    Fuel {
        /// How much.
        ml: i64,
    },
    /// A consumable, as counted.
    Item {
        /// Which.
        item: ItemCode,
        /// How many units.
        units: i64,
    },
}

impl LoadList {
    /// What it asks for; lines of which all was taken back are left out.
    #[must_use]
    pub fn request(&self) -> Request {
        let asked = self.asked();
        let open = self.lines.iter().filter_map(|line| {
            let units = asked
                .get(&line.number)
                .copied()
                .filter(|units| *units > 0)?;
            let asked = Asked {
                item: line.item.clone(),
                units,
                priority: line.priority,
                needed_by: line.needed_by,
            };
            Some((line.number, asked))
        });
        Request {
            list: self.number,
            trip: self.trip.clone(),
            lines: open.collect(),
        }
    }
}

impl Request {
    /// Its lines to be read out.
    #[must_use]
    pub fn radio(&self) -> Vec<String> {
        let mut said = vec![format!(
            "LOAD LIST {} TRIP {}",
            self.list,
            spoken(self.trip.as_str())
        )];
        for (number, line) in &self.lines {
            let item = spoken(line.item.as_str());
            said.push(format!("LINE {number} SEND {} OF {item}", line.units));
            let by = line
                .needed_by
                .map_or_else(String::new, |at| format!(" BY {}", minute(at)));
            said.push(format!("LINE {number} PRIORITY {}{by}", line.priority));
        }
        lines(&said)
    }
}

impl Stock {
    /// Its lines to be read out.
    #[must_use]
    pub fn radio(&self) -> Vec<String> {
        let mut said = vec![format!("STOCK AT {}", minute(self.at))];
        for (n, entry) in (1..).zip(&self.entries) {
            said.extend(entry.said().into_iter().map(|it| format!("ENTRY {n} {it}")));
        }
        lines(&said)
    }
}

impl OnHand {
    fn said(&self) -> Vec<String> {
        match self {
            OnHand::Lot {
                lot,
                powder,
                grams,
                state,
                use_by,
            } => {
                let state = state.as_str().to_uppercase();
                let by = use_by.map_or_else(String::new, |it| format!(" BY {}", day(it)));
                vec![
                    format!("LOT {}", spoken(lot.as_str())),
                    format!("POWDER {}", spoken(powder.as_str())),
                    format!("GRAMS {grams} {state}{by}"),
                ]
            }
            OnHand::Bank {
                bank,
                bottles,
                mbar,
            } => vec![
                format!("BANK {}", spoken(bank.as_str())),
                format!("BOTTLES {bottles} MILLIBAR {mbar}"),
            ],
            OnHand::Fuel { ml } => vec![format!("FUEL MILLILITRES {ml}")],
            OnHand::Item { item, units } => vec![
                format!("ITEM {}", spoken(item.as_str())),
                format!("COUNT {units}"),
            ],
        }
    }
}

impl Answer {
    /// Its lines to be read out. Who answers and the notes are not among them.
    #[must_use]
    pub fn radio(&self) -> Vec<String> {
        let trip = spoken(self.trip.as_str());
        let mut said = vec![format!("ANSWER TO LIST {} TRIP {trip}", self.list)];
        said.extend(self.arrival.map(|at| format!("ARRIVES {}", minute(at))));
        for line in &self.lines {
            let n = line.line;
            let (sent, cut, later) = (line.sent, line.cut, line.later);
            said.push(format!("LINE {n} SENT {sent} CUT {cut} LATER {later}"));
            said.extend(
                line.later_on
                    .map(|on| format!("LINE {n} LATER ON {}", day(on))),
            );
            said.extend(line.instead.as_ref().map(|it| {
                format!(
                    "LINE {n} INSTEAD {} OF {}",
                    it.units,
                    spoken(it.item.as_str())
                )
            }));
            if !line.consignment.is_empty() {
                said.push(format!(
                    "LINE {n} CONSIGNMENT {}",
                    spoken(&line.consignment)
                ));
            }
        }
        lines(&said)
    }
}

/// What one line says.
enum Said {
    List(i64, DeliveryCode),
    Send(i64, i64, ItemCode),
    Priority(i64, i64, Option<DateTime<Utc>>),
    Stock(DateTime<Utc>),
    Entry(i64, Part),
    AnswerTo(i64, DeliveryCode),
    Arrives(DateTime<Utc>),
    Sent(i64, [i64; 3]),
    LaterOn(i64, NaiveDate),
    InsteadOf(i64, Instead),
    Consignment(i64, String),
}

/// What a line of the stock report says of its entry.
enum Part {
    Lot(LotCode),
    Powder(PowderCode),
    Grams(i64, LotState, Option<NaiveDate>),
    Bank(BankCode),
    Bottles(i64, i64),
    Fuel(i64),
    Item(ItemCode),
    Count(i64),
}

fn understood(line: &str) -> Option<Said> {
    let each = [of_list, of_line, of_answer, of_stock];
    each.iter().find_map(|read| read(Rest(line)))
}

fn of_list(mut it: Rest) -> Option<Said> {
    it.word("LOADLIST")?;
    let list = it.number()?;
    it.word("TRIP")?;
    Some(Said::List(list, it.code()?))
}

fn of_line(mut it: Rest) -> Option<Said> {
    it.word("LINE")?;
    let line = it.number()?;
    if it.word("SENT").is_some() {
        let sent = it.number()?;
        it.word("CUT")?;
        let cut = it.number()?;
        it.word("LATER")?;
        let said = Said::Sent(line, [sent, cut, it.number()?]);
        return it.end().map(|()| said);
    }
    if it.word("LATERON").is_some() {
        let said = Said::LaterOn(line, it.day()?);
        return it.end().map(|()| said);
    }
    if it.word("CONSIGNMENT").is_some() {
        let code: ItemCode = it.code()?;
        return Some(Said::Consignment(line, code.into()));
    }
    if it.word("PRIORITY").is_some() {
        let priority = it.number()?;
        let by = if it.word("BY").is_some() {
            Some(it.minute()?)
        } else {
            None
        };
        return it.end().map(|()| Said::Priority(line, priority, by));
    }
    let instead = it.word("INSTEAD").is_some();
    if !instead {
        it.word("SEND")?;
    }
    let units = it.number()?;
    it.word("OF")?;
    let item = it.code()?;
    Some(match instead {
        true => Said::InsteadOf(line, Instead { item, units }),
        false => Said::Send(line, units, item),
    })
}

fn of_answer(mut it: Rest) -> Option<Said> {
    if it.word("ARRIVES").is_some() {
        let at = it.minute()?;
        return it.end().map(|()| Said::Arrives(at));
    }
    it.word("ANSWERTOLIST")?;
    let list = it.number()?;
    it.word("TRIP")?;
    Some(Said::AnswerTo(list, it.code()?))
}

fn of_stock(mut it: Rest) -> Option<Said> {
    if it.word("STOCKAT").is_some() {
        let at = it.minute()?;
        return it.end().map(|()| Said::Stock(at));
    }
    it.word("ENTRY")?;
    let entry = it.number()?;
    Some(Said::Entry(entry, part(it)?))
}

fn part(mut it: Rest) -> Option<Part> {
    if it.word("LOT").is_some() {
        return it.code().map(Part::Lot);
    }
    if it.word("POWDER").is_some() {
        return it.code().map(Part::Powder);
    }
    if it.word("BANK").is_some() {
        return it.code().map(Part::Bank);
    }
    if it.word("ITEM").is_some() {
        return it.code().map(Part::Item);
    }
    let part = if it.word("GRAMS").is_some() {
        let grams = it.number()?;
        let mut states = LotState::ALL.iter();
        let state = states.find(|state| it.word(&state.as_str().to_uppercase()).is_some())?;
        let by = if it.word("BY").is_some() {
            Some(it.day()?)
        } else {
            None
        };
        Part::Grams(grams, *state, by)
    } else if it.word("BOTTLES").is_some() {
        let bottles = it.number()?;
        it.word("MILLIBAR")?;
        Part::Bottles(bottles, it.number()?)
    } else if it.word("FUELMILLILITRES").is_some() {
        Part::Fuel(it.number()?)
    } else {
        it.word("COUNT")?;
        Part::Count(it.number()?)
    };
    it.end().map(|()| part)
}

/// Reads a text: what was heard of it, and what it says, as far as it was heard. Lines that fit and say
/// nothing that belongs to a text of its kind are misheard.
///
/// The message is none where not even its kind was heard.
#[must_use]
pub fn read(text: &str) -> (Heard, Option<Message>) {
    let mut heard = hear(text);
    let mut said = BTreeMap::new();
    let mut senseless = Vec::new();
    for (number, line) in &heard.lines {
        match understood(line) {
            Some(it) => drop(said.insert(*number, it)),
            None => senseless.push(*number),
        }
    }
    let message = said.remove(&1).and_then(|head| match head {
        Said::List(list, trip) => Some(request(list, trip, said, &mut senseless)),
        Said::Stock(at) => Some(stock(at, said, &mut senseless)),
        Said::AnswerTo(list, trip) => Some(answer(list, trip, said, &mut senseless)),
        _ => {
            senseless.push(1);
            None
        }
    });
    for number in senseless {
        if let Some(given) = heard.lines.remove(&number) {
            let (row, number, why) = (row_of(text, number), Some(number), Why::Sense);
            heard.misheard.push(Misheard {
                row,
                given,
                number,
                why,
            });
            heard.end = End::Open;
        }
    }
    heard.misheard.sort_by_key(|it| it.row);
    (heard, message)
}

/// The row of a text that a line of this number begins, or its first where it runs on in another.
fn row_of(text: &str, number: usize) -> usize {
    let mut rows = (1..).zip(text.lines());
    let found = rows.find(|(_, row)| super::number(&super::bare(row)) == Some(number));
    found.map_or(1, |(row, _)| row)
}

fn request(
    list: i64,
    trip: DeliveryCode,
    said: BTreeMap<usize, Said>,
    senseless: &mut Vec<usize>,
) -> Message {
    let (mut sends, mut priorities) = (BTreeMap::new(), BTreeMap::new());
    for (number, said) in said {
        match said {
            Said::Send(line, units, item) => drop(sends.insert(line, (units, item))),
            Said::Priority(line, priority, by) => drop(priorities.insert(line, (priority, by))),
            _ => senseless.push(number),
        }
    }
    let lines = sends.into_iter().map(|(line, (units, item))| {
        // Where its priority was not heard it stands as must go: what is missing is told besides.
        let (priority, needed_by) = priorities.get(&line).copied().unwrap_or((1, None));
        (
            line,
            Asked {
                item,
                units,
                priority,
                needed_by,
            },
        )
    });
    Message::Request(Request {
        list,
        trip,
        lines: lines.collect(),
    })
}

fn answer(
    list: i64,
    trip: DeliveryCode,
    said: BTreeMap<usize, Said>,
    senseless: &mut Vec<usize>,
) -> Message {
    let mut arrival = None;
    let mut lines: BTreeMap<i64, AnswerLine> = BTreeMap::new();
    for (number, said) in said {
        match said {
            Said::Arrives(at) => arrival = Some(at),
            Said::Sent(line, [sent, cut, later]) => {
                let it = of(&mut lines, line);
                (it.sent, it.cut, it.later) = (sent, cut, later);
            }
            Said::LaterOn(line, on) => of(&mut lines, line).later_on = Some(on),
            Said::InsteadOf(line, instead) => of(&mut lines, line).instead = Some(instead),
            Said::Consignment(line, it) => of(&mut lines, line).consignment = it,
            _ => senseless.push(number),
        }
    }
    Message::Answer(Answer {
        list,
        trip,
        by: String::new(),
        arrival,
        lines: lines.into_values().collect(),
    })
}

fn of(lines: &mut BTreeMap<i64, AnswerLine>, line: i64) -> &mut AnswerLine {
    let blank = || AnswerLine {
        line,
        ..AnswerLine::default()
    };
    lines.entry(line).or_insert_with(blank)
}

#[derive(Default)]
struct Gathered {
    lot: Option<LotCode>,
    powder: Option<PowderCode>,
    grams: Option<(i64, LotState, Option<NaiveDate>)>,
    bank: Option<BankCode>,
    bottles: Option<(i64, i64)>,
    fuel: Option<i64>,
    item: Option<ItemCode>,
    count: Option<i64>,
}

impl Gathered {
    fn take(&mut self, part: Part) {
        match part {
            Part::Lot(lot) => self.lot = Some(lot),
            Part::Powder(powder) => self.powder = Some(powder),
            Part::Grams(grams, state, by) => self.grams = Some((grams, state, by)),
            Part::Bank(bank) => self.bank = Some(bank),
            Part::Bottles(bottles, mbar) => self.bottles = Some((bottles, mbar)),
            Part::Fuel(ml) => self.fuel = Some(ml),
            Part::Item(item) => self.item = Some(item),
            Part::Count(units) => self.count = Some(units),
        }
    }

    /// The entry, if all of it was heard.
    fn whole(self) -> Option<OnHand> {
        if let Some(ml) = self.fuel {
            return Some(OnHand::Fuel { ml });
        }
        if let Some((item, units)) = self.item.zip(self.count) {
            return Some(OnHand::Item { item, units });
        }
        if let Some((bank, (bottles, mbar))) = self.bank.zip(self.bottles) {
            return Some(OnHand::Bank {
                bank,
                bottles,
                mbar,
            });
        }
        let (grams, state, use_by) = self.grams?;
        Some(OnHand::Lot {
            lot: self.lot?,
            powder: self.powder?,
            grams,
            state,
            use_by,
        })
    }
}

fn stock(at: DateTime<Utc>, said: BTreeMap<usize, Said>, senseless: &mut Vec<usize>) -> Message {
    let mut gathered: BTreeMap<i64, Gathered> = BTreeMap::new();
    for (number, said) in said {
        match said {
            Said::Entry(entry, part) => gathered.entry(entry).or_default().take(part),
            _ => senseless.push(number),
        }
    }
    let entries = gathered.into_values().filter_map(Gathered::whole);
    Message::Stock(Stock {
        at,
        entries: entries.collect(),
    })
}
