use mendpost_core::people::Act;

use crate::need;
use crate::page::Screen;
use crate::seed::need::{ASSETS, CAPABILITIES};
use crate::seed::part::PARTS;
use crate::seed::powder::{CONTAINERS, LOTS};
use crate::seed::recipe::{OPERATIONS, RECIPES};
use crate::seed::sheet::Sheet;
use crate::seed::spray::SHEET as SPRAYS;

/// What can be taken out and brought in as sheets.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    Assets,
    Capabilities,
    Parts,
    Recipes,
    Lots,
}

impl Kind {
    /// In the order in which a new site enters them.
    pub const ALL: [Kind; 5] = [
        Kind::Assets,
        Kind::Capabilities,
        Kind::Parts,
        Kind::Recipes,
        Kind::Lots,
    ];

    /// The word in addresses, in the journal and on pages.
    pub const fn word(self) -> &'static str {
        match self {
            Kind::Assets => "assets",
            Kind::Capabilities => "capabilities",
            Kind::Parts => "parts",
            Kind::Recipes => "recipes",
            Kind::Lots => "lots",
        }
    }

    /// One of them.
    pub const fn one(self) -> &'static str {
        match self {
            Kind::Assets => "asset",
            Kind::Capabilities => "capability",
            Kind::Parts => "part",
            Kind::Recipes => "revision of a recipe",
            Kind::Lots => "lot",
        }
    }

    /// '1 part', '2 000 parts'.
    pub fn count(self, number: usize) -> String {
        let many = match self {
            Kind::Recipes => "revisions of recipes",
            _ => self.word(),
        };
        let word = if number == 1 { self.one() } else { many };
        format!("{} {word}", super::pages::figure(number))
    }

    /// Its sheets, the one that lists the codes first. Sheets and not references to them: of a constant
    /// that holds one reference alone, LLVM 22 got the address of its end wrong in an optimised build
    /// (the global offset table's entry was taken for the constant), and the service crashed.
    pub(crate) fn sheets(self) -> &'static [Sheet] {
        match self {
            Kind::Assets => &[ASSETS],
            Kind::Capabilities => &[CAPABILITIES],
            Kind::Parts => &[PARTS],
            Kind::Recipes => &[RECIPES, OPERATIONS, SPRAYS],
            Kind::Lots => &[LOTS, CONTAINERS],
        }
    }

    pub const fn path(self) -> &'static str {
        match self {
            Kind::Assets => "/site/sheets/assets",
            Kind::Capabilities => "/site/sheets/capabilities",
            Kind::Parts => "/site/sheets/parts",
            Kind::Recipes => "/site/sheets/recipes",
            Kind::Lots => "/site/sheets/lots",
        }
    }

    /// Where the form of the preview goes.
    pub const fn import_path(self) -> &'static str {
        match self {
            Kind::Assets => "/site/sheets/assets/import",
            Kind::Capabilities => "/site/sheets/capabilities/import",
            Kind::Parts => "/site/sheets/parts/import",
            Kind::Recipes => "/site/sheets/recipes/import",
            Kind::Lots => "/site/sheets/lots/import",
        }
    }

    /// Who may bring them in.
    pub const fn act(self) -> Act {
        match self {
            Kind::Assets | Kind::Capabilities | Kind::Parts | Kind::Recipes => Act::SetUpSite,
            Kind::Lots => Act::EnterLots,
        }
    }

    /// Where they are looked at.
    pub fn looked_at(self) -> &'static str {
        match self {
            Kind::Assets | Kind::Capabilities => need::PATH,
            Kind::Parts | Kind::Recipes => Screen::Catalogue.path(),
            Kind::Lots => Screen::Powder.path(),
        }
    }

    /// What an import does and leaves alone, in one sentence.
    pub const fn rule(self) -> &'static str {
        match self {
            Kind::Assets => {
                "New assets are listed and names changed; an asset that is listed goes down and up, and is retired, on its own page."
            }
            Kind::Capabilities => {
                "New capabilities are listed; changed figures are a new version of what was said, and the old one stays on record. One that is retired is not among them."
            }
            Kind::Parts => {
                "New parts are listed and figures changed; where less may be asked for before a part is built, the preview says so and asks why. Retired assets are not in it; a part goes on fitting those that it fits."
            }
            Kind::Recipes => {
                "New revisions come in as drafts, and somebody approves them by name afterwards; a revision that is entered is never changed by a sheet."
            }
            Kind::Lots => {
                "New lots come in arrived or in quarantine and wait for their release; a lot that is in the book is never changed by a sheet."
            }
        }
    }
}
