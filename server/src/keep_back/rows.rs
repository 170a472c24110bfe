//! Keep-backs as pages list them.

use mendpost_core::lineup::{Averted, LineUp, holdings};
use mendpost_core::situation::{KeepBack, Situation};

use crate::lineup::Worths;
use crate::page::loss;
use crate::words::Words;

/// One keep-back as it stands.
pub struct Row {
    pub number: i64,
    /// '1 500 g of aluminium bronze'.
    pub what: String,
    /// 'for feed pump 1 and feed pump 2'.
    pub whom: String,
    /// All of it is there.
    pub whole: bool,
    /// How much is there, where, and for how long.
    pub lines: Vec<String>,
    /// That no recipe for the machines takes it; empty where one does.
    pub untaken: String,
    /// What holding it costs now.
    pub cost: String,
    pub reason: String,
    /// Since when, and who said so.
    pub since: String,
}

/// Every keep-back beside a line-up; what holding costs, where it was worked out for that one.
pub fn rows(situation: &Situation, newest: Option<(i64, &LineUp)>, worths: &Worths) -> Vec<Row> {
    let words = Words::new(situation);
    let unit = &situation.site.loss_word;
    let found = worths.shown().found;
    let of_newest = found.filter(|found| Some(found.number) == newest.map(|(number, _)| number));
    let cost = |keep_back: &KeepBack| {
        let mut holding = of_newest.iter().flat_map(|found| &found.measured.holding);
        let measured = holding.find(|(of, _)| of.number == keep_back.number);
        let other = measured.is_some_and(|(of, _)| of.grams != keep_back.grams);
        match measured.map(|(_, worth)| worth.averted) {
            Some(_) if other => {
                "What holding costs is not worked out for what is held now.".to_owned()
            }
            None => "What holding costs now is not worked out for this order.".to_owned(),
            Some(Averted::Loss(cost)) => format!("Holding it costs {} {unit} now.", loss(cost)),
            Some(Averted::NotMeasurable) => "What holding costs now is not measurable.".to_owned(),
            Some(Averted::Nothing) => "Holding it costs nothing now.".to_owned(),
        }
    };
    let line_up = newest.map(|(_, line_up)| line_up);
    let row = |holding: &mendpost_core::lineup::Holding<'_>| {
        let keep_back = holding.keep_back;
        Row {
            number: keep_back.number,
            what: words.held(&keep_back.held, keep_back.grams),
            whom: format!("for {}", words.machines(&keep_back.assets)),
            whole: holding.short_g() == 0,
            lines: words.holding(holding),
            untaken: words
                .untaken(&keep_back.held, &keep_back.assets)
                .unwrap_or_default(),
            cost: cost(keep_back),
            reason: keep_back.reason.clone(),
            since: format!(
                "since {}, {}",
                words.moment(keep_back.since),
                keep_back.said_by
            ),
        }
    };
    holdings(situation, line_up).iter().map(row).collect()
}
