//! `mendpost restore`: a copy in the place of a site's data.

use std::path::PathBuf;

use clap::Args;

use crate::backup::restore::{Restore, restore as restore_copy};
use crate::clock::Clock;

/// Put a copy in the place of a site's data; the service must not be running
#[derive(Debug, Args)]
pub struct Arguments {
    /// Folder for the site's data; made if it is missing
    #[arg(long, value_name = "DIR")]
    data: PathBuf,
    /// The copy, with its sum file beside it
    #[arg(long, value_name = "FILE")]
    from: PathBuf,
    /// Put data that are there aside, to a folder within DIR
    #[arg(long)]
    replace: bool,
    /// Take a copy that has no sum file
    #[arg(long)]
    without_sum: bool,
}

pub async fn restore(arguments: Arguments) -> anyhow::Result<()> {
    let wanted = Restore {
        folder: arguments.data,
        from: arguments.from,
        replace: arguments.replace,
        without_sum: arguments.without_sum,
    };
    let restored = restore_copy(&wanted, &Clock::System).await?;
    println!(
        "Restored up to journal {} from {}. Everybody has to sign in again.",
        restored.whole.sequence,
        wanted.from.display()
    );
    if let Some(kept) = restored.kept {
        println!("What was there is kept in {}", kept.display());
    }
    Ok(())
}
