//! `mendpost files`: the demonstration site's files, to start a site of one's own from.

use std::fs;
use std::path::PathBuf;

use anyhow::{Context, ensure};
use clap::Args;

use crate::seed::SeedFiles;

/// Write the demonstration site's files into a folder, to be edited and given to init
#[derive(Debug, Args)]
pub struct Arguments {
    /// Folder to write to; it must be empty or missing
    #[arg(value_name = "FOLDER")]
    folder: PathBuf,
}

pub async fn files(arguments: Arguments) -> anyhow::Result<()> {
    let folder = arguments.folder;
    fs::create_dir_all(&folder).with_context(|| format!("cannot make {}", folder.display()))?;
    let mut inside =
        fs::read_dir(&folder).with_context(|| format!("cannot read {}", folder.display()))?;
    ensure!(
        inside.next().is_none(),
        "{} is not empty; choose another folder",
        folder.display()
    );
    let files = SeedFiles::demonstration();
    for (name, content) in files.iter() {
        let path = folder.join(name);
        fs::write(&path, content).with_context(|| format!("cannot write {}", path.display()))?;
    }
    println!(
        "Edit the files in {}; README.md there says what each column means. Then: mendpost init --data DIR --site {} --lead NAME",
        folder.display(),
        folder.display()
    );
    Ok(())
}
