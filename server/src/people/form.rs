use serde::Deserialize;

/// What was typed to sign in; also the query of the page, which carries `next`.
#[derive(Default, Deserialize)]
#[serde(default)]
pub struct SignInForm {
    pub name: String,
    pub passphrase: String,
    /// The page that was asked for.
    pub next: String,
}

#[derive(Default, Deserialize)]
#[serde(default)]
pub struct DemonstrationForm {
    /// The person's number.
    pub person: String,
    pub next: String,
}
