use super::*;

fn out(name: Name, input: &str) -> Value {
    work_out(name, input).expect("within range")
}

fn number(answer: &Value, key: &str) -> f64 {
    answer[key].as_f64().expect("a number")
}

/// `CoolProp` 8.0: nitrogen at 200 bar and 20 C has 218.54 kg/m3; ideal gas would have
/// 200e5 x 0.0280134 / (8.314463 x 293.15) = 229.9, so z = 1.0518.
#[test]
fn density_and_how_far_from_ideal() {
    let answer = out(Name::GasDensity, r#"{"gas":"nitrogen","bar":200,"c":20}"#);
    assert!((number(&answer, "kg_m3") / 218.54 - 1.0).abs() < 0.002);
    assert!((number(&answer, "z") - 1.0518).abs() < 0.001);
}

/// 12 bottles of 50 l at 200 bar and 20 C hold 0.6 m3 x 218.54 kg/m3 = 131.1 kg of nitrogen.
#[test]
fn a_bank_holds_its_volume_times_the_density() {
    let answer = out(
        Name::Bank,
        r#"{"gas":"nitrogen","water_volume_l":600,"bar":200,"c":20,"floor_bar":45}"#,
    );
    assert!(
        (number(&answer, "content_kg") - 131.1).abs() < 0.3,
        "{answer}"
    );
    assert!(number(&answer, "usable_kg") < number(&answer, "content_kg"));
    assert!(number(&answer, "usable_fast_kg") < number(&answer, "usable_kg"));
}

/// What is asked for besides: a draw at half pace between slow and fast, heat behind a regulator, shaft power
/// over the ideal, a heel to load.
#[test]
fn further_figures_are_given_where_they_are_asked_for() {
    let bank = out(
        Name::Bank,
        r#"{"gas":"nitrogen","water_volume_l":50,"bar":200,"c":20,"floor_bar":60,"pace":0.5}"#,
    );
    let between = number(&bank, "usable_fast_kg")..number(&bank, "usable_kg");
    assert!(
        between.contains(&number(&bank, "usable_at_pace_kg")),
        "{bank}"
    );
    let heat = |more: &str| {
        let input =
            format!(r#"{{"gas":"nitrogen","bar":50,"from_c":20,"to_c":500,"kg_per_h":100{more}}}"#);
        number(&out(Name::GasHeat, &input), "kw")
    };
    assert!((heat(r#","bank_bar":200"#) / heat("") - 1.05).abs() < 0.01);
    let shaft = out(
        Name::Compressor,
        r#"{"free_air_m3_min":5,"altitude_m":0,"inlet_c":15,"to_bar":41,"stages":3,"efficiency":0.7}"#,
    );
    assert!((number(&shaft, "shaft_kw") * 0.7 / number(&shaft, "ideal_kw") - 1.0).abs() < 1e-12);
    assert_eq!(number(&shaft, "duty"), 1.0);
    let load = out(
        Name::PowderNeed,
        r#"{"deposited_kg":1,"efficiency_mean":0.8,"efficiency_sd":0,"heel_kg":0.2}"#,
    );
    assert_eq!(number(&load, "load_kg"), 1.45);
    // 100 cm3 of copper with 1 % pores: 100 x 8.96 x 0.99 = 887.04 g; over 0.85 it is 1043.58 g.
    let copper = out(
        Name::PowderNeed,
        r#"{"volume_cm3":100,"solid_kg_m3":8960,"porosity":0.01,"efficiency_mean":0.85,"efficiency_sd":0}"#,
    );
    assert!(
        (number(&copper, "fed_kg") - 1.043_58).abs() < 0.002,
        "{copper}"
    );
}

/// 1 kg at an efficiency of 0.8 known exactly is 1.25 kg fed, and 0.2 kg more to load.
#[test]
fn powder_need_is_mass_over_efficiency() {
    let answer = out(
        Name::PowderNeed,
        r#"{"deposited_kg":1,"efficiency_mean":0.8,"efficiency_sd":0,"loss_kg":0.15,"coupon_kg":0.05}"#,
    );
    assert_eq!(
        (number(&answer, "fed_kg"), number(&answer, "load_kg")),
        (1.25, 1.45)
    );
}

/// As the two builds worked by hand in core: 0.60 +- 0.05 on 4 and 0.70, 0.66.
#[test]
fn efficiency_is_learned_from_builds() {
    let answer = out(
        Name::Efficiency,
        r#"{"approval_mean":0.6,"approval_sd":0.05,"builds":[0.7,0.66],"others":[0.55]}"#,
    );
    assert!(
        (number(&answer, "mean") - 0.626_667).abs() < 1e-6,
        "{answer}"
    );
    assert!((number(&answer, "sd") - 0.058_06).abs() < 1e-5);
    assert!((number(&answer, "ln_odds_apart") - 0.565_135).abs() < 1e-6);
}

/// 0.1 failures a day in 20 days are 2 on the average, of 4 +- 2 kg each: mean 8 kg, variance 2 x (4 + 16) =
/// 40. Always 5 kg: none in exp(-2) = 0.135 of cases, at most one in 0.406, two in 0.677, three in 0.857.
#[test]
fn demand_is_what_failures_take() {
    let spread = out(
        Name::Demand,
        r#"{"parts":[{"rate_per_day":0.1,"kg_mean":4,"kg_sd":2}],"days":20}"#,
    );
    assert!((number(&spread, "mean_kg") - 8.0).abs() < 1e-6, "{spread}");
    assert!((number(&spread, "sd_kg") - 40f64.sqrt()).abs() < 0.01);
    assert!(number(&spread["quantiles"], "0.5") < number(&spread["quantiles"], "0.95"));
    let always = out(
        Name::Demand,
        r#"{"parts":[{"rate_per_day":0.1,"kg_mean":5}],"days":20,"quantiles":[0.5,0.6,0.7]}"#,
    );
    assert_eq!(
        always["quantiles"],
        json!({"0.5": 10.0, "0.6": 10.0, "0.7": 15.0})
    );
    // Two failures seen in 40 days: 1 is expected in 20 days, with a variance of 1 + 1/2.
    let learned = out(
        Name::Demand,
        r#"{"parts":[{"failures":2,"seen_days":40,"kg_mean":5}],"days":20}"#,
    );
    assert!((number(&learned, "sd_kg") - 5.0 * 1.5f64.sqrt()).abs() < 1e-4);
}

/// 60 kW at half load for 10 h: (0.25 x 30 + 0.035 x 60) x 10 = 96 l.
#[test]
fn fuel_is_linear_in_the_load() {
    let answer = out(Name::Fuel, r#"{"rated_kw":60,"load_kw":30,"hours":10}"#);
    assert!((number(&answer, "litres") - 96.0).abs() < 1e-9);
}

/// Heater and compressor, nozzle and heat: every answer is finite and positive.
#[test]
fn every_answer_is_a_number() {
    for (name, input) in [
        (
            Name::NozzleFlow,
            r#"{"gas":"helium","throat_mm":2,"bar":30,"c":500}"#,
        ),
        (
            Name::GasHeat,
            r#"{"gas":"air","bar":30,"from_c":20,"to_c":500,"kg_per_h":80}"#,
        ),
        (
            Name::Particle,
            r#"{"gas":"nitrogen","bar":40,"c":500,"throat_mm":2.7,"exit_mm":6.5,"divergent_mm":120,"diameter_um":25,"density_kg_m3":8960,"cp_j_kg_k":385,"powder_c":20}"#,
        ),
        (
            Name::CriticalVelocity,
            r#"{"density_kg_m3":8960,"strength_mpa":210,"melting_c":1083,"cp_j_kg_k":385,"particle_c":20}"#,
        ),
        (
            Name::Compressor,
            r#"{"free_air_m3_min":5,"altitude_m":0,"inlet_c":15,"to_bar":41,"stages":3,"demand_kg_h":500}"#,
        ),
    ] {
        let answer = out(name, input);
        for value in answer.as_object().expect("an object").values() {
            assert!(
                value.as_f64().is_some_and(|value| value > 0.0),
                "{name:?}: {answer}"
            );
        }
    }
}

#[test]
fn what_is_wrong_is_named_with_what_is_allowed() {
    for (name, input, fault) in [
        (Name::GasDensity, "{", "the input is not right: EOF"),
        (
            Name::GasDensity,
            r#"{"gas":"steam","bar":2,"c":20}"#,
            "gas is not right: unknown variant",
        ),
        (
            Name::GasDensity,
            r#"{"gas":"air","bar":2}"#,
            "missing field `c`",
        ),
        (
            Name::GasDensity,
            r#"{"gas":"air","bar":2,"c":20,"k":1}"#,
            "unknown field `k`",
        ),
        (
            Name::GasDensity,
            r#"{"gas":"air","bar":1e9,"c":20}"#,
            "pressure",
        ),
        (
            Name::Bank,
            r#"{"gas":"air","water_volume_l":-5,"bar":2,"c":20,"floor_bar":1}"#,
            "water volume",
        ),
        (
            Name::Fuel,
            r#"{"rated_kw":60,"load_kw":90,"hours":1}"#,
            "90",
        ),
        (
            Name::Fuel,
            r#"{"rated_kw":60,"load_kw":9,"hours":-1}"#,
            "hours -1 is out of range",
        ),
        (
            Name::Demand,
            r#"{"parts":[{"failures":2,"kg_mean":5}],"days":9}"#,
            "give either rate_per_day, or failures and seen_days",
        ),
        (
            Name::Demand,
            r#"{"parts":[{"rate_per_day":-2,"kg_mean":5}],"days":9}"#,
            "failures a day is -2",
        ),
        (
            Name::Demand,
            r#"{"parts":[],"days":9,"quantiles":[1.5]}"#,
            "quantile is 1.5",
        ),
        (
            Name::PowderNeed,
            r#"{"efficiency_mean":0.8,"efficiency_sd":0}"#,
            "give either deposited_kg",
        ),
        (
            Name::PowderNeed,
            r#"{"deposited_kg":1,"efficiency_mean":2,"efficiency_sd":0}"#,
            "efficiency",
        ),
    ] {
        let told = work_out(name, input).expect_err(input);
        assert!(told.contains(fault), "{input}: {told}");
        assert!(!told.contains('\n'));
    }
}
