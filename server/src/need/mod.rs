//! What the site needs, and its assets.
pub mod queries;
pub fn routes() -> crate::routes::Routes {
    crate::routes::Routes::default()
}
