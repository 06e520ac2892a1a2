//! What runs while sound comes in allocates nothing: the callbacks never, the ear not once it has
//! warmed up. The alarm itself is tried in a process of its own.

use std::process::Command;
use std::sync::Arc;
use std::sync::atomic::Ordering;

use assert_no_alloc::{AllocDisabler, assert_no_alloc};
use ringbuf::traits::{Consumer, Producer, Split};
use ringbuf::{HeapCons, HeapRb};
use seamline::hearing::events::Event;
use seamline::hearing::listener::{Listener, ListenerConfig};
use seamline::sound::device::callback::{
    CaptureEnd, Counters, Lost, PlaybackEnd, give_block, take_block,
};
use seamline::sound::file;
use seamline::units::SampleRate;

#[global_allocator]
static ALARM: AllocDisabler = AllocDisabler;

/// Set in the process that breaks the rule on purpose.
const CANARY: &str = "SEAMLINE_TEST_CANARY";

fn capture(room: usize) -> (CaptureEnd, HeapCons<f32>, HeapCons<Lost>) {
    let (ring, out) = HeapRb::new(room).split();
    let (records, told) = HeapRb::new(2).split();
    let (stamps, _) = HeapRb::new(4).split();
    let end = CaptureEnd {
        ring,
        records,
        stamps,
        counters: Arc::new(Counters::default()),
        channels: 2,
        delivered: 0,
        pending: Lost { at: 0, frames: 0 },
    };
    (end, out, told)
}

#[test]
fn the_alarm_goes_off() {
    if std::env::var_os(CANARY).is_some() {
        assert_no_alloc(|| drop(std::hint::black_box(vec![1u8; 100])));
        return;
    }
    let this = std::env::current_exe().expect("this test");
    let output = Command::new(this)
        .args(["--exact", "the_alarm_goes_off", "--test-threads", "1"])
        .env(CANARY, "1")
        .output()
        .expect("it starts");
    assert!(!output.status.success(), "an allocation went unnoticed");
}

#[test]
fn taking_a_block_allocates_nothing() {
    let (mut end, mut out, _told) = capture(4096);
    let huge = vec![0.25f32; 1 << 20];
    let whole = vec![7i16; 512];
    let mut sink = vec![0.0f32; 4096];
    let blocks: [&[f32]; 4] = [&[], &huge[..1], &huge[..333], &huge];
    assert_no_alloc(|| {
        for at in 0..200u64 {
            take_block(&mut end, blocks[at as usize % 4], |x| x, at);
            take_block(&mut end, &whole, |x| f32::from(x) / 32768.0, at);
            if at % 5 == 0 {
                out.pop_slice(&mut sink);
            }
        }
    });
    let frames = end.counters.frames.load(Ordering::Relaxed);
    let lost = end.counters.lost.load(Ordering::Relaxed);
    assert_eq!(frames, 50 * (166 + (1 << 19)) + 200 * 256);
    assert!(lost > 0 && lost < frames, "{lost} of {frames}");
    // Nobody reads any longer: the ring and the records are full, and still nothing happens.
    drop(out);
    assert_no_alloc(|| take_block(&mut end, &huge[..999], |x| x, 0));
}

#[test]
fn giving_a_block_allocates_nothing() {
    let (mut ring, out) = HeapRb::new(1024).split();
    let (stamps, _) = HeapRb::new(4).split();
    let mut end = PlaybackEnd {
        ring: out,
        stamps,
        counters: Arc::new(Counters::default()),
        channels: 3,
        owed: 0,
    };
    let mut block = vec![0i16; 1000];
    let sound = vec![0.5f32; 300];
    assert_no_alloc(|| {
        for at in 0..100 {
            ring.push_slice(&sound);
            let to = [0, 1, 999, 1000][at % 4];
            give_block(
                &mut end,
                &mut block[..to],
                |x| (x * 32767.0) as i16,
                at as u64,
            );
        }
    });
    assert!(block.contains(&16383));
}

#[test]
fn a_warm_ear_allocates_nothing() {
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut source = file::open(&root.join("demo-data/lantern-stairs-flawed.wav")).expect("a take");
    let rate = source.format().rate;
    let (mut sound, mut block) = (Vec::new(), Vec::new());
    while source.next_block(&mut block).expect("read") == seamline::sound::block::Delivery::Samples
    {
        sound.extend_from_slice(&block);
    }
    assert_eq!(rate, SampleRate(22_050));
    let mut listener = Listener::new(ListenerConfig::bass(rate)).expect("a rate within the limits");
    let mut events: Vec<Event> = Vec::with_capacity(10_000);
    for _ in 0..2 {
        for block in sound.chunks(441) {
            listener.push(block, &mut |event| events.push(event));
        }
    }
    let warm = events.len();
    assert_no_alloc(|| {
        for block in sound.chunks(441) {
            listener.push(block, &mut |event| events.push(event));
        }
    });
    assert!(events.len() > warm + 60, "it listened");
}
