//! Applies the migrations to an empty database, against which `query!` checks every statement.

use std::path::Path;
use std::{env, fs};

use sqlx::migrate::Migrator;
use sqlx::sqlite::SqliteConnectOptions;
use sqlx::{ConnectOptions, Connection};

#[tokio::main(flavor = "current_thread")]
async fn main() -> Result<(), Box<dyn std::error::Error>> {
    println!("cargo:rerun-if-changed=../migrations");
    let file = Path::new(&env::var("OUT_DIR")?).join("schema.db");
    if file.exists() {
        fs::remove_file(&file)?;
    }
    let options = SqliteConnectOptions::new()
        .filename(&file)
        .create_if_missing(true);
    let mut connection = options.connect().await?;
    Migrator::new(Path::new("../migrations"))
        .await?
        .run(&mut connection)
        .await?;
    connection.close().await?;
    println!("cargo:rustc-env=DATABASE_URL=sqlite://{}", file.display());
    Ok(())
}
