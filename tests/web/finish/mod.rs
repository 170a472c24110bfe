//! After spraying: sizes with tools that are calibrated, looks for cracks, holds and what is judged of them, and
//! what stops a release.

mod coupons;
mod fate;
mod furnace;
mod holds;
mod limits;
mod release;
mod sizes;
mod tools;

use mendpost_core::people::Role;
use mendpost_tests::{Answer, App};

use crate::requests::course::{FOUND, sort};

/// R9 is a shaft sleeve: blast, mask, spray, cut, dye check, measure, release. The crew has entered all before the
/// size sheet.
async fn up_to_the_size_sheet() -> App {
    let mut app = App::signed_in(Role::Lead).await;
    sort(&mut app, 9, "SS-041").await;
    app.sign_in(Role::Crew).await;
    for _ in 0..5 {
        done(&mut app, 9, &FOUND).await;
    }
    app
}

/// Enters what comes next as done.
async fn done(app: &mut App, request: i64, fields: &[(&str, &str)]) -> Answer {
    let answer = work(app, request, fields).await;
    let request = format!("/requests/{request}");
    assert_eq!(answer.location(), request, "{}", answer.body);
    answer
}

async fn work(app: &mut App, request: i64, fields: &[(&str, &str)]) -> Answer {
    app.post(&format!("/requests/{request}/work"), fields).await
}

/// The sleeve as its recipe wants it: 60 to 60.03, 89.94 to 89.97, 139.8 to 140.2 mm.
const SLEEVE: [(&str, &str); 9] = [
    ("found0", "60.01"),
    ("unit0", "mm"),
    ("tool0", "M-03"),
    ("found1", "89.95"),
    ("unit1", "mm"),
    ("tool1", "M-01"),
    ("found2", "140.05"),
    ("unit2", "mm"),
    ("tool2", "M-02"),
];

/// The sleeve with some fields typed otherwise.
fn sleeve<'a>(otherwise: &[(&'a str, &'a str)]) -> Vec<(&'a str, &'a str)> {
    let mut fields: Vec<(&str, &str)> = SLEEVE.to_vec();
    for (name, value) in otherwise {
        let field = fields.iter_mut().find(|(known, _)| known == name);
        field.expect("a field of the sheet").1 = value;
    }
    fields
}

/// Judges a hold.
async fn judge(app: &mut App, hold: i64, otherwise: &[(&str, &str)]) -> Answer {
    let mut fields = vec![
        ("verdict", "fit"),
        ("said_by", "Waterworks engineer"),
        ("came", "radio"),
        ("reason", "runs with more play for the season"),
    ];
    for (name, value) in otherwise {
        fields.retain(|(known, _)| known != name);
        fields.push((name, value));
    }
    app.post(&format!("/holds/{hold}"), &fields).await
}
