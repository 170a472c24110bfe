//! `mendpost serve`: the web service of a site.

use std::io;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::time::Duration;

use anyhow::{Context, bail, ensure};
use clap::Args;
use tokio::net::TcpListener;
use tokio::sync::watch;

use crate::backup::keeper;
use crate::clock::Clock;
use crate::config::Config;
use crate::db::{OpenError, holds_database};
use crate::health::start;
use crate::{AppState, app, site};

/// Serve a site's pages to browsers
#[derive(Debug, Args)]
pub struct Arguments {
    /// Folder that holds the site's data
    #[arg(long, value_name = "DIR")]
    data: PathBuf,
    /// Address and port to listen on; others on the network reach only what is not loopback
    #[arg(long, value_name = "ADDRESS", default_value_t = Config::default().listen)]
    listen: SocketAddr,
    /// A name under which browsers may ask for the service; may be given several times
    #[arg(long = "host-name", value_name = "NAME")]
    host_names: Vec<String>,
    /// Browsers reach the service over https, through a proxy: mark cookies as secure
    #[arg(long)]
    behind_https: bool,
    /// A folder on another disk or a stick to which copies go too; may be given several times
    #[arg(long = "backup-to", value_name = "FOLDER")]
    backup_to: Vec<PathBuf>,
}

/// Serves until it is told to stop.
pub async fn serve(arguments: Arguments) -> anyhow::Result<()> {
    let Arguments {
        data,
        listen,
        host_names,
        behind_https,
        backup_to,
    } = arguments;
    if !holds_database(&data) {
        bail!(OpenError::NoDatabase { folder: data });
    }
    let opened = start::open(&data).await?;
    let config = Config {
        listen,
        host_names,
        behind_https,
        backup_to,
        ..Config::default()
    };
    let state = AppState {
        health: opened.health,
        ..AppState::new(opened.db, Clock::System, config)
    };
    let outcome = serve_real(&state, &data).await;
    start::close(&state.db, opened.temporary.as_deref()).await?;
    outcome
}

async fn serve_real(state: &AppState, data: &Path) -> anyhow::Result<()> {
    let site = site::queries::site(&state.db.read).await?;
    let site = site.ok_or_else(|| OpenError::NoDatabase {
        folder: data.into(),
    })?;
    ensure!(
        !site.demonstration,
        "{} holds the demonstration site; start it with: mendpost demo --data {}",
        data.display(),
        data.display()
    );
    until_stopped(state).await
}

/// Listens, says where, and answers until SIGINT or SIGTERM, making copies meanwhile; then lets running
/// requests end.
pub async fn until_stopped(state: &AppState) -> anyhow::Result<()> {
    let stop = stop_signal()?;
    let keeping = tokio::spawn(keeper::keep(state.clone(), stop.clone()));
    let outcome = answer(state, stop).await;
    keeping.abort();
    // Its end gives back what it had open; that it was broken off is no news.
    let _ = keeping.await;
    outcome
}

/// How long running requests may take to end after the signal to stop.
const GRACE: Duration = Duration::from_secs(10);

async fn answer(state: &AppState, stop: watch::Receiver<bool>) -> anyhow::Result<()> {
    let listen = state.config.listen;
    let listener = TcpListener::bind(listen)
        .await
        .map_err(|cause| match cause.kind() {
            io::ErrorKind::AddrInUse => {
                anyhow::anyhow!(
                    "{listen} is in use by another program; choose another with --listen"
                )
            }
            _ => anyhow::Error::new(cause).context(format!("cannot listen on {listen}")),
        })?;
    let address = listener
        .local_addr()
        .context("cannot tell which port was given")?;
    println!("Mendpost is running: open http://{address}/ in a browser. Ctrl-C stops it.");

    let serving = axum::serve(listener, app(state.clone()))
        .with_graceful_shutdown(stopped(stop.clone()))
        .into_future();
    tokio::select! {
        outcome = serving => outcome.context("the service failed")?,
        () = async { stopped(stop).await; tokio::time::sleep(GRACE).await } => {
            tracing::warn!("some requests did not end in time and were cut off");
        }
    }
    tracing::info!("stopped");
    Ok(())
}

async fn stopped(mut stop: watch::Receiver<bool>) {
    // An error means that the sender is gone, and nobody can stop the service any other way.
    let _ = stop.wait_for(|stop| *stop).await;
}

/// Turns true at SIGINT (Ctrl-C) or SIGTERM. Listens from now on, so that no signal is missed.
#[cfg(unix)]
fn stop_signal() -> anyhow::Result<watch::Receiver<bool>> {
    use tokio::signal::unix::{SignalKind, signal};
    let (sender, receiver) = watch::channel(false);
    let mut interrupt = signal(SignalKind::interrupt()).context(NO_SIGNALS)?;
    let mut terminate = signal(SignalKind::terminate()).context(NO_SIGNALS)?;
    tokio::spawn(async move {
        tokio::select! {
            _ = interrupt.recv() => (),
            _ = terminate.recv() => (),
        }
        sender.send_replace(true);
    });
    Ok(receiver)
}

/// Turns true at Ctrl-C.
#[cfg(windows)]
fn stop_signal() -> anyhow::Result<watch::Receiver<bool>> {
    let (sender, receiver) = watch::channel(false);
    let mut interrupt = tokio::signal::windows::ctrl_c().context(NO_SIGNALS)?;
    tokio::spawn(async move {
        interrupt.recv().await;
        sender.send_replace(true);
    });
    Ok(receiver)
}

const NO_SIGNALS: &str = "cannot wait for the signal to stop";
