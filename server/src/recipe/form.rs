//! The form of one operation: what was typed, read into core's values or told beside its field.

use mendpost_core::catalogue::{Held, Motion, Operation, OperationKind, Spray, Volume};
use mendpost_core::situation::{KitKind, Situation};
use serde::Deserialize;
use sqlx::SqliteExecutor;

use super::follow::{Moves, Spot};
use super::queries::Revision;

use crate::form::{
    FieldError, FieldErrors, choice, decimal, integer, optional_text, plain_decimal, text,
};

/// What stands in the place of a station where a step is sent out.
pub const OUT: &str = "out";
/// For work at the machine and by hand.
pub const NOWHERE: &str = "none";

/// What was typed; a step and a stage share the fields that both have.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct OperationForm {
    pub version: String,
    /// Of what kind the operation is that was opened; empty for one that is to be added.
    pub was: String,
    /// The version by whose places it counts; empty for the one at which it was opened.
    pub counted: String,
    /// Which button: to save, or only to reckon.
    pub then: String,
    pub kind: String,
    pub name: String,
    pub crew: String,
    pub after_min: String,
    pub within_min: String,
    pub fixture: String,
    pub held_through: String,
    pub station: String,
    pub minutes: String,
    pub away_days: String,
    pub cycle: String,
    pub plate: String,
    pub powder: String,
    pub deposited_g: String,
    pub volume_cm3: String,
    pub porosity: String,
    pub one_lot: String,
    pub gas: String,
    pub pressure: String,
    pub temperature: String,
    pub feed: String,
    pub nozzle: String,
    pub standoff: String,
    pub traverse: String,
    pub spacing: String,
    pub preheat: String,
    pub passes: String,
    pub efficiency: String,
    pub efficiency_sd: String,
    pub approval_builds: String,
    pub start_stop: String,
    pub coupon: String,
    pub handling: String,
    pub gas_only: String,
}

impl OperationForm {
    /// A form with nothing typed but what is nearly always so.
    pub fn blank(stage: bool) -> OperationForm {
        OperationForm {
            name: if stage { "spray" } else { "" }.to_owned(),
            crew: "1".to_owned(),
            station: if stage { "" } else { NOWHERE }.to_owned(),
            one_lot: "yes".to_owned(),
            ..OperationForm::default()
        }
    }

    /// The form of what stands.
    pub fn of(operation: &Operation) -> OperationForm {
        let held = operation.fixture.as_ref();
        let station = operation.station.as_ref().map(ToString::to_string);
        let mut form = OperationForm {
            was: operation.kind.to_string(),
            kind: operation.kind.to_string(),
            name: operation.name.clone(),
            crew: operation.crew.to_string(),
            after_min: typed_unless_zero(operation.after_min),
            within_min: typed(operation.within_min),
            fixture: held.map_or_else(String::new, |h| h.fixture.to_string()),
            held_through: held.map_or_else(String::new, |h| h.through.to_string()),
            station: match operation.away_days {
                Some(_) => OUT.to_owned(),
                None => station.unwrap_or_else(|| NOWHERE.to_owned()),
            },
            minutes: match operation.away_days {
                Some(_) => String::new(),
                None => operation.minutes.to_string(),
            },
            away_days: typed(operation.away_days),
            cycle: operation.cycle.clone(),
            plate: operation
                .plate
                .as_ref()
                .map_or_else(String::new, ToString::to_string),
            ..OperationForm::default()
        };
        if let Some(spray) = &operation.spray {
            form.take(spray);
        }
        form
    }

    fn take(&mut self, spray: &Spray) {
        let Motion {
            nozzle,
            standoff_um,
            traverse_mm_s,
            spacing_um,
            preheat_c,
            passes,
        } = &spray.motion;
        let decimals =
            |value: Option<i64>| value.map_or_else(String::new, |value| plain_decimal(value, 3));
        self.powder = spray.powder.to_string();
        match spray.volume {
            Some(volume) => {
                self.volume_cm3 = plain_decimal(volume.mm3, 3);
                self.porosity = plain_decimal(volume.porosity_permille, 1);
            }
            None => self.deposited_g = spray.deposited_g.to_string(),
        }
        self.one_lot = if spray.one_lot { "yes" } else { "no" }.to_owned();
        self.gas = spray.gas.to_string();
        self.pressure = plain_decimal(spray.pressure_mbar, 3);
        self.temperature = spray.temperature_c.to_string();
        self.feed = spray.feed_g_per_min.to_string();
        self.nozzle.clone_from(nozzle);
        self.standoff = decimals(*standoff_um);
        self.traverse = typed(*traverse_mm_s);
        self.spacing = decimals(*spacing_um);
        self.preheat = typed(*preheat_c);
        self.passes = typed(*passes);
        self.efficiency = plain_decimal(spray.efficiency_permille, 1);
        self.efficiency_sd = plain_decimal(spray.efficiency_sd_permille, 1);
        self.approval_builds = spray.approval_builds.to_string();
        self.start_stop = spray.start_stop_loss_g.to_string();
        self.coupon = spray.coupon_g.to_string();
        self.handling = spray.handling_min.to_string();
        self.gas_only = spray.gas_only_min.to_string();
    }

    /// Whether it is the form of a stage, whatever stands in the operation's place meanwhile.
    pub fn is_stage(&self) -> bool {
        match self.was.as_str() {
            // Only the form of a step asks what is done.
            "" => self.kind.is_empty(),
            kind => kind == OperationKind::Spray.as_str(),
        }
    }

    /// Counts by the places of this version, whatever was moved since it was opened; where its operation is
    /// by them.
    pub async fn follow(
        &mut self,
        executor: impl SqliteExecutor<'_>,
        draft: &Revision,
        then: Spot,
    ) -> Result<Spot, sqlx::Error> {
        let counted = match self.counted.as_str() {
            "" => self.version.parse(),
            counted => counted.parse(),
        };
        let versions = (counted.unwrap_or(draft.version), draft.version);
        let moves = Moves::between(executor, &draft.subject(), versions).await?;
        if let Ok(through) = self.held_through.trim().parse() {
            self.held_through = moves.held_through(then, through).to_string();
        }
        self.counted = draft.version.to_string();
        Ok(moves.follow(then))
    }

    /// The operation as typed, or every fault. It stands at this place of so many, from 1.
    pub fn parse(
        &self,
        stage: bool,
        (place, places): (usize, usize),
        situation: &Situation,
        errors: &mut FieldErrors,
    ) -> Option<Operation> {
        let kind = match stage {
            true => Some(OperationKind::Spray),
            false => self.step_kind(errors),
        };
        let name = errors.check("name", text(&self.name, 80));
        let crew = errors.check("crew", integer(&self.crew, 0..=20));
        let after_min = optional(&self.after_min, |t| integer(t, 0..=20_160));
        let after_min = errors.check("after_min", after_min);
        let within_min = optional(&self.within_min, |t| integer(t, 1..=20_160));
        let within_min = errors.check("within_min", within_min).flatten();
        if let (Some(Some(after)), Some(within)) = (after_min, within_min)
            && within < after
        {
            let fault = format!("{within} is less than the {after} it waits first; give more");
            errors.add("within_min", fault);
        }
        let fixture = self.held((place, places), situation, errors);
        let common = Operation {
            crew: crew.unwrap_or(0),
            after_min: after_min.flatten().unwrap_or(0),
            within_min,
            fixture: fixture.flatten(),
            ..Operation::step(
                kind.unwrap_or(OperationKind::Cut),
                &name.unwrap_or_default(),
                1,
            )
        };
        let operation = match stage {
            true => self.stage(common, situation, errors),
            false => self.step(common, situation, errors),
        };
        operation.filter(|_| errors.is_empty())
    }

    fn step_kind(&self, errors: &mut FieldErrors) -> Option<OperationKind> {
        let kind = errors.check("kind", choice::<OperationKind>(&self.kind))?;
        if kind == OperationKind::Spray {
            errors.add("kind", "add a stage for that: it says what is sprayed");
            return None;
        }
        Some(kind)
    }

    fn step(
        &self,
        common: Operation,
        situation: &Situation,
        errors: &mut FieldErrors,
    ) -> Option<Operation> {
        let cycle = errors.check("cycle", optional_text(&self.cycle, 80));
        let cycle = cycle.flatten().unwrap_or_default();
        if self.station == OUT {
            let days = errors.check("away_days", integer(&self.away_days, 1..=365));
            if common.crew > 0 {
                errors.add("crew", "0 for what is sent out: nobody here is kept");
            }
            if !self.minutes.trim().is_empty() {
                errors.add("minutes", "leave it empty: its days are its time");
            }
            let days = days?;
            return Some(Operation {
                minutes: days * 1440,
                away_days: Some(days),
                cycle,
                ..common
            });
        }
        if !self.away_days.trim().is_empty() {
            errors.add(
                "away_days",
                "only for what is sent out; leave it empty here",
            );
        }
        let station = match self.station.as_str() {
            NOWHERE => Some(None),
            "" => {
                errors.add("station", "choose where it is done");
                None
            }
            code => {
                let known = situation.stations.iter().find(|s| s.code.as_str() == code);
                let found = known.ok_or_else(|| not_choice(code));
                errors.check("station", found).map(|s| Some(s.code.clone()))
            }
        };
        let minutes = errors.check("minutes", integer(&self.minutes, 1..=20_160));
        Some(Operation {
            station: station?,
            minutes: minutes?,
            cycle,
            ..common
        })
    }

    fn stage(
        &self,
        common: Operation,
        situation: &Situation,
        errors: &mut FieldErrors,
    ) -> Option<Operation> {
        let spray = self.spray(situation, errors);
        let plate = kit(&self.plate, KitKind::Plate, situation);
        let plate = errors.check("plate", plate);
        Some(Operation {
            minutes: 0,
            spray: Some(spray?),
            plate: plate?,
            ..common
        })
    }

    fn spray(&self, situation: &Situation, errors: &mut FieldErrors) -> Option<Spray> {
        let known = situation.powders.iter();
        let powder = text(&self.powder, 40).and_then(|code| {
            let mut known = known.filter(|p| p.code.as_str() == code);
            known.next().ok_or_else(|| not_choice(&code))
        });
        let powder = errors.check("powder", powder);
        let density = powder.and_then(|p| p.solid).map(|s| s.density_kg_m3);
        let deposited = self.deposited(powder.is_some(), density, errors);
        let one_lot = match self.one_lot.as_str() {
            "yes" => Some(true),
            "no" => Some(false),
            _ => {
                errors.add("one_lot", "choose whether lots may be mixed");
                None
            }
        };
        let gas = errors.check("gas", choice(&self.gas));
        let pressure_mbar = errors.check("pressure", decimal(&self.pressure, 3, 1000..=100_000));
        let temperature_c = errors.check("temperature", integer(&self.temperature, 20..=1200));
        let feed_g_per_min = errors.check("feed", integer(&self.feed, 1..=1000));
        let motion = self.motion(errors);
        let efficiency = errors.check("efficiency", decimal(&self.efficiency, 1, 10..=1000));
        let spread = errors.check("efficiency_sd", decimal(&self.efficiency_sd, 1, 0..=500));
        let builds = errors.check("approval_builds", integer(&self.approval_builds, 1..=1000));
        let start_stop = errors.check("start_stop", integer(&self.start_stop, 0..=1_000_000));
        let coupon_g = errors.check("coupon", integer(&self.coupon, 0..=1_000_000));
        let handling_min = errors.check("handling", integer(&self.handling, 0..=1440));
        let gas_only_min = errors.check("gas_only", integer(&self.gas_only, 0..=1440));
        if handling_min
            .zip(gas_only_min)
            .is_some_and(|(all, gas)| gas > all)
        {
            errors.add("gas_only", "more than the handling, of which it is a part");
        }
        let (deposited_g, volume) = deposited?;
        Some(Spray {
            powder: powder?.code.clone(),
            deposited_g,
            volume,
            one_lot: one_lot?,
            gas: gas?,
            pressure_mbar: pressure_mbar?,
            temperature_c: temperature_c?,
            feed_g_per_min: feed_g_per_min?,
            efficiency_permille: efficiency?,
            efficiency_sd_permille: spread?,
            approval_builds: builds?,
            start_stop_loss_g: start_stop?,
            coupon_g: coupon_g?,
            handling_min: handling_min?,
            gas_only_min: gas_only_min?,
            motion: motion?,
            weighed: Vec::new(),
            timed: Vec::new(),
        })
    }

    /// Grams, and the volume that they were worked out from, if one was typed.
    fn deposited(
        &self,
        powder_known: bool,
        density: Option<i64>,
        errors: &mut FieldErrors,
    ) -> Option<(i64, Option<Volume>)> {
        let porosity = optional(&self.porosity, |t| decimal(t, 1, 0..=500));
        let porosity = errors.check("porosity", porosity);
        if self.volume_cm3.trim().is_empty() {
            if !self.porosity.trim().is_empty() {
                errors.add(
                    "porosity",
                    "only beside a volume; leave it empty beside a mass",
                );
            }
            let mass = errors.check("deposited_g", integer(&self.deposited_g, 1..=1_000_000));
            return mass.map(|grams| (grams, None));
        }
        if !self.deposited_g.trim().is_empty() {
            errors.add(
                "deposited_g",
                "a volume is given too; give the one or the other",
            );
        }
        let volume = decimal(&self.volume_cm3, 3, 1..=1_000_000_000);
        let mm3 = errors.check("volume_cm3", volume);
        if powder_known && density.is_none() {
            errors.add(
                "volume_cm3",
                "nobody told what this powder is made of; tell it on its page under Powder, or give the mass",
            );
        }
        let volume = Volume {
            mm3: mm3?,
            porosity_permille: porosity?.unwrap_or(0),
        };
        let grams = volume.grams(density?).map_err(|e| e.to_string());
        let told = grams.map_err(|fault| errors.add("volume_cm3", fault));
        let grams = told.ok()?;
        if grams > 1_000_000 {
            errors.add(
                "volume_cm3",
                format!("that weighs {grams} g; at most 1 000 000 g"),
            );
        }
        Some((grams, Some(volume)))
    }

    fn motion(&self, errors: &mut FieldErrors) -> Option<Motion> {
        let nozzle = errors.check("nozzle", optional_text(&self.nozzle, 80));
        let mut number = |name, typed: &str, places, range| {
            let value = optional(typed, |t| decimal(t, places, range));
            errors.check(name, value)
        };
        let standoff_um = number("standoff", &self.standoff, 3, 1000..=500_000);
        let traverse_mm_s = number("traverse", &self.traverse, 0, 1..=5000);
        let spacing_um = number("spacing", &self.spacing, 3, 10..=50_000);
        let preheat_c = number("preheat", &self.preheat, 0, 20..=900);
        let passes = number("passes", &self.passes, 0, 1..=100_000);
        Some(Motion {
            nozzle: nozzle?.unwrap_or_default(),
            standoff_um: standoff_um?,
            traverse_mm_s: traverse_mm_s?,
            spacing_um: spacing_um?,
            preheat_c: preheat_c?,
            passes: passes?,
        })
    }

    /// None within if nothing is held.
    fn held(
        &self,
        (place, places): (usize, usize),
        situation: &Situation,
        errors: &mut FieldErrors,
    ) -> Option<Option<Held>> {
        let fixture = errors.check("fixture", kit(&self.fixture, KitKind::Fixture, situation))?;
        let Some(fixture) = fixture else {
            if !self.held_through.trim().is_empty() {
                errors.add(
                    "held_through",
                    "nothing is held; choose the fixture, or leave this empty",
                );
            }
            return Some(None);
        };
        let range = |place: usize| i64::try_from(place).unwrap_or(i64::MAX);
        let through = optional(&self.held_through, |typed| {
            integer(typed, range(place)..=range(places))
        });
        let through = errors.check("held_through", through)?;
        let through = through.and_then(|t| usize::try_from(t).ok());
        Some(Some(Held {
            fixture,
            through: through.unwrap_or(place),
        }))
    }
}

fn kit(
    typed: &str,
    kind: KitKind,
    situation: &Situation,
) -> Result<Option<mendpost_core::code::KitCode>, FieldError> {
    if typed.is_empty() {
        return Ok(None);
    }
    let mut known = situation.kit.iter().filter(|kit| kit.kind == kind);
    let found = known.find(|kit| kit.code.as_str() == typed);
    let found = found.ok_or_else(|| not_choice(typed))?;
    Ok(Some(found.code.clone()))
}

fn not_choice(typed: &str) -> FieldError {
    FieldError::NotChoice {
        given: typed.chars().take(40).collect(),
    }
}

fn optional<T>(
    typed: &str,
    read: impl FnOnce(&str) -> Result<T, FieldError>,
) -> Result<Option<T>, FieldError> {
    if typed.trim().is_empty() {
        return Ok(None);
    }
    read(typed).map(Some)
}

fn typed(value: Option<i64>) -> String {
    value.map_or_else(String::new, |value| value.to_string())
}

fn typed_unless_zero(value: i64) -> String {
    if value == 0 {
        String::new()
    } else {
        value.to_string()
    }
}
