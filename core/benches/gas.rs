//! What planning pays for a density, a flow, a heat, a bank and a particle.

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use mendpost_core::deposit::{Cone, DragLaw, Efficiency, Particle, PowderNeed, Quantile};
use mendpost_core::gas::{Bank, Bar, Celsius, Gas, KgPerHour, Nozzle, Pace, density, heat_kw};

criterion_group!(benches, gas);
criterion_main!(benches);

fn gas(bench: &mut Criterion) {
    let bar = |value| Bar::new(value).expect("pressure");
    let celsius = |value| Celsius::new(value).expect("temperature");
    let nozzle = Nozzle::new(2.0, 0.97).expect("nozzle");
    let flow = KgPerHour::new(80.0).expect("flow");
    for gas in [Gas::Nitrogen, Gas::Air] {
        bench.bench_function(&format!("density of {gas}"), |b| {
            b.iter(|| {
                density(
                    black_box(gas),
                    black_box(bar(200.0)),
                    black_box(celsius(20.0)),
                )
            });
        });
        bench.bench_function(&format!("flow of {gas}"), |b| {
            b.iter(|| nozzle.flow_kg_per_h(black_box(gas), bar(50.0), black_box(celsius(500.0))));
        });
        bench.bench_function(&format!("heat of {gas}"), |b| {
            b.iter(|| {
                heat_kw(
                    black_box(gas),
                    bar(50.0),
                    celsius(20.0),
                    celsius(500.0),
                    flow,
                )
            });
        });
        bench.bench_function(&format!("bank of {gas}, content and usable"), |b| {
            b.iter(|| {
                let bank = Bank::new(black_box(gas), 600.0, bar(200.0), celsius(20.0))?;
                Ok::<_, mendpost_core::gas::GasError>((
                    bank.content_grams(),
                    bank.usable_grams(black_box(bar(65.0)))?,
                ))
            });
        });
        bench.bench_function(&format!("bank of {gas}, usable in a fast draw"), |b| {
            let bank = Bank::new(gas, 600.0, bar(200.0), celsius(20.0)).expect("bank");
            b.iter(|| bank.usable_fast_grams(black_box(bar(65.0))));
        });
        bench.bench_function(&format!("bank of {gas}, floor of a draw at a pace"), |b| {
            let bank = Bank::new(gas, 600.0, bar(200.0), celsius(20.0)).expect("bank");
            let pace = Pace::new(0.5).expect("pace");
            b.iter(|| bank.floor_grams(black_box(20_000), pace, bar(65.0)));
        });
    }
    bench.bench_function("particle through a cone", |b| {
        let copper = Particle::new(25.0, 8960.0, 385.0, celsius(20.0)).expect("particle");
        let cone = Cone::new(2.7, 6.5, 120.0).expect("cone");
        b.iter(|| {
            cone.accelerate(
                black_box(Gas::Nitrogen),
                bar(50.0),
                celsius(500.0),
                &copper,
                DragLaw::Henderson,
            )
        });
    });
    bench.bench_function("powder need", |b| {
        let efficiency = Efficiency::new(0.85, 0.04).expect("efficiency");
        b.iter(|| {
            PowderNeed::new(
                black_box(5000.0),
                efficiency,
                Quantile::default(),
                40.0,
                25.0,
            )
        });
    });
}
