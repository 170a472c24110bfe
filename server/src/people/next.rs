//! Where to go after an act: a page of ours, never another site.

/// The path if it leads to a page of ours, else the first page.
///
/// Browsers take `//host` and `/\host` for another site, and drop tabs and line ends.
pub fn local_path(path: &str) -> &str {
    let is_local = path.starts_with('/')
        && !path.starts_with("//")
        && path.len() <= LONGEST
        && path
            .bytes()
            .all(|byte| byte.is_ascii_graphic() && byte != b'\\');
    if is_local { path } else { "/" }
}

const LONGEST: usize = 1000;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_our_own_pages_are_followed() {
        for ours in ["/", "/requests/17", "/powder?lot=L0042#on-hand", "/a//b"] {
            assert_eq!(local_path(ours), ours);
        }
        for foreign in [
            "",
            "requests",
            "//evil.example",
            "/\\evil.example",
            "\\\\evil.example",
            "https://evil.example/",
            "javascript:alert(1)",
            "/\t/evil.example",
            "/\n/evil.example",
            " /requests",
            "/requ\u{ea}te",
        ] {
            assert_eq!(local_path(foreign), "/", "{foreign:?}");
        }
    }
}
