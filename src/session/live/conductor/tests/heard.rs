//! The same with sound: a plucked-string synth plays lines of similar bars without a fault, the ear
//! listens as it does live, and whatever is said meanwhile is looked at.

use super::*;
use crate::hearing::listener::Listener;
use crate::sound::synth::{Performance, Player, Voice, render};

/// Frames per second of these takes.
const SOUND_RATE: SampleRate = SampleRate(22_050);
/// Frames of a block: 10 ms, as a sound card gives them.
const BLOCK: usize = 220;
/// Silence before the synth's first note, in seconds: room for its deviation.
const LEAD_S: f64 = 0.2;

/// Bars that begin alike, bars that repeat, and bars with one note changed.
const LINES: [&str; 4] = [
    super::ALIKE,
    "title: Two turns\ntempo: 92\nmeter: 4/4\n\n\
     1/4 3:3 1/8 2:2 2:5 1/4 1:0 1/8 2:5 2:2\n\
     1/4 3:3 1/8 2:2 2:5 1/4 1:0 1/8 2:5 2:3\n\
     1/4 3:3 1/8 2:2 2:5 1/4 1:0 1/8 2:5 2:2\n\
     1/4 3:5 1/8 2:2 2:5 1/4 1:0 1/8 2:5 2:2\n",
    "title: Slow tide\ntempo: 76\nmeter: 4/4\n\n\
     4:3 4:3 3:5 4:3\n4:3 4:3 3:5 3:2\n4:3 4:3 3:5 4:3\n4:3 4:3 4:5 4:3\n4:3 4:3 3:5 4:1\n",
    "title: Ferry bell\ntempo: 108\nmeter: 3/4\n\n\
     1/4 3:5 2:3 1/8 2:5 2:3\n1/4 3:5 2:3 1/8 2:5 2:7\n1/4 3:5 2:3 1/8 2:5 2:3\n\
     1/4 3:3 2:3 1/8 2:5 2:3\n1/4 3:5 2:3 1/8 2:5 2:3\n1/4 3:5 2:2 1/8 2:5 3:5\n",
];

struct Sound {
    run: Run,
    listener: Listener,
    samples: Vec<f32>,
    at: usize,
}

impl Sound {
    fn new(line: &Line, beats: Beats) -> Self {
        let settings = settings(line, beats);
        let ear = settings.judging(line).ear(SOUND_RATE);
        Self {
            run: Run::new(settings),
            listener: ear.expect("an ear"),
            samples: Vec::new(),
            at: 0,
        }
    }

    /// Adds a pass whose bar 1 lies at `bar1_s`; gives where it ends.
    fn play(&mut self, line: &Line, bar1_s: f64, share: f64, seed: u64) -> f64 {
        let line = line.with_tempo_scale(share).expect("a tempo");
        let player = Player {
            lead_in_s: LEAD_S,
            hum: None,
            hiss: None,
            ..Player::steady(seed)
        };
        let performance = Performance::of_line(&line.expected(line.instrument()), &player);
        let sound = render(&performance, &Voice::fingered(), SOUND_RATE);
        let from = ((bar1_s - LEAD_S) * SOUND_RATE.hz()).round() as usize;
        self.samples
            .resize(self.samples.len().max(from + sound.len()), 0.0);
        for (into, sample) in self.samples[from..].iter_mut().zip(&sound) {
            *into += sample;
        }
        bar1_s + line.quarters_to_seconds(line.end_quarters())
    }

    fn until(&mut self, to_s: f64) {
        while self.run.at_s < to_s {
            let block: Vec<f32> = (self.at..self.at + BLOCK)
                .map(|at| self.samples.get(at).copied().unwrap_or(0.0))
                .collect();
            self.at += BLOCK;
            let conductor = &mut self.run.conductor;
            self.listener
                .push(&block, &mut |event| conductor.hear(Said::Event(event)));
            self.run.at_s = self.at as f64 / SOUND_RATE.hz();
            if self.run.ticks.is_multiple_of(25) && self.listener.is_forming() {
                let events = self.listener.so_far();
                self.run.conductor.hear(Said::SoFar(events));
            }
            self.run.step();
        }
    }

    /// Every pass that is over is without a fault, and nothing else was ever said.
    fn is_flawless(&self, passes: usize, what: &str) {
        let views = self.run.passes();
        assert_eq!(views.len(), passes, "{what}: {views:#?}");
        let notes = self.run.conductor.chosen.piece.notes.len();
        for view in views {
            assert_eq!(
                (
                    view.right,
                    view.wrong,
                    view.missed,
                    view.gaps,
                    view.out_of_time
                ),
                (notes, 0, 0, 0, 0),
                "{what}: {view:#?}"
            );
        }
        self.run.was_never_accused(what);
    }
}

#[test]
fn flawless_takes_that_are_heard_are_never_accused() {
    for (n, text) in LINES.iter().enumerate() {
        let line = line(text);
        let what = line.title().to_owned();
        let mut free = Sound::new(&line, Beats::None);
        let mut at_s = 1.0;
        for pass in 0..3_u32 {
            let share = 0.85 + 0.1 * f64::from(pass);
            at_s = free.play(&line, at_s, share, u64::from(pass) + 10 * n as u64);
            // The second pass follows after a pause, the third after a longer one.
            at_s += 1.5 + 2.5 * f64::from(pass);
        }
        free.until(at_s + 5.0);
        free.run.conductor.close();
        free.is_flawless(3, &format!("{what}, without a click"));

        let mut clicked = Sound::new(&line, Beats::All);
        for pass in 0..2 {
            while clicked.run.bars1_s.len() <= pass {
                clicked.until(clicked.run.at_s + 0.05);
            }
            let bar1_s = clicked.run.bars1_s[pass];
            let end_s = clicked.play(&line, bar1_s, 1.0, 100 + 10 * n as u64 + pass as u64);
            clicked.until(end_s);
        }
        clicked.until(clicked.run.at_s + 2.0);
        clicked.run.conductor.close();
        clicked.is_flawless(2, &format!("{what}, with a click"));
    }
}
