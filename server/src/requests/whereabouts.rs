//! Where the piece that was built for a request is now.

use mendpost_core::catalogue::OperationKind;
use mendpost_core::course::Stand;

use super::decision::{History, Named};

/// Where a piece is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Whereabouts {
    /// Nothing of it is built.
    NotBegun,
    /// In work at the cell.
    InWork,
    /// Released, and not fitted yet.
    Released,
    /// Fitted, and not run yet.
    Fitted,
    /// Fitted and run.
    Served,
    /// Nobody asks for it any more.
    Closed,
}

pub fn whereabouts(request: &Named, history: &History) -> Whereabouts {
    let still = history.still_done();
    let fitted = still.iter().any(|done| done.kind == OperationKind::Fit);
    match history.stand {
        Stand::Reported | Stand::Sorted => Whereabouts::NotBegun,
        Stand::InWork => Whereabouts::InWork,
        Stand::Released if fitted => Whereabouts::Fitted,
        Stand::Released => Whereabouts::Released,
        Stand::Served => Whereabouts::Served,
        Stand::Refused | Stand::Withdrawn => {
            debug_assert!(request.state != "open");
            Whereabouts::Closed
        }
    }
}

impl Whereabouts {
    /// It is here still, so that it can be kept from its machine.
    pub const fn may_be_held(self) -> bool {
        matches!(self, Self::InWork | Self::Released)
    }

    pub fn words(self, machine: &str) -> String {
        match self {
            Self::NotBegun => "at the cell, not begun".to_owned(),
            Self::InWork => "at the cell, in work".to_owned(),
            Self::Released => "released, not fitted yet".to_owned(),
            Self::Fitted => format!("fitted in {machine}, not run yet"),
            Self::Served => format!("fitted in {machine}, runs"),
            Self::Closed => "nobody asks for it any more".to_owned(),
        }
    }
}
