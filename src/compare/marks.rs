//! Every threshold a verdict depends on, in one place, each named, sourced and settable; a report
//! prints the ones that were used.

/// The limits between fine and flagged.
#[derive(Clone, Debug, PartialEq)]
pub struct Marks {
    /// Early or late beyond this many milliseconds from the fitted grid.
    ///
    /// # Source
    /// Just noticeable onset shift of a bass in a groove: 31 to 35 ms, early 23 ms easier than
    /// late 28 ms (PsyArXiv jsg94 v3). Raising it forgives more.
    pub timing_ms: f64,
    /// A gap from this many milliseconds of silence at a legato join.
    ///
    /// # Source
    /// Gap detection in dark tones is hidden below 25 to 30 ms (auditory-filter ringing 1/ERB);
    /// the plucking finger's own touch lasts up to 39 ms on measured takes.
    pub gap_ms: f64,
    /// A gap must lie this many decibels below the note's natural decay.
    pub gap_depth_db: f64,
    /// A gap also from this many milliseconds beyond the player's own baseline for that kind of
    /// join.
    pub gap_over_baseline_ms: f64,
    /// No silence shorter than this many milliseconds is a gap by the player's own baseline.
    ///
    /// # Source
    /// The filter of the ear hides it (1/ERB at 41 to 100 Hz: 28 to 34 ms); the plucking finger's
    /// own touch lasts up to 33 ms in 99 of 100 measured joins.
    pub gap_floor_ms: f64,
    /// A gap from here on is *clear*, below it *slight*.
    pub gap_clear_ms: f64,
    /// Another note from this many cents off the written pitch.
    pub wrong_cents: f64,
    /// A pitch that is in doubt by more than this many cents says nothing: neither wrong nor sharp.
    ///
    /// # Source
    /// Measured on recorded strings: of wrong notes on electric basses the doubt is below 8 in 99 of
    /// 100, on an upright below 21 in 98; of right notes read as wrong ones it is above 21 in 8 of 9.
    pub unclear_cents: f64,
    /// Sharp or flat from this many cents.
    pub out_of_tune_cents: f64,
    /// Dead when the level falls this many decibels faster after the attack than its neighbours.
    pub dead_fall_db: f64,
    /// A fall after the attack of less than this many decibels is never dead; measured on choked
    /// notes.
    pub dead_floor_db: f64,
    /// Notes written shorter than this many milliseconds cannot be told from dead ones.
    pub dead_from_ms: f64,
    /// Bleed counts down to this many decibels below what is played over it: the sympathetic ringing
    /// of a solid body lies there and below. Common practice, no source.
    pub bleed_below_db: f64,
    /// Bleed counts when it lasts this many milliseconds.
    pub bleed_ms: f64,
    /// Bleed further below than this is *slight*, in decibels.
    pub bleed_slight_below_db: f64,
    /// A note with no legato join after it is clipped when it lasts less than this share of its
    /// written length.
    pub clipped_share: f64,
    /// A clipped note lacks at least this many milliseconds: less is how people end notes.
    pub clipped_short_ms: f64,
    /// Loud from this many decibels above the take's usual note, string and register taken off; `None` flags
    /// nothing, as by default: a sampled bass whose plucks differ more than a player's is no fault.
    pub loud_db: Option<f64>,
    /// Soft from this many decibels below it; `None` flags nothing, as by default.
    pub soft_db: Option<f64>,
    /// A note buzzes from this many nats of evidence on; `None` flags nothing.
    ///
    /// # Source
    /// Fitted on sampled basses with the buzz of a string model laid over them, see DEVELOPERS.md: at 3 nats
    /// fewer than 0.3 of 100 notes without a buzz were told to on any instrument left out.
    pub buzz_nats: Option<f64>,
}

impl Default for Marks {
    fn default() -> Self {
        Self {
            timing_ms: 25.0,
            gap_ms: 40.0,
            gap_depth_db: 10.0,
            gap_over_baseline_ms: 30.0,
            gap_floor_ms: 36.0,
            gap_clear_ms: 60.0,
            wrong_cents: 70.0,
            unclear_cents: 20.0,
            out_of_tune_cents: 20.0,
            dead_fall_db: 10.0,
            dead_floor_db: 14.0,
            dead_from_ms: 130.0,
            bleed_below_db: 30.0,
            bleed_ms: 150.0,
            bleed_slight_below_db: 20.0,
            clipped_share: 0.65,
            clipped_short_ms: 60.0,
            loud_db: None,
            soft_db: None,
            buzz_nats: Some(3.0),
        }
    }
}
