use super::*;

const NOW: i64 = 1_795_581_600_000;

/// Two banks, of which N1 was read for its pressure an hour ago, and a tank read a minute ago.
fn gauges() -> Gauges {
    use crate::cell::queries::{BankGauge, Furnace, Latest};
    let bank = |number: u128, code: &str| BankGauge {
        id: Uuid::from_u128(number),
        code: code.to_owned(),
        gas: "nitrogen".to_owned(),
    };
    let latest = |gauge, of, minutes: i64| Latest {
        gauge,
        of,
        value: 0,
        at_ms: NOW - minutes * 60_000,
        by: "x".to_owned(),
    };
    Gauges {
        banks: vec![bank(1, "N1"), bank(2, "N2")],
        furnaces: vec![Furnace {
            id: Uuid::from_u128(9),
            code: "furnace".to_owned(),
            name: "Furnace".to_owned(),
        }],
        compressor: true,
        latest: vec![
            latest(Gauge::BankPressure, Some(Uuid::from_u128(1)), 60),
            latest(Gauge::Fuel, None, 1),
        ],
        fullest_ml: 0,
        longest_service_min: 0,
        machined_um: 2_000,
    }
}

fn form(fields: &[(&str, &str)]) -> ReadingForm {
    let all = |name: &str| {
        let named = fields.iter().filter(|(field, _)| *field == name);
        named.map(|(_, typed)| (*typed).to_owned()).collect()
    };
    let one = |name: &str| -> String {
        let all: Vec<String> = all(name);
        all.into_iter().next().unwrap_or_default()
    };
    ReadingForm {
        bank: all("bank"),
        pressure: all("pressure"),
        temperature: all("temperature"),
        scale: one("scale"),
        fuel: one("fuel"),
        bore: one("bore"),
        heater: one("heater"),
        collector: one("collector"),
        collector_unit: one("collector_unit"),
        service: one("service"),
        furnace: all("furnace"),
        furnace_temperature: all("furnace_temperature"),
        read_at: one("read_at"),
    }
}

fn read(fields: &[(&str, &str)]) -> Vec<(&'static str, i64)> {
    let round = form(fields).parse(&gauges(), Tz::UTC, 0, NOW);
    let round = round.expect("readings");
    let values = round.readings.iter();
    values.map(|r| (r.gauge.as_str(), r.value)).collect()
}

fn errors(fields: &[(&str, &str)]) -> FieldErrors {
    form(fields)
        .parse(&gauges(), Tz::UTC, 0, NOW)
        .expect_err("a fault")
}

fn fault(fields: &[(&str, &str)], field: &str) -> String {
    errors(fields).of(field).to_owned()
}

/// At sea level the air is 1.013 bar (ISO 2533): 68.5 bar on the gauge are 69.513 absolute. 1.2 mbar
/// are 120 Pa; 210.5 h are 12 630 min.
#[test]
fn one_round_reads_everything() {
    let values = read(&[
        ("bank", "N1"),
        ("pressure", "68,5"),
        ("temperature", "-4.5"),
        ("bank", "N2"),
        ("pressure", "150"),
        ("temperature", "30"),
        ("scale", "bar-gauge"),
        ("fuel", "410"),
        ("bore", "2.05"),
        ("heater", "21.5"),
        ("collector", "1.2"),
        ("collector_unit", MILLIBAR),
        ("service", "210.5"),
        ("furnace", "furnace"),
        ("furnace_temperature", "548"),
    ]);
    assert_eq!(
        values,
        [
            ("bank-pressure", 69_513),
            ("bank-temperature", -4_500),
            ("bank-pressure", 151_013),
            ("bank-temperature", 30_000),
            ("fuel", 410_000),
            ("nozzle-bore", 2_050),
            ("heater-power", 21_500),
            ("collector-drop", 120),
            ("compressor-service", 12_630),
            ("furnace-temperature", 548_000),
        ]
    );
}

/// The second bank alone: what is left empty in the first row stays unread.
#[test]
fn an_empty_row_is_left_out() {
    let round = form(&[
        ("bank", "N1"),
        ("pressure", ""),
        ("temperature", ""),
        ("bank", "N2"),
        ("pressure", "1000"),
        ("temperature", "20"),
        ("scale", "psi-absolute"),
    ]);
    let round = round.parse(&gauges(), Tz::UTC, 0, NOW).expect("readings");
    let of = || Of::Bank(Uuid::from_u128(2), "N2".to_owned());
    let expected = [
        (Gauge::BankPressure, 68_948),
        (Gauge::BankTemperature, 20_000),
    ];
    let expected = expected.map(|(gauge, value)| Read {
        gauge,
        of: of(),
        value,
    });
    assert_eq!(round.readings, expected);
}

#[test]
fn each_fault_stands_at_its_field() {
    let pressure = |typed| {
        [
            ("bank", "N1"),
            ("scale", "bar-gauge"),
            ("temperature", "20"),
            ("pressure", typed),
        ]
    };
    assert!(fault(&pressure("400"), "pressure-N1").contains("out of range"));
    assert!(fault(&pressure("full"), "pressure-N1").contains("not a number"));
    assert!(fault(&[("bank", "N1"), ("pressure", "5")], "scale").contains("choose"));
    let first = [("bank", "N1"), ("pressure", "5"), ("scale", "bar-gauge")];
    assert!(fault(&first, "temperature-N1").contains("never been read"));
    assert!(fault(&[("bore", "0.4")], "bore").contains("out of range"));
    assert!(fault(&[("fuel", "-1")], "fuel").contains("out of range"));
    assert!(fault(&[("heater", "0.05")], "heater").contains("enter 0.1 to 1000"));
    assert!(fault(&[("collector", "800")], "collector_unit").contains("choose"));
    let drop = |typed, unit| {
        fault(
            &[("collector", typed), ("collector_unit", unit)],
            "collector",
        )
    };
    assert!(drop("800.5", PASCAL).contains("finer"));
    assert!(drop("201", MILLIBAR).contains("enter 0 to 200"));
    assert!(fault(&[("service", "-2")], "service").contains("out of range"));
    let hot = [("furnace", "furnace"), ("furnace_temperature", "1700")];
    assert!(fault(&hot, "furnace-furnace").contains("out of range"));
    assert!(fault(&[], "pressure-N1").contains("nothing was entered"));
}

/// What no page of this site sends is refused as a whole.
#[test]
fn a_form_that_does_not_fit_the_site_is_refused() {
    let whole = |fields: &[(&str, &str)]| errors(fields).whole().unwrap_or_default().to_owned();
    assert!(whole(&[("bank", "N9"), ("pressure", "5")]).contains("no bank here"));
    assert!(whole(&[("pressure", "5")]).contains("without its bank"));
    let furnace = [("furnace", "kiln"), ("furnace_temperature", "500")];
    assert!(whole(&furnace).contains("no furnace here"));
    let mut without = gauges();
    without.compressor = false;
    let service = form(&[("service", "12")]).parse(&without, Tz::UTC, 0, NOW);
    assert!(
        service
            .expect_err("a fault")
            .of("service")
            .contains("no compressor")
    );
}

/// Now is 2026-11-25 04:40 UTC; the tank was read a minute before.
#[test]
fn a_reading_is_neither_of_the_future_nor_older_than_what_counts() {
    let at = |time| fault(&[("fuel", "400"), ("read_at", time)], "read_at");
    assert!(at("2026-11-25T04:41").contains("later than now"));
    assert!(at("2026-11-25T04:00").contains("on record"));
    assert!(at("yesterday").contains("not a date"));
    let same = form(&[("fuel", "400"), ("read_at", "2026-11-25T04:40")]);
    assert!(same.parse(&gauges(), Tz::UTC, 0, NOW).is_ok());
    // The nozzle was never gauged: an older reading of it is the first one.
    let bore = form(&[("bore", "2.05"), ("read_at", "2026-11-25T04:00")]);
    assert!(bore.parse(&gauges(), Tz::UTC, 0, NOW).is_ok());
}
