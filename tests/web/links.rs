//! Every page that a link leads to is there, whoever follows it.

use std::collections::BTreeSet;

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_tests::{App, links};

/// A crew member follows every link of the demonstration from Now on: none leads to a missing page, a
/// refusal or a failure.
#[tokio::test]
async fn no_link_leads_astray() {
    for role in [Role::Lead, Role::Viewer] {
        let mut app = App::new().await;
        app.sign_in(role).await;
        app.plan().await;
        let opened = follow_all(&mut app).await;
        // Eight screens, 37 requests, 32 parts, 34 revisions, 19 lots, 63 machines and capabilities at
        // the least.
        assert!(opened > 190, "{role:?} was led to {opened} pages only");
    }
}

/// How many pages there were.
async fn follow_all(app: &mut App) -> usize {
    let mut known = BTreeSet::from(["/now".to_owned()]);
    let mut waiting: Vec<(String, String)> = vec![("/now".to_owned(), "nowhere".to_owned())];
    while let Some((path, from)) = waiting.pop() {
        let answer = app.get(&path).await;
        assert_eq!(answer.status, StatusCode::OK, "{path}, linked on {from}");
        for address in links(&answer.body) {
            if known.insert(address.clone()) {
                waiting.push((address, path.clone()));
            }
        }
    }
    known.len()
}
