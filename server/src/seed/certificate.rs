//! What a row of a lot says of its certificate and of how it is kept.

use chrono::NaiveDate;
use mendpost_core::powder::DateKind;
use mendpost_core::powder::certificate::{Certificate, Decile, Within};

use super::data::Keeping;
use super::fault::Faults;
use super::row::Row;
use super::time::Calendar;

/// The columns that make a certificate: without any of them there is none.
const OF_CERTIFICATE: [&str; 13] = [
    "maker",
    "certificate",
    "certificate_date",
    "certificate_lot",
    "specification",
    "revision",
    "d10_um",
    "d50_um",
    "d90_um",
    "chemistry",
    "statement",
    "flow_s",
    "moisture_percent",
];

pub(super) fn keeping(row: &Row, calendar: &Calendar, faults: &Faults) -> Option<Keeping> {
    let made_on = past_day(row, "made_on", calendar, faults);
    let date_kind = row.parse_optional(faults, "date_kind");
    let storage = row.text_or_empty(faults, "storage", 80);
    let percent = |column| row.number_optional(faults, column, 0, 0..=100);
    let (min, max) = (percent("humidity_min"), percent("humidity_max"));
    let (min, max) = (min?, max?);
    if min.zip(max).is_some_and(|(min, max)| min > max) {
        row.fault(faults, "humidity_max", "less than humidity_min");
        return None;
    }
    Some(Keeping {
        made_on: made_on?,
        date_kind: date_kind?.unwrap_or(DateKind::UseBy),
        storage: storage?,
        humidity: Within { min, max },
    })
}

/// None within where the row says nothing of a certificate.
pub(super) fn read(row: &Row, calendar: &Calendar, faults: &Faults) -> Option<Option<Certificate>> {
    let says = |column: &str| row.given(column).is_some();
    if !OF_CERTIFICATE.iter().any(|column| says(column)) {
        return Some(None);
    }
    let text = |column, most| row.text_or_empty(faults, column, most);
    let maker = text("maker", 80);
    let own_lot = text("certificate_lot", 80);
    let label_lot = row.given("maker_lot").unwrap_or_default().to_owned();
    let number = text("certificate", 80);
    let dated = past_day(row, "certificate_date", calendar, faults);
    let (specification, revision) = (text("specification", 80), text("revision", 40));
    let sizes = ["d10_um", "d50_um", "d90_um"]
        .map(|column| row.number_optional(faults, column, 3, 1..=1_000_000));
    let chemistry = row.parse_optional(faults, "chemistry");
    let statement = text("statement", 400);
    let flow_ms = row.number_optional(faults, "flow_s", 3, 1..=1_000_000);
    let moisture_ppm = row.number_optional(faults, "moisture_percent", 4, 0..=1_000_000);
    let [d10, d50, d90] = sizes;
    let sizes = [d10?, d50?, d90?];
    if let Some(at) = out_of_order(&sizes) {
        let column = ["d10_um", "d50_um", "d90_um"][at];
        row.fault(
            faults,
            column,
            "less than a size before it; D10, D50 and D90 rise",
        );
        return None;
    }
    let own_lot = own_lot?;
    Some(Some(Certificate {
        maker: maker?,
        maker_lot: if own_lot.is_empty() {
            label_lot
        } else {
            own_lot
        },
        number: number?,
        dated: dated?,
        specification: specification?,
        revision: revision?,
        sizes,
        chemistry: chemistry?.unwrap_or_default(),
        statement: statement?,
        flow_ms: flow_ms?,
        moisture_ppm: moisture_ppm?,
    }))
}

/// The first size that is below one before it.
pub(crate) fn out_of_order(sizes: &[Option<i64>; Decile::ALL.len()]) -> Option<usize> {
    let mut largest = 0;
    sizes.iter().position(|size| {
        let Some(size) = *size else { return false };
        let is_below = size < largest;
        largest = largest.max(size);
        is_below
    })
}

fn past_day(
    row: &Row,
    column: &str,
    calendar: &Calendar,
    faults: &Faults,
) -> Option<Option<NaiveDate>> {
    row.read_optional(faults, column, |text| calendar.past_day(text))
}
