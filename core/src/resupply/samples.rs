//! Items and trips for tests.

use super::carriage::{Mode, Sheet};
use super::item::{Content, Item};
use super::trip::Trip;
use crate::lineup::tests::site::{at, code};

/// Something of so many grams that is reckoned with in no way, a decimetre each way, free by its sheet.
pub fn item(stock_number: &str, gross_g: i64) -> Item {
    Item {
        code: code(stock_number),
        name: format!("item {stock_number}"),
        unit: "each".to_owned(),
        content: Content::Other,
        net_g: gross_g,
        gross_g,
        size_mm: [100, 100, 100],
        stackable: true,
        sheet: Sheet::Free {
            sheet: "none needed".to_owned(),
        },
        depot: None,
        substitutes: vec![],
    }
}

/// A can of so many grams of the test site's one powder.
pub fn can(stock_number: &str, grams: i64) -> Item {
    Item {
        content: Content::Powder {
            powder: code("316L"),
            grams,
        },
        net_g: grams,
        ..item(stock_number, grams + 500)
    }
}

/// A trip that usually lands at minute 1 440, carries 100 kg and takes whatever fits.
pub fn trip(number: &str) -> Trip {
    Trip {
        code: code(number),
        name: format!("trip {number}"),
        mode: Mode::Road,
        payload_g: 100_000,
        reserve_permille: 0,
        volume_ml: 1_000_000,
        longest_mm: 5_000,
        heaviest_g: 100_000,
        dangerous: true,
        earliest: at(1_440),
        usual: at(1_440),
        latest: at(2_880),
        closes: at(720),
        takes_back: String::new(),
        must_go: vec![],
    }
}
