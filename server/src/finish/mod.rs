//! After spraying: the size sheet, looks for cracks, and what stops a release.
//!
//! What is found hangs on the entry of the operation at which it was found, so that what counts still is what is
//! still done.

mod coupon_page;
mod coupons;
mod cracks;
mod entry;
mod fate;
pub mod rule;
mod sizes;
mod state;
mod tag;
mod taken;
mod words;

use mendpost_core::people::Act;

use crate::routes::Routes;

pub use coupons::{CouponRow, Tested, tested};
pub use cracks::{CrackForm, METHODS, NewCrack, keep_look};
pub use entry::{Asks, Entry, Page, Under, asks, insert, page, parse, short};
pub use rule::other_releases;
pub use sizes::SizesForm;
pub use state::{Sheet, SizeRow, Work, checked, sheet};
pub use taken::{Taken, taken};
pub use words::{condition, property, stop};

pub fn routes() -> Routes {
    Routes::default()
        .get("/requests/{number}/coupons", Act::Look, coupon_page::show)
        .post("/requests/{number}/coupons", Act::DoWork, coupon_page::save)
        .post("/coupons/{number}/hold", Act::HoldLot, fate::hold)
        .get("/requests/{number}/tag", Act::Look, tag::show)
        .get(rule::PATH, Act::Look, rule::show)
        .get(rule::CHANGE, Act::SetUpSite, rule::ask)
        .post(rule::CHANGE, Act::SetUpSite, rule::save)
}
