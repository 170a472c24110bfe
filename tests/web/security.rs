//! What the service refuses, and what it tells browsers.

use axum::http::header::{CONTENT_TYPE, HOST, ORIGIN};
use axum::http::{Method, Request, StatusCode};
use mendpost_core::people::Role;
use mendpost_server::config::Config;
use mendpost_server::routes;
use mendpost_server::routes::Routes;
use mendpost_tests::{Answer, App, FORM, form, request};

#[tokio::test]
async fn every_answer_carries_the_same_headers() {
    let mut app = App::new().await;
    let mut answers = vec![
        app.get("/sign-in").await,
        app.get("/site").await,
        app.get("/no-such-page").await,
        app.get("/static/style.css").await,
        app.post_without_token("/skin", &[]).await,
    ];
    answers.push(app.send(request(Method::DELETE, "/site"), "").await);
    for answer in answers {
        let policy = answer.header("content-security-policy").expect("a policy");
        assert!(policy.starts_with("default-src 'none'; style-src 'self'; script-src 'self'"));
        for part in [
            "base-uri 'none'",
            "form-action 'self'",
            "frame-ancestors 'none'",
        ] {
            assert!(policy.contains(part), "{part}");
        }
        for (name, value) in [
            ("x-content-type-options", "nosniff"),
            ("referrer-policy", "same-origin"),
            ("cross-origin-opener-policy", "same-origin"),
            ("cross-origin-resource-policy", "same-origin"),
        ] {
            assert_eq!(answer.header(name), Some(value), "{}", answer.status);
        }
        assert!(answer.header("permissions-policy").is_some());
        assert_eq!(answer.header("x-request-id").map(str::len), Some(36));
    }
}

/// Pages are never kept; a static file under its own hash is kept for good, under its bare name asked
/// for again.
#[tokio::test]
async fn pages_are_not_stored_and_files_are() {
    let mut app = App::new().await;
    let page = app.get("/sign-in").await;
    assert_eq!(page.header("cache-control"), Some("no-store"));

    let address = mendpost_server::assets::asset("style.css");
    let kept = app.get(&address).await;
    assert_eq!(
        kept.header("cache-control"),
        Some("public, max-age=31536000, immutable")
    );
    assert_eq!(kept.header("content-type"), Some("text/css; charset=utf-8"));
    assert_eq!(kept.header("set-cookie"), None, "no session for a file");

    let bare = app.get("/static/style.css?v=0000000000000000").await;
    assert_eq!(bare.header("cache-control"), Some("no-cache"));
    let tag = bare.header("etag").expect("a tag").to_owned();
    let again = request(Method::GET, "/static/style.css").header("if-none-match", tag);
    assert_eq!(app.send(again, "").await.status, StatusCode::NOT_MODIFIED);
}

/// A compressed page could give its token away (BREACH).
#[tokio::test]
async fn pages_are_not_compressed() {
    let mut app = App::new().await;
    let zipped = |path: &str| request(Method::GET, path).header("accept-encoding", "gzip");
    assert_eq!(
        app.send(zipped("/sign-in"), "")
            .await
            .header("content-encoding"),
        None
    );
}

#[tokio::test]
async fn no_file_outside_the_static_folder_is_served() {
    let mut app = App::new().await;
    for path in [
        "/static/../Cargo.toml",
        "/static/..%2fCargo.toml",
        "/static/%2e%2e/Cargo.toml",
        "/static//etc/passwd",
        "/static/%2fetc%2fpasswd",
    ] {
        assert_eq!(app.get(path).await.status, StatusCode::NOT_FOUND, "{path}");
    }
}

fn assert_refused(answer: &Answer, why: &str) {
    assert_eq!(answer.status, StatusCode::FORBIDDEN, "{}", answer.body);
    assert!(answer.contains(why), "{}", answer.body);
}

/// The skin would be a harmless change; the refusals stand before every route alike.
#[tokio::test]
async fn a_change_needs_the_token_of_its_own_session() {
    let mut app = App::new().await;
    app.sign_in(Role::Lead).await;
    let mut other = app.other_browser();
    other.sign_in(Role::Lead).await;

    let stale = "this page is too old";
    let stale = &format!("T{}", &stale[1..]);
    assert_refused(&app.post_without_token("/skin", &[]).await, stale);
    assert_refused(
        &app.post_without_token("/skin", &[("csrf", "")]).await,
        stale,
    );
    assert_refused(
        &app.post_without_token("/skin", &[("csrf", &other.token)])
            .await,
        stale,
    );
    let json = request(Method::POST, "/skin").header(CONTENT_TYPE, "application/json");
    assert_refused(&app.send(json, "{}").await, stale);
    assert_refused(&app.post_without_token("/no-such-page", &[]).await, stale);
    assert_eq!(app.post("/skin", &[]).await.status, StatusCode::SEE_OTHER);

    let mut stranger = app.other_browser();
    assert_refused(
        &stranger.post_without_token("/skin", &[("csrf", "")]).await,
        stale,
    );
}

/// Even with the right token.
#[tokio::test]
async fn a_change_sent_from_another_site_is_refused() {
    let mut app = App::new().await;
    app.sign_in(Role::Lead).await;
    for (header, value) in [
        ("origin", "http://evil.example"),
        ("origin", "http://localhost:9999"),
        ("origin", "null"),
        ("sec-fetch-site", "cross-site"),
        ("sec-fetch-site", "same-site"),
    ] {
        let body = form(&[("csrf", &app.token)]);
        let foreign = request(Method::POST, "/skin")
            .header(CONTENT_TYPE, FORM)
            .header(header, value);
        assert_refused(
            &app.send(foreign, &body).await,
            "This was sent from another site",
        );
    }
    for (header, value) in [
        (ORIGIN.as_str(), "http://localhost:8750"),
        ("sec-fetch-site", "same-origin"),
    ] {
        let body = form(&[("csrf", &app.token)]);
        let ours = request(Method::POST, "/skin")
            .header(CONTENT_TYPE, FORM)
            .header(header, value);
        assert_eq!(app.send(ours, &body).await.status, StatusCode::SEE_OTHER);
    }
}

/// A foreign name that points to this machine would make foreign pages count as ours.
#[tokio::test]
async fn a_foreign_host_name_is_refused() {
    let mut app = App::new().await;
    for host in [
        "evil.example",
        "evil.example:8750",
        "192.0.2.7",
        "localhost.evil.example",
    ] {
        let answer = app
            .send(Request::builder().uri("/sign-in").header(HOST, host), "")
            .await;
        assert_eq!(answer.status, StatusCode::MISDIRECTED_REQUEST, "{host}");
        assert!(
            !answer.contains("Port Ansel"),
            "nothing of the site is told"
        );
    }
    for host in ["localhost", "127.0.0.1:8750", "[::1]:8750"] {
        let answer = app
            .send(Request::builder().uri("/sign-in").header(HOST, host), "")
            .await;
        assert_eq!(answer.status, StatusCode::OK, "{host}");
    }
    let answer = app.send(Request::builder().uri("/sign-in"), "").await;
    assert_eq!(answer.status, StatusCode::BAD_REQUEST, "no host at all");
}

#[tokio::test]
async fn nobody_is_led_to_another_site() {
    let mut app = App::new().await;
    for next in [
        "//evil.example",
        "https://evil.example/",
        "/\\evil.example",
        "/\t/evil.example",
    ] {
        app.get("/sign-in").await;
        let answer = app
            .post("/sign-in/demonstration", &[("person", "1"), ("next", next)])
            .await;
        assert_eq!(answer.location(), "/", "{next}");
        let answer = app
            .get(&format!("/sign-in?{}", form(&[("next", next)])))
            .await;
        assert_eq!(answer.location(), "/", "{next} when signed in already");
        app.get("/site").await;
        let answer = app.post("/skin", &[("back", next)]).await;
        assert_eq!(answer.location(), "/", "{next}");
        app.post("/sign-out", &[]).await;
    }
}

#[tokio::test]
async fn the_cookie_is_out_of_reach_of_scripts_and_other_sites() {
    let mut app = App::new().await;
    let answer = app.get("/sign-in").await;
    let cookie = answer.header("set-cookie").expect("a visitor's session");
    assert!(cookie.starts_with("session="), "{cookie}");
    for attribute in ["HttpOnly", "SameSite=Lax", "Path=/"] {
        assert!(cookie.contains(attribute), "{cookie}");
    }
    assert!(
        !cookie.contains("Secure"),
        "plain http on loopback: {cookie}"
    );

    let config = Config {
        behind_https: true,
        ..Config::default()
    };
    let answer = App::with(config, Routes::default())
        .await
        .get("/sign-in")
        .await;
    let cookie = answer.header("set-cookie").expect("a visitor's session");
    assert!(cookie.starts_with("__Host-session="), "{cookie}");
    assert!(
        cookie.contains("Secure") && !cookie.contains("Domain"),
        "{cookie}"
    );
}

/// What is typed comes back as text, never as markup.
#[tokio::test]
async fn typed_markup_is_shown_as_text() {
    let mut app = App::with(Config::default(), Routes::default()).await;
    app.get("/sign-in").await;
    let answer = app
        .post("/sign-in", &[("name", "\"><script>alert(1)</script>")])
        .await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(!answer.contains("<script>"), "{}", answer.body);
}

/// The route table, every line with every role and with nobody. A route without a rule cannot be made;
/// one with the wrong rule is found by the table in core's `people`.
#[tokio::test]
async fn every_route_lets_in_whom_its_act_allows_and_nobody_else() {
    let app = App::new().await;
    let mut browsers: Vec<(Option<Role>, App)> = Vec::new();
    for role in Role::ALL.into_iter().map(Some).chain([None]) {
        let mut browser = app.other_browser();
        arrive(&mut browser, role).await;
        browsers.push((role, browser));
    }
    for route in routes().table {
        let path = with_numbers(route.path);
        for (role, browser) in &mut browsers {
            let answer = match route.method {
                Method::GET => browser.get(&path).await,
                _ => browser.post(&path, &[]).await,
            };
            let sent_away = answer.status == StatusCode::FORBIDDEN
                || (answer.location().starts_with("/sign-in") && !path.starts_with("/sign-out"));
            let case = format!("{} {} as {role:?}: {}", route.method, path, answer.status);
            assert_eq!(sent_away, !route.access.allows(*role), "{case}");
            assert!(!answer.status.is_server_error(), "{case}");
        }
        // Some of these end sessions.
        if path.contains("sign-") || path.contains("sessions") {
            for (role, browser) in &mut browsers {
                arrive(browser, *role).await;
            }
        }
    }
}

/// Signs in, or opens the page on which nobody is.
async fn arrive(browser: &mut App, role: Option<Role>) {
    match role {
        Some(role) => browser.sign_in(role).await,
        None => {
            browser.get("/sign-in").await;
        }
    }
}

/// The path with 1 for each parameter.
fn with_numbers(path: &str) -> String {
    let part = |part: &str| match part.starts_with('{') {
        true => "1".to_owned(),
        false => part.to_owned(),
    };
    path.split('/').map(part).collect::<Vec<_>>().join("/")
}
