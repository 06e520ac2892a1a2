//! What is known of a click that the take was played to: where its bars lie, and which sounds are
//! the click itself.

use crate::hearing::events::HeardNote;
use crate::units::median;

/// A stretch of the take that was played to a click whose moments are known.
#[derive(Clone, Debug, PartialEq)]
pub struct ClickedPass {
    /// Notes from here on belong to it, in seconds of the take.
    pub from_s: f64,
    /// Up to here, in seconds of the take.
    pub to_s: f64,
    /// Where the line's bar 1 beat 1 lies by the click, in seconds of the take; before the take's
    /// beginning where only later bars were played.
    pub zero_s: f64,
    /// Played seconds for each written second; above 0.
    pub stretch: f64,
    /// Whether the way from click to ear was measured: only then does a constant lateness say
    /// anything about the player.
    pub measured: bool,
    /// Every click that sounded, the count-in included, in seconds of the take as it is heard.
    pub clicks_s: Vec<f64>,
    /// First and last note of the line that were to be played, by index; `None` for the whole line.
    pub notes: Option<(usize, usize)>,
}

/// A note may lie this far from its place in the click, in seconds: a third of a second is more
/// than half a beat at 96. Raising it lets more places compete for a note.
const NEAR_CLICK_S: f64 = 0.33;
/// Further behind by this where the round trip was not measured, in seconds: the slowest wireless
/// headphones. Common practice, no source.
const UNMEASURED_S: f64 = 0.25;
/// A sound this close to a click is perhaps the click, in seconds: the onset of a click is found
/// within 5 ms, the clocks agree within 10. Raising it takes notes for clicks.
const AT_CLICK_S: f64 = 0.020;
/// Below this periodicity a sound has no string's pitch. Plucked strings lie above 0.8.
const STRING_CLARITY: f64 = 0.6;
/// A pitch further above the line's highest note than this, in semitones, is no string of it: an
/// octave, so that the wrong octave is still a note.
const ABOVE_LINE_SEMITONES: f64 = 12.0;
/// A sound that is no softer than the clear notes by more than this, in decibels, was played: a
/// choked note stays a choked note. Raising it takes louder clicks for choked notes.
const AS_LOUD_DB: f64 = 10.0;

impl ClickedPass {
    /// Whether a sound at `onset_s` may be the note written at `at_s`.
    pub(crate) fn is_near(&self, onset_s: f64, at_s: f64) -> bool {
        let off = onset_s - (self.zero_s + self.stretch * at_s);
        let late = if self.measured { 0.0 } else { UNMEASURED_S };
        (-NEAR_CLICK_S..=NEAR_CLICK_S + late).contains(&off)
    }
}

/// Leaves out the sounds that are the click itself, come through the air or from headphones.
///
/// Input:  events in order of onset; the moments of the clicks in the same seconds, rising; the
///         highest written note as a MIDI note.
/// Output: the events, less those at a click that have no string's pitch. A note played at a click
///         stays: it has a pitch, or is as loud as the others.
pub fn without_clicks<'a>(
    events: Vec<&'a HeardNote>,
    clicks_s: &[f64],
    top_midi: u8,
) -> Vec<&'a HeardNote> {
    if clicks_s.is_empty() {
        return events;
    }
    let is_string = |event: &HeardNote| {
        event.pitch.as_ref().is_some_and(|pitch| {
            pitch.clarity >= STRING_CLARITY && !is_above_line(pitch.midi, top_midi)
        })
    };
    let clear = events
        .iter()
        .filter(|event| event.evidence > 0.0 && is_string(event));
    let mut levels: Vec<f64> = clear.map(|event| event.level_dbfs).collect();
    let usual_dbfs = median(&mut levels);
    let is_loud = |event: &HeardNote| {
        event.pitch.is_none()
            && usual_dbfs.is_some_and(|usual| event.level_dbfs >= usual - AS_LOUD_DB)
    };
    let mut events = events;
    events.retain(|event| {
        is_string(event) || is_loud(event) || !is_at_click(event.onset_s, clicks_s)
    });
    events
}

/// Whether a sound at `onset_s` is perhaps the click; the clicks' moments rise.
pub fn is_at_click(onset_s: f64, clicks_s: &[f64]) -> bool {
    let next = clicks_s.partition_point(|click| *click < onset_s - AT_CLICK_S);
    let click = clicks_s.get(next);
    click.is_some_and(|click| *click <= onset_s + AT_CLICK_S)
}

/// Whether a pitch lies too far above the line's highest note to be a string of it.
pub fn is_above_line(midi: f64, top_midi: u8) -> bool {
    midi > f64::from(top_midi) + ABOVE_LINE_SEMITONES
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compare::test_support::heard;

    /// Closed form: what is left out lies at a click and has no string's pitch.
    #[test]
    fn the_click_is_no_note_and_a_note_at_the_click_is_one() {
        let soft = |mut note: HeardNote| {
            note.level_dbfs = -45.0;
            note
        };
        let note = heard(1.0, 40.0);
        let mut bare = soft(heard(1.5, 40.0));
        bare.pitch = None;
        let high = soft(heard(2.0, 86.0));
        let mut unclear = soft(heard(2.5, 45.0));
        unclear.pitch.as_mut().unwrap().clarity = 0.4;
        let mut between = bare.clone();
        between.onset_s = 2.75;
        let mut choked = heard(3.0, 40.0);
        choked.pitch = None;
        let all = vec![&note, &bare, &high, &unclear, &between, &choked];
        let clicks = [1.01, 1.49, 2.019, 2.5, 3.0];
        let left = without_clicks(all.clone(), &clicks, 60);
        assert_eq!(left, [&note, &between, &choked]);
        assert_eq!(without_clicks(all.clone(), &[], 60), all);
        let further = [1.521, 2.021, 2.479];
        assert_eq!(without_clicks(all.clone(), &further, 60), all);
    }

    #[test]
    fn a_place_is_near_its_click() {
        let click = |measured| ClickedPass {
            from_s: 0.0,
            to_s: 9.0,
            zero_s: 1.0,
            stretch: 2.0,
            measured,
            clicks_s: Vec::new(),
            notes: None,
        };
        for (onset_s, measured, wanted) in [
            (5.32, true, true),
            (5.34, true, false),
            (4.68, true, true),
            (4.66, true, false),
            (5.57, false, true),
            (5.59, false, false),
            (4.66, false, false),
        ] {
            assert_eq!(click(measured).is_near(onset_s, 2.0), wanted, "{onset_s}");
        }
    }
}
