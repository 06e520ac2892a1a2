//! How the instrument sounds.

use crate::units::MidiNote;

/// A way of playing and an instrument. Any finite values within the ranges given sound; values
/// outside are held at the ends of the ranges.
#[derive(Clone, Debug, PartialEq)]
pub struct Voice {
    /// Where the string is plucked, as a part of the open string from the bridge: 0.03 to 0.5.
    pub pluck_at: f64,
    /// Where the pickup sits, as a part of the open string from the bridge: 0.03 to 0.5.
    pub pickup_at: f64,
    /// How fast every partial of an open string dies away, in nepers per second (6.9 divided by
    /// the time to −60 dB): 0.1 to 20.
    pub decay_per_s: f64,
    /// How much faster high partials die away, in seconds: the decay grows by this times the
    /// square of the angular frequency. 0 to 1e-6; 1e-7 is old strings, 3e-8 new ones.
    pub high_decay_s: f64,
    /// The frequency in hertz at which a hard pluck (velocity 1) has lost 1/e of its amplitude;
    /// soft plucks lose it lower. 100 to 20,000.
    pub brightness_hz: f64,
    /// Below this frequency in hertz the instrument loses level, 6 dB per octave: how weak the
    /// fundamental of low notes is. 0 to 200.
    pub weak_below_hz: f64,
    /// Level in decibels of the noise of the pluck itself, against the loudest partial: −80 to 0.
    pub pluck_noise_db: f64,
    /// How sharp a hard pluck (velocity 1) starts, in cents: 0 to 40. It settles with a time
    /// constant of 80 ms.
    pub glide_cents: f64,
}

impl Voice {
    /// Fingers over the pickup of a solid-body bass. Values by ear and from the ranges in the
    /// literature named in `string`; common practice, no source.
    pub fn fingered() -> Self {
        Self {
            pluck_at: 0.18,
            pickup_at: 0.13,
            decay_per_s: 0.55,
            high_decay_s: 9e-8,
            brightness_hz: 1_500.0,
            weak_below_hz: 35.0,
            pluck_noise_db: -34.0,
            glide_cents: 8.0,
        }
    }

    /// A pick near the bridge: bright, with a click, and a weak fundamental.
    pub fn picked() -> Self {
        Self {
            pluck_at: 0.10,
            pickup_at: 0.08,
            decay_per_s: 0.5,
            high_decay_s: 4e-8,
            brightness_hz: 4_000.0,
            weak_below_hz: 90.0,
            pluck_noise_db: -24.0,
            glide_cents: 12.0,
        }
    }

    /// Soft fingers far from the bridge, short and dark, as a double bass is plucked.
    pub fn mellow() -> Self {
        Self {
            pluck_at: 0.35,
            pickup_at: 0.24,
            decay_per_s: 1.6,
            high_decay_s: 3e-7,
            brightness_hz: 600.0,
            weak_below_hz: 20.0,
            pluck_noise_db: -38.0,
            glide_cents: 5.0,
        }
    }

    /// The voice of this name: `fingered`, `picked` or `mellow`.
    pub fn named(name: &str) -> Option<Self> {
        match name {
            "fingered" => Some(Self::fingered()),
            "picked" => Some(Self::picked()),
            "mellow" => Some(Self::mellow()),
            _ => None,
        }
    }

    /// Names that [`Voice::named`] knows.
    pub const NAMES: [&str; 3] = ["fingered", "picked", "mellow"];
}

/// The inharmonicity coefficient of a string, from its open pitch.
///
/// # Source
/// Kemp (2020), SN Appl. Sci. 2:636, measured a low B: 3.0e-4 when scaled back to the open
/// string. E 1.5e-4, A 1.0e-4, D 7e-5, G 4e-5 are working values of the trade, to be replaced by
/// measurement. In between the logarithm runs straight, outside the nearest value holds.
pub fn open_inharmonicity(open: MidiNote) -> f64 {
    const TABLE: [(f64, f64); 5] = [
        (23.0, 3.0e-4),
        (28.0, 1.5e-4),
        (33.0, 1.0e-4),
        (38.0, 7e-5),
        (43.0, 4e-5),
    ];
    let midi = open.0.clamp(TABLE[0].0, TABLE[4].0);
    let mut b = TABLE[4].1;
    for pair in TABLE.windows(2) {
        let ((low, b_low), (high, b_high)) = (pair[0], pair[1]);
        if midi >= low && midi <= high {
            let part = (midi - low) / (high - low);
            b = (b_low.ln() + part * (b_high / b_low).ln()).exp();
            break;
        }
    }
    b
}

/// The inharmonicity coefficient of a stopped string: it grows with the inverse square of the
/// sounding length, so it doubles every six frets.
///
/// # Source
/// Fletcher (1964), J. Acoust. Soc. Am. 36, 203-209: B is proportional to 1/L^2 at equal tension
/// and gauge; a fret shortens L by the twelfth root of 2.
pub fn inharmonicity(open: MidiNote, fret: u8) -> f64 {
    open_inharmonicity(open) * (f64::from(fret) / 6.0).exp2()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Published: Kemp (2020) found partial 10 about 100 cents sharp at the 12th fret of a low B,
    /// partial 6 about 100 cents sharp at the 21st. Within 5 cents, for "about".
    #[test]
    fn the_low_b_is_as_measured() {
        for (fret, partial) in [(12, 10.0f64), (21, 6.0)] {
            let b = inharmonicity(MidiNote(23.0), fret);
            let cents = 600.0 * (1.0 + b * partial * partial).log2();
            assert!((cents - 100.0).abs() < 5.0, "fret {fret}: {cents} cents");
        }
    }

    #[test]
    fn between_and_beyond_the_table() {
        assert!((open_inharmonicity(MidiNote(28.0)) - 1.5e-4).abs() < 1e-12);
        let between = open_inharmonicity(MidiNote(30.0));
        assert!((1.0e-4..1.5e-4).contains(&between), "{between}");
        assert_eq!(
            open_inharmonicity(MidiNote(64.0)),
            open_inharmonicity(MidiNote(43.0))
        );
        assert!((open_inharmonicity(MidiNote(10.0)) - 3.0e-4).abs() < 1e-12);
        for name in Voice::NAMES {
            assert!(Voice::named(name).is_some(), "{name}");
        }
    }
}
