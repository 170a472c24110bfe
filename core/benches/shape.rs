//! What a ball of 200 000 triangles takes: joined and measured, looked over for crossings, drawn.

use std::f64::consts::{PI, TAU};
use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use mendpost_core::shape::{Mesh, Point};

criterion_group!(benches, shape);
criterion_main!(benches);

fn shape(bench: &mut Criterion) {
    let triangles = ball();
    let mesh = Mesh::new(&triangles).expect("a mesh");
    let count = mesh.triangles();
    let mut group = bench.benchmark_group(format!("{count} triangles"));
    group.sample_size(10);
    group.bench_function("joined", |b| b.iter(|| Mesh::new(black_box(&triangles))));
    group.bench_function("measured", |b| {
        b.iter(|| {
            let mesh = black_box(&mesh);
            (
                mesh.volume_mm3(),
                mesh.surface_mm2(),
                mesh.allowance_mm3(1.0),
                mesh.around(),
            )
        });
    });
    group.bench_function("looked over for crossings", |b| {
        b.iter(|| black_box(&mesh).crossings());
    });
    group.bench_function("drawn", |b| b.iter(|| black_box(&mesh).views()));
}

const AROUND: u32 = 316;

fn ball() -> Vec<[Point; 3]> {
    let at = |i: u32, j: u32| {
        let (round, up) = (
            TAU * f64::from(i % AROUND) / f64::from(AROUND),
            PI * f64::from(j) / f64::from(AROUND),
        );
        let out = if j == 0 || j == AROUND { 0.0 } else { up.sin() };
        [
            100.0 * out * round.cos(),
            100.0 * out * round.sin(),
            -100.0 * up.cos(),
        ]
    };
    let mut triangles = Vec::new();
    for j in 0..AROUND {
        for i in 0..AROUND {
            let [a, b, c, d] = [at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)];
            triangles.extend([[a, b, c], [a, c, d]]);
        }
    }
    triangles
}
