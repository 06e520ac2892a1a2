//! The fingering planner: 500 notes are to take less than 50 ms, 5,000 less than a second.

use criterion::{Criterion, criterion_group, criterion_main};
use seamline::music::fingering::{Begun, Group, Hand, Wanted, lay};
use seamline::music::instrument::{Instrument, Tuning};

/// Notes all over the lowest three octaves, a fifth of a second apart, from a fixed seed: harder
/// than music, since no two notes lie together.
fn scattered(notes: usize, neck: &Instrument) -> Vec<Group> {
    let (low, high) = neck.range();
    let mut seed: u64 = 12_345;
    (0..notes)
        .map(|at| {
            seed = seed
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            let above = (seed >> 33) % (u64::from(high - low) + 1).min(36);
            Group {
                notes: vec![Wanted {
                    midi: low + above as u8,
                    place: None,
                    finger: None,
                }],
                begun: Begun::Plucked,
                onset_s: at as f64 * 0.2,
                let_go: at % 7 == 0,
                first_of_bar: at % 8 == 0,
            }
        })
        .collect()
}

fn fingering(c: &mut Criterion) {
    let mut group = c.benchmark_group("fingering");
    group.sample_size(10);
    for (strings, tuning) in [(4, Tuning::bass4()), (6, Tuning::bass6())] {
        let neck = Instrument::with_tuning(tuning);
        for notes in [500, 5_000] {
            let line = scattered(notes, &neck);
            let hand = Hand::default();
            group.bench_function(format!("{notes} notes on {strings} strings"), |b| {
                b.iter(|| lay(&line, &neck, &hand))
            });
        }
    }
    group.finish();
}

criterion_group!(benches, fingering);
criterion_main!(benches);
