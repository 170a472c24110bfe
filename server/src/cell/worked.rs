//! What a setting takes and does here, before any powder is fed.

use mendpost_core::lineup::{
    Conditions, Endurance, Flight, GasSource, NoFlight, Setting, conditions, endurance, flight,
    holds_c,
};
use mendpost_core::situation::Situation;

use super::band::{self, Band, hundredths};
use super::layers::{Column, Fill, Layer, Sheet};
use super::minutes::minutes_left;
use super::queries::Gauges;
use super::setting::Asked;
use super::{gauge::Gauge, layers, reads::Reads};
use crate::drawing::Drawing;
use crate::page::minutes;
use crate::words::flight as flying;
use crate::words::work::sentence;
use crate::words::{Words, bar, kilograms, kilowatts, litres};

/// A setting worked out.
pub struct Worked {
    pub title: String,
    /// Powder and throat.
    pub with: String,
    pub pairs: Vec<(&'static str, String)>,
    /// Why it cannot be sprayed, and what opens it.
    pub shut: Option<(String, String)>,
    /// The set's load in layers, for a wide page and a narrow one.
    pub load: Option<[Drawing; 2]>,
    pub flight: FlightTold,
}

/// What is said of the particles.
#[derive(Default)]
pub struct FlightTold {
    /// What is not as approved, in a line; empty if all is.
    pub differences: String,
    pub drawn: Option<[Drawing; 2]>,
    /// Figure, as approved, today.
    pub rows: Vec<[String; 3]>,
    /// Mark and words, of the setting as approved and of today.
    pub verdicts: Vec<(&'static str, &'static str, String)>,
    pub warnings: Vec<String>,
    /// What is missing, of either.
    pub missing: Vec<String>,
    /// Whose critical velocity.
    pub model: &'static str,
}

/// What a setting is worked out from.
pub struct Bench<'a> {
    pub situation: &'a Situation,
    pub gauges: &'a Gauges,
    pub reads: &'a Reads<'a>,
    pub words: &'a Words<'a>,
}

impl Bench<'_> {
    pub fn work_out(&self, asked: &Asked) -> Worked {
        let mut changed = None;
        if let Some(um) = asked.throat_um {
            let mut situation = self.situation.clone();
            situation.cell.throat_um = um;
            changed = Some(situation);
        }
        let situation = changed.as_ref().unwrap_or(self.situation);
        let setting = asked.setting;
        let left = endurance(situation, setting);
        let today = conditions(situation, setting, self.gauges.machined_um);
        Worked {
            title: format!(
                "{} at {} and {} °C",
                sentence(setting.gas.as_str()),
                bar(setting.pressure_mbar),
                setting.temperature_c
            ),
            with: self.with(asked, situation),
            pairs: left
                .as_ref()
                .map_or_else(|_| Vec::new(), |left| self.pairs(situation, setting, left)),
            load: left.as_ref().ok().map(|left| load(situation, left)),
            shut: left
                .err()
                .map(|shut| (self.words.gate(&shut.gate), self.words.opens(&shut.opens))),
            flight: self.flight(situation, asked, &today),
        }
    }

    fn with(&self, asked: &Asked, situation: &Situation) -> String {
        let powder = asked.powder.as_ref();
        let powder = powder.map_or_else(
            || "no powder chosen".to_owned(),
            |code| self.words.powder_short(code.as_str()),
        );
        let throat = flying::millimetres(situation.cell.throat_um);
        let how = match (asked.throat_um, self.gauges.only(Gauge::NozzleBore)) {
            (Some(_), _) => "as asked",
            (None, Some(_)) => "as gauged",
            (None, None) => "as machined",
        };
        format!("{powder}, throat {throat} {how}")
    }

    fn pairs(
        &self,
        situation: &Situation,
        setting: Setting,
        left: &Endurance,
    ) -> Vec<(&'static str, String)> {
        let mut pairs = vec![("Gas lasts", gas_lasts(left))];
        if left.aside_g > 0 {
            pairs.push(("Set aside for leaks", kilograms(left.aside_g)));
        }
        pairs.push(("Flows", self.flow(left)));
        if let Some(takes_turns) = takes_turns(left) {
            pairs.push(("Takes turns", takes_turns));
        }
        pairs.extend([
            ("Heater", self.heater(situation, setting, left)),
            ("Power", power(situation, left)),
            (
                "Fuel lasts",
                format!(
                    "{} of spraying, {} an hour with the camp",
                    minutes(left.fuel_minutes),
                    litres(left.fuel_ml_per_h)
                ),
            ),
        ]);
        pairs
    }

    fn flow(&self, left: &Endurance) -> String {
        let flow = kilograms(left.flow_g_per_h);
        format!("{flow} an hour, carrier gas included")
    }

    fn heater(&self, situation: &Situation, setting: Setting, left: &Endurance) -> String {
        let takes = kilowatts(left.heater_w);
        let Some(most) = situation.cell.heater_w else {
            return format!("takes {takes}; nobody told how much it can");
        };
        let told = self.reads.of(Gauge::HeaterPower, None);
        let known = match self.gauges.only(Gauge::HeaterPower) {
            None => "as built".to_owned(),
            Some(_) => told
                .again
                .map_or(told.when.clone(), |again| format!("{}; {again}", told.when)),
        };
        let holds = holds_c(situation, setting);
        let holds = holds.map_or_else(String::new, |c| format!(", holds up to {c} °C here"));
        format!("takes {takes} of {}{holds} ({known})", kilowatts(most))
    }

    fn flight(&self, situation: &Situation, asked: &Asked, today: &Conditions) -> FlightTold {
        let Some(powder) = &asked.powder else {
            return FlightTold {
                missing: vec!["Choose a powder to see what its particles do.".to_owned()],
                ..FlightTold::default()
            };
        };
        let fly = |setting, um| flight(situation, powder, setting, um);
        let approved = fly(asked.setting, self.gauges.machined_um);
        let now = fly(today.setting, today.throat_um);
        let differences: Vec<String> = today.differences.iter().map(flying::difference).collect();
        FlightTold {
            differences: differences.join("; "),
            drawn: drawn(&approved, &now),
            rows: rows(asked, self.gauges.machined_um, today, [&approved, &now]),
            verdicts: verdicts(&approved, &now),
            warnings: warnings(&approved, &now),
            missing: missing(&approved, &now),
            model: [&now, &approved]
                .into_iter()
                .find_map(|f| Some(f.as_ref().ok()?.model.as_str()))
                .unwrap_or_default(),
        }
    }
}

type Flown = Result<Flight, NoFlight>;

const APPROVED: &str = "as approved";
const TODAY: &str = "today";

fn drawn(approved: &Flown, now: &Flown) -> Option<[Drawing; 2]> {
    let bands = [(APPROVED, approved, false), (TODAY, now, true)];
    let bands: Vec<Band<'_>> = bands
        .into_iter()
        .filter_map(|(name, flown, today)| {
            let flight = flown.as_ref().ok()?;
            Some(Band {
                name,
                flight,
                today,
            })
        })
        .collect();
    (!bands.is_empty()).then(|| [552, 752].map(|wide| band::draw(&bands, wide)))
}

fn verdicts(approved: &Flown, now: &Flown) -> Vec<(&'static str, &'static str, String)> {
    [(TODAY, now), (APPROVED, approved)]
        .into_iter()
        .filter_map(|(name, flown)| {
            let flight = flown.as_ref().ok()?;
            Some((flying::mark(flight.outlook), name, flying::verdict(flight)))
        })
        .collect()
}

fn warnings(approved: &Flown, now: &Flown) -> Vec<String> {
    let wall = |flown: &Flown| flown.as_ref().ok().and_then(flying::wall);
    let first = wall(now).or_else(|| wall(approved));
    first.into_iter().collect()
}

/// Where both lack the same it is told once.
fn missing(approved: &Flown, now: &Flown) -> Vec<String> {
    let told = |flown: &Flown| flown.as_ref().err().map(|e| sentence(&e.to_string()));
    let (approved, now) = (told(approved), told(now));
    match (approved, now) {
        (Some(one), Some(other)) if one == other => vec![format!("{one}.")],
        (approved, now) => {
            let approved = approved.map(|why| format!("As approved: {why}."));
            let now = now.map(|why| format!("Today: {why}."));
            approved.into_iter().chain(now).collect()
        }
    }
}

fn rows(
    asked: &Asked,
    machined_um: i64,
    today: &Conditions,
    flown: [&Flown; 2],
) -> Vec<[String; 3]> {
    let settings = [asked.setting, today.setting];
    let of_setting = |name: &str, show: &dyn Fn(Setting) -> String| {
        let [approved, now] = settings.map(show);
        [name.to_owned(), approved, now]
    };
    let of_flight = |name: &str, show: &dyn Fn(&Flight) -> String| {
        let [approved, now] =
            flown.map(|f| f.as_ref().map_or_else(|_| "no figure".to_owned(), show));
        [name.to_owned(), approved, now]
    };
    if flown.iter().all(|f| f.is_err()) {
        return Vec::new();
    }
    let [machined, throat] = [machined_um, today.throat_um].map(flying::millimetres);
    vec![
        of_setting("Nozzle pressure", &|s| bar(s.pressure_mbar)),
        of_setting("Gas temperature", &|s| format!("{} °C", s.temperature_c)),
        ["Throat".to_owned(), machined, throat],
        of_flight("Gas at the exit", &|f| {
            format!("{} m/s, {}", f.gas_m_s, flying::hundredth_bar(f.exit_mbar))
        }),
        of_flight("Particles, by two drag laws", &|f| {
            format!("{} and {} m/s", f.carlson_hoglund_m_s, f.henderson_m_s)
        }),
        of_flight("Particles", &|f| format!("{} °C", f.particle_c)),
        of_flight("Critical, erosion", &|f| {
            format!("{}, {} m/s", f.critical_m_s, f.erosion_m_s)
        }),
        of_flight("Ratio to critical, ± 15 %", &|f| {
            let [low, mid, high] = [f.low_permille, f.ratio_permille, f.high_permille];
            format!(
                "{} ({} to {})",
                hundredths(mid),
                hundredths(low),
                hundredths(high)
            )
        }),
    ]
}

fn gas_lasts(left: &Endurance) -> String {
    let lasts = minutes_left(left.minutes);
    match &left.source {
        GasSource::Compressor => format!("{lasts}, from the compressor to {}", bar(left.have_mbar)),
        GasSource::Bank(_) => {
            let from = left.banks.iter().filter(|b| b.usable_g > 0);
            let from: Vec<String> = from
                .map(|b| format!("{} of bank {}", kilograms(b.usable_g), b.bank))
                .collect();
            if from.is_empty() {
                format!(
                    "{lasts}: no bank is above its floor of {}",
                    bar(left.floor_mbar)
                )
            } else {
                format!("{lasts}, {}", from.join(", "))
            }
        }
    }
}

/// Where the nozzle takes more than the compressor gives.
fn takes_turns(left: &Endurance) -> Option<String> {
    if left.stretch_permille <= 1000 {
        return None;
    }
    let longer = format!(
        "the nozzle takes more than the compressor gives: all takes {} times as long",
        hundredths(left.stretch_permille)
    );
    Some(left.cycle.as_ref().map_or_else(
        || longer.clone(),
        |cycle| {
            format!(
                "sprays {} min, waits {} min; {longer}",
                cycle.spray_min, cycle.refill_min
            )
        },
    ))
}

fn power(situation: &Situation, left: &Endurance) -> String {
    let (load, rated) = (left.power_w + situation.fuel.camp_w, situation.fuel.rated_w);
    format!(
        "{} of the set’s {}, {} %",
        kilowatts(load),
        kilowatts(rated),
        load * 100 / rated.max(1)
    )
}

/// What the set gives while it sprays, up to what it may give.
fn load(situation: &Situation, left: &Endurance) -> [Drawing; 2] {
    let compressor = situation.compressor.as_ref();
    let compressor_w = compressor
        .filter(|_| left.source == GasSource::Compressor)
        .map_or(0, |c| c.power_w);
    let parts = [
        ("camp", situation.fuel.camp_w),
        ("extraction, chiller", situation.cell.extraction_w),
        ("compressor", compressor_w),
        ("heater", left.heater_w),
    ];
    let layers = parts.into_iter().filter(|(_, watts)| *watts > 0);
    let column = Column {
        name: format!(
            "{} while it sprays",
            kilowatts(left.power_w + situation.fuel.camp_w)
        ),
        below: Vec::new(),
        layers: layers
            .map(|(name, watts)| Layer {
                amount: watts,
                fill: Fill::Done,
                bold: kilowatts(watts),
                text: name.to_owned(),
                caption: String::new(),
            })
            .collect(),
        target: Some((
            situation.fuel.rated_w,
            format!("the set gives {}", kilowatts(situation.fuel.rated_w)),
        )),
    };
    let sheet = |wide| Sheet {
        id: "load",
        title: "The load on the set while it sprays, in layers up to what it may give; the words \
                beside have the same figures"
            .to_owned(),
        wide,
        tall: 128.0,
        pitch: 600,
    };
    let columns = [column];
    [640, 752].map(|wide| layers::draw(&columns, sheet(wide)))
}
