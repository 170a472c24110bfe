//! `mendpost plan`: the line-up in the terminal.

use std::path::PathBuf;
use std::sync::atomic::AtomicBool;

use anyhow::{Context, anyhow};
use chrono::Utc;
use clap::Args;
use mendpost_core::lineup::{LineUp, Place, Waiting};
use mendpost_core::situation::Situation;

use crate::db::open_to_read;
use crate::lineup::compute;
use crate::page::{loss, whole};
use crate::situation;
use crate::solve::Limits;
use crate::words::Words;

/// Plan the site as it stands, and print the line-up
#[derive(Debug, Args)]
pub struct Arguments {
    /// Folder that holds the site's data; a running service is not disturbed
    #[arg(long, value_name = "DIR")]
    data: PathBuf,
    /// Print it as JSON
    #[arg(long)]
    json: bool,
}

pub async fn plan(arguments: Arguments) -> anyhow::Result<()> {
    let pool = open_to_read(&arguments.data).await?;
    let mut reading = pool.begin().await?;
    let situation = situation::load(&mut reading, Utc::now())
        .await
        .context("cannot read the site")?;
    drop(reading);
    pool.close().await;
    let found = tokio::task::spawn_blocking(move || {
        let found = compute(
            &situation,
            &Limits::default(),
            &AtomicBool::new(false),
            &mut |_| (),
        );
        found.map(|found| (situation, found))
    });
    let (situation, found) = found.await?.map_err(|why| anyhow!(why))?;
    if arguments.json {
        println!("{}", serde_json::to_string_pretty(&found.line_up)?);
    } else {
        print!("{}", text(&situation, &found.line_up));
    }
    Ok(())
}

fn text(situation: &Situation, line_up: &LineUp) -> String {
    let words = Words::new(situation);
    let unit = &situation.site.loss_word;
    let mut lines = vec![format!(
        "Line-up of {} from {} to {}",
        situation.site.name,
        words.clock(line_up.now),
        words.clock(line_up.until)
    )];
    lines.extend(
        line_up
            .places
            .iter()
            .flat_map(|place| place_lines(&words, place, unit)),
    );
    let losses = &line_up.losses;
    lines.push(format!(
        "Loses {} {unit}; largest rate first {}, oldest first {}, doing nothing {}.",
        loss(losses.ours),
        loss(losses.largest_rate_first),
        loss(losses.oldest_first),
        loss(losses.nothing)
    ));
    if !line_up.waiting.is_empty() {
        lines.push("Waits at a gate:".to_owned());
    }
    lines.extend(
        line_up
            .waiting
            .iter()
            .flat_map(|waiting| waiting_lines(&words, waiting)),
    );
    lines.push("A work suggestion. It approves nothing; follow local codes and the licensed person responsible.".to_owned());
    lines.join("\n") + "\n"
}

fn place_lines(words: &Words<'_>, place: &Place, unit: &str) -> Vec<String> {
    let (state, waits) = words.readiness(&place.readiness);
    let back = place.back.map_or_else(
        || "waits for another part".to_owned(),
        |at| format!("back {}", words.clock(at)),
    );
    let mut lines = vec![format!(
        "{:>3}  {}  {back}, stops {} {unit}/h, {state} {waits}",
        place.number,
        words.request(place.request.as_str()),
        whole(place.stops_per_hour),
    )];
    for (_, stage) in place.stages() {
        let lots: Vec<String> = stage
            .lots
            .iter()
            .map(|l| format!("{} {} g", l.lot, whole(l.grams)))
            .collect();
        lines.push(format!(
            "     {} to {}  {}: {}; {}",
            words.clock(stage.start),
            words.clock(stage.end),
            words.powder(&stage.powder),
            lots.join(", "),
            words.gas(&stage.need)
        ));
    }
    lines
}

fn waiting_lines(words: &Words<'_>, waiting: &Waiting) -> Vec<String> {
    let mut lines = vec![format!("     {}", words.request(waiting.request.as_str()))];
    for shut in waiting.ways.iter().take(1).flat_map(|way| &way.shut) {
        lines.push(format!(
            "       {}; {}",
            words.gate(&shut.gate),
            words.opens(&shut.opens)
        ));
    }
    lines
}
