//! What those who may say yes have answered about a request, as its page lists it.

use mendpost_core::catalogue::Answer;

use super::queries::Told;
use crate::page::Layout;
use crate::words::authority::{about_word, came_word};
use crate::words::{Words, who_word};

/// An answer as a row shows it.
pub struct AnswerRow {
    pub about: &'static str,
    pub who: &'static str,
    pub name: String,
    pub words: String,
    pub limits: String,
    pub next_look: String,
    pub said: String,
    pub came: &'static str,
    /// 'given 24 Nov 2026 09:00, typed in by Machinist'.
    pub given: String,
    /// Address and words of its paper.
    pub paper: Option<(String, String)>,
}

/// The answers about a request, the newest first; `told` is of each when it was given, in the same order.
pub fn answer_rows(
    page: &Layout,
    words: &Words<'_>,
    answers: &[Answer],
    told: &[Told],
) -> Vec<AnswerRow> {
    answers
        .iter()
        .zip(told)
        .rev()
        .map(|(answer, told)| answer_row(page, words, answer, told))
        .collect()
}

fn answer_row(page: &Layout, words: &Words<'_>, answer: &Answer, told: &Told) -> AnswerRow {
    let given = page.moment(&told.given_ms);
    AnswerRow {
        about: about_word(answer.about),
        who: who_word(answer.who),
        name: answer.name.clone(),
        words: answer.words.clone(),
        limits: answer.limits.clone(),
        next_look: told.next_look.clone(),
        said: words.said(answer),
        came: came_word(answer.came),
        paper: told.paper.as_ref().map(|paper| {
            let off = if paper.is_off {
                ", taken off since"
            } else {
                ""
            };
            (
                format!("/attachments/{}", paper.hash),
                format!("{}{off}", paper.name),
            )
        }),
        given: match told.typed_by.as_str() {
            "" => format!("given {given}"),
            by => format!("given {given}, typed in by {by}"),
        },
    }
}
