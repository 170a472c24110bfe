use std::sync::Arc;

use tokio::sync::Semaphore;

use super::check::{self, Fault, Ready};
use crate::error::AppError;

/// Takes files in one after the other: a large photo needs hundreds of megabytes while it is unpacked,
/// and the cell's small computer has other things to do.
#[derive(Debug, Clone)]
pub struct Intake {
    turns: Arc<Semaphore>,
}

impl Default for Intake {
    fn default() -> Self {
        Intake {
            turns: Arc::new(Semaphore::new(1)),
        }
    }
}

impl Intake {
    /// Makes a file ready to be stored. Not while a change is open: it may have to wait.
    pub async fn take_in(&self, bytes: Vec<u8>) -> Result<Result<Ready, Fault>, AppError> {
        let made = self.alone(move || check::make(&bytes)).await?;
        Ok(made.unwrap_or(Err(Fault::Damaged { kind: "a file" })))
    }

    /// Does something with a sent file, off the async threads and alone; none if a decoder panicked over
    /// it. Not while a change is open: it may have to wait.
    pub async fn alone<T: Send + 'static>(
        &self,
        work: impl FnOnce() -> T + Send + 'static,
    ) -> Result<Option<T>, AppError> {
        let turn = Arc::clone(&self.turns)
            .acquire_owned()
            .await
            .map_err(AppError::internal)?;
        let made = tokio::task::spawn_blocking(move || {
            // Held to the end of the work, also when nobody waits for it any more.
            let _turn = turn;
            work()
        });
        match made.await {
            Ok(made) => Ok(Some(made)),
            // A fault in a decoder is the file's doing as much as the decoder's.
            Err(error) if error.is_panic() => {
                tracing::error!(cause = %error, "a decoder failed on a sent file");
                Ok(None)
            }
            Err(error) => Err(AppError::internal(error)),
        }
    }
}
