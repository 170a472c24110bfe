//! Answers of those who may say yes, and whether they let a recipe be built or a part be released.

use super::authority::{About, Who};
use crate::code::RecipeCode;
use crate::word_enum;
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

word_enum! {
    /// How an answer came.
    Came {
        /// Said face to face.
        InPerson = "in-person",
        /// On signed paper.
        Paper = "paper",
        /// By radio or telephone.
        Radio = "radio",
        /// By mail, with the sender's name under it.
        Mail = "mail",
    }
}

impl Came {
    /// Somebody can read it again.
    #[must_use]
    pub const fn is_written(self) -> bool {
        matches!(self, Self::Paper | Self::Mail)
    }
}

/// What was answered.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Said {
    /// Yes.
    Yes {
        /// Until when it holds; without end if nothing was said.
        until: Option<DateTime<Utc>>,
        /// The one revision of a recipe that it is limited to.
        only: Option<(RecipeCode, i64)>,
    },
    /// No, or a yes taken back.
    No,
    /// Nothing yet: somebody has asked.
    Awaited {
        /// When the answer is expected; none if nobody said.
        expected: Option<DateTime<Utc>>,
    },
}

/// An answer on record: Mendpost keeps it and never gives one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answer {
    /// To what.
    pub about: About,
    /// In which capacity it was given.
    pub who: Who,
    /// The person's name or position.
    pub name: String,
    /// How it came.
    pub came: Came,
    /// What was said or written.
    pub words: String,
    /// Its limits in the same person's words; empty if there are none.
    pub limits: String,
    /// What was answered.
    pub said: Said,
}

/// What is asked: whose answer, to what, for which revision.
#[derive(Debug, Clone, Copy)]
pub struct Question<'a> {
    /// To what.
    pub about: About,
    /// Whose.
    pub who: Who,
    /// The recipe and its revision; none before one is chosen.
    pub recipe: Option<(&'a RecipeCode, i64)>,
    /// Every name under which somebody wrote a line of it.
    pub authors: &'a [&'a str],
    /// Only on paper or by mail.
    pub written: bool,
}

/// A yes that holds, or is to come.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Holds {
    /// Not given yet: when it is expected.
    pub expected: Option<DateTime<Utc>>,
    /// Until when it holds.
    pub until: Option<DateTime<Utc>>,
}

/// Why there is no yes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum NoYes {
    /// Nobody has answered, nor said when an answer will come.
    Missing,
    /// The answer was no.
    Declined,
    /// It held until then.
    Expired(DateTime<Utc>),
    /// It holds for this revision of a recipe alone.
    Limited(RecipeCode, i64),
    /// It was given by a person who wrote a line of the recipe.
    OfAuthor(String),
    /// It was said and not written.
    NotWritten,
    /// It was expected by then.
    Overdue(DateTime<Utc>),
    /// It is expected then, and not given yet.
    Awaited(DateTime<Utc>),
}

/// Whether a question is answered by yes at a moment, by the answers on record, the oldest first.
///
/// The last answer that speaks of this recipe counts; one limited to another recipe does not speak of it.
///
/// # Errors
/// Why not.
pub fn answered(
    question: &Question<'_>,
    answers: &[Answer],
    now: DateTime<Utc>,
) -> Result<Holds, NoYes> {
    let asked = || {
        answers
            .iter()
            .rev()
            .filter(|a| a.about == question.about && a.who == question.who)
    };
    let speaks = |answer: &&Answer| match &answer.said {
        Said::Yes {
            only: Some((code, revision)),
            ..
        } => question.recipe == Some((code, *revision)),
        _ => true,
    };
    let Some(answer) = asked().find(speaks) else {
        return Err(asked().find_map(limited).unwrap_or(NoYes::Missing));
    };
    let authors = || question.authors.iter();
    match &answer.said {
        Said::No => Err(NoYes::Declined),
        Said::Awaited { expected: None } => Err(NoYes::Missing),
        Said::Awaited { expected: Some(at) } if *at < now => Err(NoYes::Overdue(*at)),
        Said::Awaited { expected } => Ok(Holds {
            expected: *expected,
            until: None,
        }),
        Said::Yes { .. } if authors().any(|author| is_same_person(author, &answer.name)) => {
            Err(NoYes::OfAuthor(answer.name.clone()))
        }
        Said::Yes { .. } if question.written && !answer.came.is_written() => Err(NoYes::NotWritten),
        Said::Yes {
            until: Some(until), ..
        } if *until <= now => Err(NoYes::Expired(*until)),
        Said::Yes { until, .. } => Ok(Holds {
            expected: None,
            until: *until,
        }),
    }
}

fn limited(answer: &Answer) -> Option<NoYes> {
    match &answer.said {
        Said::Yes {
            only: Some((code, revision)),
            ..
        } => Some(NoYes::Limited(code.clone(), *revision)),
        _ => None,
    }
}

/// Whether two names are one person's, as a reader would say: capitals of any script make no other person.
#[must_use]
pub fn is_same_person(a: &str, b: &str) -> bool {
    let plain = |name: &str| name.trim().to_lowercase();
    !a.trim().is_empty() && plain(a) == plain(b)
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::TimeDelta;

    fn morning() -> DateTime<Utc> {
        "2026-11-25T09:00:00Z".parse().expect("a time")
    }

    fn hours(hours: i64) -> DateTime<Utc> {
        morning() + TimeDelta::hours(hours)
    }

    fn recipe() -> RecipeCode {
        "BR-031".parse().expect("a code")
    }

    fn yes(until: Option<DateTime<Utc>>, only: Option<(RecipeCode, i64)>) -> Said {
        Said::Yes { until, only }
    }

    fn answer(said: Said) -> Answer {
        Answer {
            about: About::Build,
            who: Who::OwnersEngineer,
            name: "Waterworks engineer".to_owned(),
            came: Came::Radio,
            words: "build one".to_owned(),
            limits: String::new(),
            said,
        }
    }

    fn of(answers: &[Answer]) -> Result<Holds, NoYes> {
        let code = recipe();
        let question = Question {
            about: About::Build,
            who: Who::OwnersEngineer,
            recipe: Some((&code, 2)),
            authors: &["Machinist", "Millwright"],
            written: false,
        };
        answered(&question, answers, morning())
    }

    const HOLDS: Result<Holds, NoYes> = Ok(Holds {
        expected: None,
        until: None,
    });

    /// The last answer counts: a yes taken back is a no, and one given again a yes.
    #[test]
    fn the_last_answer_counts() {
        let (given, back) = (answer(yes(None, None)), answer(Said::No));
        assert_eq!(of(&[]), Err(NoYes::Missing));
        assert_eq!(of(std::slice::from_ref(&given)), HOLDS);
        assert_eq!(of(&[given.clone(), back.clone()]), Err(NoYes::Declined));
        assert_eq!(of(&[given.clone(), back, given]), HOLDS);
    }

    /// To the minute at which it ends a yes holds no more.
    #[test]
    fn a_yes_that_has_run_out_is_none() {
        let until = |at| of(&[answer(yes(Some(at), None))]);
        assert_eq!(until(hours(0)), Err(NoYes::Expired(hours(0))));
        assert_eq!(
            until(hours(1)),
            Ok(Holds {
                expected: None,
                until: Some(hours(1))
            })
        );
    }

    /// A yes to revision 1 says nothing of revision 2; beside it one to revision 2 holds.
    #[test]
    fn a_yes_to_one_revision_holds_for_that_one() {
        let only = |revision| answer(yes(None, Some((recipe(), revision))));
        assert_eq!(of(&[only(1)]), Err(NoYes::Limited(recipe(), 1)));
        assert_eq!(of(&[only(2), only(1)]), HOLDS);
    }

    /// An answer to come counts from when it is expected, and no more once that has passed.
    #[test]
    fn an_answer_that_is_awaited() {
        let awaited = |expected| of(&[answer(Said::Awaited { expected })]);
        assert_eq!(awaited(None), Err(NoYes::Missing));
        assert_eq!(awaited(Some(hours(-1))), Err(NoYes::Overdue(hours(-1))));
        assert_eq!(
            awaited(Some(hours(6))),
            Ok(Holds {
                expected: Some(hours(6)),
                until: None
            })
        );
    }

    /// Whoever wrote a line of the recipe does not say yes to it, and the examiner does not for the engineer.
    #[test]
    fn by_the_author_or_in_another_capacity_it_does_not_count() {
        for author in ["machinist ", "Machinist", " millwright"] {
            let mut own = answer(yes(None, None));
            own.name = author.to_owned();
            assert_eq!(of(&[own]), Err(NoYes::OfAuthor(author.to_owned())));
        }
        let mut other = answer(yes(None, None));
        other.who = Who::LiftingExaminer;
        assert_eq!(of(&[other.clone()]), Err(NoYes::Missing));
        other.who = Who::OwnersEngineer;
        other.about = About::Release;
        assert_eq!(of(&[other]), Err(NoYes::Missing));
    }

    /// Where a written yes is asked for, one by radio is a promise of one.
    #[test]
    fn a_written_yes_is_on_paper_or_by_mail() {
        let code = recipe();
        let question = Question {
            about: About::Build,
            who: Who::OwnersEngineer,
            recipe: Some((&code, 2)),
            authors: &[],
            written: true,
        };
        let mut given = answer(yes(None, None));
        for (came, holds) in [
            (Came::InPerson, Err(NoYes::NotWritten)),
            (Came::Radio, Err(NoYes::NotWritten)),
            (Came::Paper, HOLDS),
            (Came::Mail, HOLDS),
        ] {
            given.came = came;
            assert_eq!(answered(&question, &[given.clone()], morning()), holds);
        }
    }
}
