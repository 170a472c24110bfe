//! Holds as pages list them.

use super::queries::Hold;
use super::{Cause, Verdict, path};
use crate::page::Layout;
use crate::words::authority::came_word;

/// One hold with what was judged of it.
pub struct HoldRow {
    pub number: i64,
    pub path: String,
    pub request: i64,
    pub cause: &'static str,
    pub what: String,
    pub by: String,
    pub is_open: bool,
    /// 'fit as it is, by the owner's engineer (radio)': empty while it is open.
    pub verdict: String,
    pub reason: String,
    pub judged: String,
}

/// The newest first, those that are open before the others.
pub fn hold_rows(page: &Layout, holds: &[Hold]) -> Vec<HoldRow> {
    let mut rows: Vec<HoldRow> = holds.iter().rev().map(|hold| row(page, hold)).collect();
    rows.sort_by_key(|row| !row.is_open);
    rows
}

fn row(page: &Layout, hold: &Hold) -> HoldRow {
    let judged = hold.judged.as_ref();
    HoldRow {
        number: hold.number,
        path: path(hold.number),
        request: hold.request,
        cause: cause(hold.cause),
        what: hold.what.clone(),
        by: format!("{}, {}", hold.by, page.moment(&hold.held_ms)),
        is_open: hold.is_open(),
        verdict: judged.map_or_else(String::new, |judged| {
            let said = verdict(judged.verdict);
            format!("{said}: {}, {}", judged.said_by, came_word(judged.came))
        }),
        reason: judged.map_or_else(String::new, |judged| judged.reason.clone()),
        judged: judged.map_or_else(String::new, |judged| {
            let at = page.moment(&judged.at_ms);
            format!(
                "recorded by {}, {at}, journal {}",
                judged.by, judged.sequence
            )
        }),
    }
}

pub const fn cause(cause: Cause) -> &'static str {
    match cause {
        Cause::Size => "size",
        Cause::Coupon => "coupon",
        Cause::Crack => "crack",
        Cause::Furnace => "furnace",
        Cause::Tool => "measuring tool",
        Cause::Lot => "powder",
        Cause::Hand => "put on hold",
    }
}

pub const fn verdict(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Fit => "Fit as it is",
        Verdict::Rework => "Goes back",
        Verdict::Scrap => "Scrapped",
    }
}
