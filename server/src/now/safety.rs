//! Whether what is entered is safe: copies, room on the disk, the clock.

use crate::AppState;
use crate::backup::Standing;
use crate::clock_check::InDoubt;
use crate::error::AppError;
use crate::health::space;
use crate::page::{Layout, Notice};
use crate::people::Visit;

/// What Now says of the data's safety.
pub struct Safety {
    /// Of the copies, quietly.
    pub copies: String,
    pub notices: Vec<Notice>,
    pub doubt: Option<InDoubt>,
}

impl Safety {
    pub async fn load(state: &AppState, visit: &Visit, page: &Layout) -> Result<Safety, AppError> {
        let standing = Standing::load(state, page).await?;
        let mut notices = standing.notices(page);
        notices.extend(space::notice(&state.db.folder));
        Ok(Safety {
            copies: standing.line(page),
            notices,
            doubt: InDoubt::load(state, visit).await?,
        })
    }
}
