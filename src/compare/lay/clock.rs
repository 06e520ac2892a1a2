//! Where the player is in time and how fast, as far as the notes so far tell.
//!
//! # Source
//! The usual filter for a phase and a rate: Kalman (1960), J. Basic Engineering 82, 35-45.
//! Departure: an onset far off moves it no further than a limit, because one late note is one late
//! note.

/// How far off its expected time an onset may move the clock, in standard deviations of that time.
/// Raised, one late note changes the tempo that is expected.
const INNOVATION_MAX: f64 = 3.0;

/// Time of the last slot and tempo, with their covariance.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Clock {
    /// Time of the last slot in the take, in seconds.
    pub t_s: f64,
    /// Played seconds per written second.
    pub stretch: f64,
    /// Variance of `t_s`.
    pub var_t: f64,
    /// Covariance of both.
    pub cov: f64,
    /// Variance of `stretch`.
    pub var_stretch: f64,
}

impl Clock {
    /// A clock at its first onset, whose tempo is only guessed.
    pub fn start(t_s: f64, stretch: f64, sd: f64, onset_sd_s: f64) -> Self {
        let var_stretch = sd * sd;
        Self {
            t_s,
            stretch,
            var_t: onset_sd_s * onset_sd_s,
            cov: 0.0,
            var_stretch,
        }
    }

    /// The same clock `written_s` of music later.
    pub fn ahead(&self, written_s: f64, wander: f64) -> Self {
        let var_stretch = self.var_stretch + wander * wander * written_s;
        Self {
            t_s: self.t_s + self.stretch * written_s,
            stretch: self.stretch,
            var_t: self.var_t + 2.0 * written_s * self.cov + written_s * written_s * var_stretch,
            cov: self.cov + written_s * var_stretch,
            var_stretch,
        }
    }

    /// Takes in an onset of standard deviation `sd_s`.
    pub fn correct(&mut self, onset_s: f64, sd_s: f64) {
        let variance = self.var_t + sd_s * sd_s;
        let limit = INNOVATION_MAX * variance.sqrt();
        let off = (onset_s - self.t_s).clamp(-limit, limit);
        let (gain_t, gain_stretch) = (self.var_t / variance, self.cov / variance);
        self.t_s += gain_t * off;
        self.stretch = (self.stretch + gain_stretch * off).clamp(0.3, 3.0);
        self.var_stretch -= gain_stretch * self.cov;
        self.cov *= 1.0 - gain_t;
        self.var_t *= 1.0 - gain_t;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Closed form: an exact player at four fifths of the tempo is known after a few notes.
    #[test]
    fn it_learns_the_tempo() {
        let mut clock = Clock::start(2.0, 1.0, 0.15, 0.02);
        for k in 1..12 {
            clock = clock.ahead(0.5, 0.01);
            clock.correct(2.0 + 0.625 * f64::from(k), 0.02);
        }
        assert!((clock.stretch - 1.25).abs() < 0.01, "{clock:?}");
        assert!(
            (clock.t_s - (2.0 + 0.625 * 11.0)).abs() < 0.005,
            "{clock:?}"
        );
        assert!(clock.var_stretch > 0.0 && clock.var_t > 0.0);
    }
}
