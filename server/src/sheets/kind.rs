use mendpost_core::people::Act;

use crate::need;
use crate::page::Screen;
use crate::seed::need::{ASSETS, CAPABILITIES};
use crate::seed::part::PARTS;
use crate::seed::powder::{CONTAINERS, LOTS};
use crate::seed::sheet::Sheet;

/// What can be taken out and brought in as sheets.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    Assets,
    Capabilities,
    Parts,
    Lots,
}

impl Kind {
    /// In the order in which a new site enters them.
    pub const ALL: [Kind; 4] = [Kind::Assets, Kind::Capabilities, Kind::Parts, Kind::Lots];

    /// The word in addresses, in the journal and on pages.
    pub const fn word(self) -> &'static str {
        match self {
            Kind::Assets => "assets",
            Kind::Capabilities => "capabilities",
            Kind::Parts => "parts",
            Kind::Lots => "lots",
        }
    }

    /// One of them.
    pub const fn one(self) -> &'static str {
        match self {
            Kind::Assets => "asset",
            Kind::Capabilities => "capability",
            Kind::Parts => "part",
            Kind::Lots => "lot",
        }
    }

    /// '1 part', '2 000 parts'.
    pub fn count(self, number: usize) -> String {
        let word = if number == 1 { self.one() } else { self.word() };
        format!("{} {word}", super::pages::figure(number))
    }

    /// Its sheets, the one that lists the codes first.
    pub(crate) fn sheets(self) -> &'static [&'static Sheet] {
        match self {
            Kind::Assets => &[&ASSETS],
            Kind::Capabilities => &[&CAPABILITIES],
            Kind::Parts => &[&PARTS],
            Kind::Lots => &[&LOTS, &CONTAINERS],
        }
    }

    pub const fn path(self) -> &'static str {
        match self {
            Kind::Assets => "/site/sheets/assets",
            Kind::Capabilities => "/site/sheets/capabilities",
            Kind::Parts => "/site/sheets/parts",
            Kind::Lots => "/site/sheets/lots",
        }
    }

    /// Where the form of the preview goes.
    pub const fn import_path(self) -> &'static str {
        match self {
            Kind::Assets => "/site/sheets/assets/import",
            Kind::Capabilities => "/site/sheets/capabilities/import",
            Kind::Parts => "/site/sheets/parts/import",
            Kind::Lots => "/site/sheets/lots/import",
        }
    }

    /// Who may bring them in.
    pub const fn act(self) -> Act {
        match self {
            Kind::Assets | Kind::Capabilities | Kind::Parts => Act::SetUpSite,
            Kind::Lots => Act::EnterLots,
        }
    }

    /// Where they are looked at.
    pub fn looked_at(self) -> &'static str {
        match self {
            Kind::Assets | Kind::Capabilities => need::PATH,
            Kind::Parts => Screen::Catalogue.path(),
            Kind::Lots => Screen::Powder.path(),
        }
    }

    /// What an import does and leaves alone, in one sentence.
    pub const fn rule(self) -> &'static str {
        match self {
            Kind::Assets => {
                "New assets are listed and names changed; an asset that is listed goes down and up on its own page."
            }
            Kind::Capabilities => {
                "New capabilities are listed; changed figures are a new version of what was said, and the old one stays on record."
            }
            Kind::Parts => {
                "New parts are listed and figures changed; where less will be asked for before a part is built, the preview says so."
            }
            Kind::Lots => {
                "New lots come in arrived or in quarantine and wait for their release; a lot that is in the book is never changed by a sheet."
            }
        }
    }
}
