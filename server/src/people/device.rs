//! What a device says of itself, cut down to what tells one tablet from another.

use axum::http::HeaderMap;
use axum::http::header::USER_AGENT;

/// What the browser calls itself, cut to what is kept.
pub fn agent(headers: &HeaderMap) -> String {
    let given = headers
        .get(USER_AGENT)
        .and_then(|value| value.to_str().ok())
        .unwrap_or_default();
    given.chars().take(LONGEST).collect()
}

/// Browser and system in a few words, as 'Chromium on Linux'.
pub fn words(agent: &str) -> String {
    let of = |table: &[(&str, &'static str)]| {
        let found = table.iter().find(|(mark, _)| agent.contains(mark));
        found.map(|(_, word)| *word)
    };
    match (of(&BROWSERS), of(&SYSTEMS)) {
        (Some(browser), Some(system)) => format!("{browser} on {system}"),
        (Some(browser), None) => browser.to_owned(),
        (None, Some(system)) => format!("a browser on {system}"),
        (None, None) => "unknown device".to_owned(),
    }
}

const LONGEST: usize = 200;

/// Most browsers name others too: the first mark that is found counts.
const BROWSERS: [(&str, &str); 6] = [
    ("Firefox/", "Firefox"),
    ("FxiOS/", "Firefox"),
    ("Edg", "Edge"),
    ("CriOS/", "Chrome"),
    ("Chrome/", "Chromium"),
    ("Safari/", "Safari"),
];

const SYSTEMS: [(&str, &str); 7] = [
    ("Android", "Android"),
    ("iPhone", "iPhone"),
    ("iPad", "iPad"),
    ("Windows", "Windows"),
    ("CrOS", "ChromeOS"),
    ("Mac OS X", "macOS"),
    ("Linux", "Linux"),
];

#[cfg(test)]
mod tests {
    use axum::http::HeaderValue;

    use super::*;

    #[test]
    fn devices_are_told_apart_in_a_few_words() {
        for (agent, expected) in [
            (
                "Mozilla/5.0 (X11; Linux x86_64) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/142.0.0.0 Safari/537.36",
                "Chromium on Linux",
            ),
            (
                "Mozilla/5.0 (Linux; Android 14; Tablet) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/142.0.0.0 Safari/537.36",
                "Chromium on Android",
            ),
            (
                "Mozilla/5.0 (Windows NT 10.0; Win64; x64; rv:145.0) Gecko/20100101 Firefox/145.0",
                "Firefox on Windows",
            ),
            (
                "Mozilla/5.0 (iPad; CPU OS 18_1 like Mac OS X) AppleWebKit/605.1.15 (KHTML, like Gecko) Version/18.1 Mobile/15E148 Safari/604.1",
                "Safari on iPad",
            ),
            ("curl/8.5.0", "unknown device"),
            ("", "unknown device"),
        ] {
            assert_eq!(words(agent), expected, "{agent}");
        }
    }

    #[test]
    fn what_is_kept_has_an_end() {
        let long = HeaderValue::from_str(&"x".repeat(5000)).expect("plain letters");
        let headers = HeaderMap::from_iter([(USER_AGENT, long)]);
        assert_eq!(agent(&headers).len(), 200);
        assert_eq!(agent(&HeaderMap::new()), "");
    }
}
