//! Who may do what: roles, acts, and the one table that joins them.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use thiserror::Error;

/// Whether a person of this role may do this act.
///
/// Common practice, no source: the person who lays metal down is not the one who lets it go, the lead
/// sets the order of work, the storekeeper answers for the powder, and anybody on the crew may say
/// that a machine is broken.
pub fn may(role: Role, act: Act) -> bool {
    use Role::{Checker, Crew, Lead, Storekeeper, Viewer};
    let roles: &[Role] = match act {
        Act::Look => &[Crew, Checker, Lead, Storekeeper, Viewer],
        Act::FileRequest | Act::Attach | Act::ReportAsset | Act::WatchInterim => {
            &[Crew, Checker, Lead, Storekeeper]
        }
        Act::Plan => &[Crew, Checker, Lead, Storekeeper],
        Act::AcceptLineUp | Act::KeepBack => &[Lead],
        Act::HoldLot => &[Crew, Checker, Lead, Storekeeper],
        Act::ReleaseLot => &[Checker, Lead, Storekeeper],
        Act::AdjustBook | Act::EnterLots | Act::KeepItems => &[Lead, Storekeeper],
        Act::RecordYes => &[Checker, Lead],
        Act::SortRequest | Act::ReleasePart => &[Checker, Lead],
        Act::DoWork => &[Crew, Checker, Lead],
        Act::KeepTools => &[Checker, Lead],
        Act::WriteRecipe | Act::ApproveRecipe => &[Checker, Lead],
        Act::CountKit => &[Checker, Lead, Storekeeper],
        Act::BookPowder => &[Crew, Lead, Storekeeper],
        Act::WeighBuild => &[Crew, Lead],
        Act::ReadGauges => &[Crew, Checker, Lead, Storekeeper],
        Act::ConfirmClock => &[Crew, Checker, Lead, Storekeeper],
        Act::HandOver => &[Crew, Checker, Lead, Storekeeper],
        Act::SetUpSite => &[Lead],
    };
    roles.contains(&role)
}

/// What a person answers for on the crew.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Role {
    /// Sprays, feeds the furnace, fits parts.
    Crew,
    /// Cuts, measures and checks what the crew has built.
    Checker,
    /// Decides the order of work.
    Lead,
    /// Answers for lots, counts and the load list.
    Storekeeper,
    /// Reads everything, changes nothing.
    Viewer,
}

impl Role {
    /// All roles, in the order in which they are shown.
    pub const ALL: [Role; 5] = [
        Role::Lead,
        Role::Crew,
        Role::Checker,
        Role::Storekeeper,
        Role::Viewer,
    ];

    /// The word by which the role is stored and shown.
    pub fn as_str(self) -> &'static str {
        match self {
            Role::Crew => "crew",
            Role::Checker => "checker",
            Role::Lead => "lead",
            Role::Storekeeper => "storekeeper",
            Role::Viewer => "viewer",
        }
    }
}

impl fmt::Display for Role {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

/// A word that names no role.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("'{given}' is no role; choose lead, crew, checker, storekeeper or viewer")]
pub struct UnknownRole {
    /// What was given.
    pub given: String,
}

impl FromStr for Role {
    type Err = UnknownRole;

    fn from_str(word: &str) -> Result<Self, UnknownRole> {
        Role::ALL
            .into_iter()
            .find(|role| role.as_str() == word)
            .ok_or_else(|| UnknownRole {
                given: word.to_owned(),
            })
    }
}

/// Something that a role may or may not do; every route of the service names the act it needs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Act {
    /// Read any page.
    Look,
    /// Report a damaged, worn or interim part, and change that report.
    FileRequest,
    /// Say that an asset is down, will go down, or runs.
    ReportAsset,
    /// Add photos and papers to a request or a lot, and take off one's own.
    Attach,
    /// Enter an interim part that went out, read its meter, take it off and say what became of it.
    WatchInterim,
    /// Have the line-up computed again.
    Plan,
    /// Make a line-up the one that the crew works to.
    AcceptLineUp,
    /// Keep powder or gas back for named machines, and give it up again.
    KeepBack,
    /// Stop a lot, so that nobody draws from it.
    HoldLot,
    /// Say that a lot may be sprayed.
    ReleaseLot,
    /// Enter lots that came, with their containers; they wait for their release.
    EnterLots,
    /// Say what the depot can send, what trips may carry, by which rules, and how often parts fail.
    KeepItems,
    /// Set the book to what was weighed.
    AdjustBook,
    /// Record a yes that somebody outside the crew gave.
    RecordYes,
    /// Say by which ways a request may be served, or that it is not served here.
    SortRequest,
    /// Enter that an operation of a recipe is done.
    DoWork,
    /// List measuring tools and enter their calibrations.
    KeepTools,
    /// Let a part go that was built here, and judge one that is on hold.
    ReleasePart,
    /// Write parts, recipes, base metals and kit of the catalogue.
    WriteRecipe,
    /// Say that a recipe which somebody else wrote may be built by.
    ApproveRecipe,
    /// Say how many plates and fixtures are here.
    CountKit,
    /// Enter a movement of powder.
    BookPowder,
    /// Enter what was fed and deposited in a build, and strike it out.
    WeighBuild,
    /// Enter what a gauge or a tank shows.
    ReadGauges,
    /// Say what a watch shows, when the clock is in doubt.
    ConfirmClock,
    /// Open a shift, write down what happens in it, hand it over and take it over.
    HandOver,
    /// Change the site, its people, its stations, its assets and what it needs of them.
    SetUpSite,
}

impl Act {
    /// All acts, in the order in which they are shown.
    pub const ALL: &'static [Act] = &[
        Act::Look,
        Act::FileRequest,
        Act::ReportAsset,
        Act::Attach,
        Act::WatchInterim,
        Act::Plan,
        Act::AcceptLineUp,
        Act::KeepBack,
        Act::HoldLot,
        Act::ReleaseLot,
        Act::EnterLots,
        Act::KeepItems,
        Act::AdjustBook,
        Act::RecordYes,
        Act::SortRequest,
        Act::DoWork,
        Act::KeepTools,
        Act::ReleasePart,
        Act::WriteRecipe,
        Act::ApproveRecipe,
        Act::CountKit,
        Act::BookPowder,
        Act::WeighBuild,
        Act::ReadGauges,
        Act::ConfirmClock,
        Act::HandOver,
        Act::SetUpSite,
    ];
}

impl fmt::Display for Act {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Act::Look => "read the pages",
            Act::FileRequest => "file a request",
            Act::ReportAsset => "report an asset down or up",
            Act::Attach => "add photos and papers",
            Act::WatchInterim => "watch over interim parts",
            Act::Plan => "plan again",
            Act::AcceptLineUp => "say which line-up the crew works to",
            Act::KeepBack => "keep powder or gas back, and give it up",
            Act::HoldLot => "stop a lot",
            Act::ReleaseLot => "release a lot",
            Act::EnterLots => "enter lots that came",
            Act::KeepItems => "keep the depot’s items, trips and rates",
            Act::AdjustBook => "set the book to what was weighed",
            Act::RecordYes => "record a yes",
            Act::SortRequest => "sort a request",
            Act::DoWork => "enter work done",
            Act::KeepTools => "keep measuring tools",
            Act::ReleasePart => "release a part, or judge one on hold",
            Act::WriteRecipe => "write parts and recipes",
            Act::ApproveRecipe => "approve a recipe",
            Act::CountKit => "count plates and fixtures",
            Act::BookPowder => "book powder",
            Act::WeighBuild => "enter a weighed build",
            Act::ReadGauges => "enter a reading",
            Act::ConfirmClock => "confirm the clock",
            Act::HandOver => "hand over a shift or take it over",
            Act::SetUpSite => "set up the site",
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A viewer reads and does nothing else; the lead may do everything.
    #[test]
    fn viewer_only_looks_and_lead_does_all() {
        for act in Act::ALL.iter().copied() {
            assert_eq!(may(Role::Viewer, act), act == Act::Look, "viewer: {act}");
            assert!(may(Role::Lead, act), "lead: {act}");
        }
    }

    /// The order of work is the lead's alone.
    #[test]
    fn only_the_lead_accepts_a_line_up() {
        let allowed: Vec<Role> = Role::ALL
            .into_iter()
            .filter(|role| may(*role, Act::AcceptLineUp))
            .collect();
        assert_eq!(allowed, [Role::Lead]);
    }

    #[test]
    fn role_words_round_trip_and_others_are_refused() {
        for role in Role::ALL {
            assert_eq!(role.as_str().parse(), Ok(role));
        }
        let error = "boss".parse::<Role>().expect_err("no such role");
        assert_eq!(
            error.to_string(),
            "'boss' is no role; choose lead, crew, checker, storekeeper or viewer"
        );
    }
}
