//! A note as it is written above the note as it was played, to scale, in letters of a terminal.

use super::figures::{Seen, written_s};

/// Columns of the drawing, at most: enough to see 20 ms of an eighth at 120.
const COLUMNS_MAX: usize = 64;
/// Columns left of the drawing, as of the figures above it.
const MARGIN: usize = 12;
/// What is shown before the written onset, and behind the written end, as a share of the length.
const BESIDE: f64 = 0.2;

/// The rows of the drawing, with the row that says its scale; none where the place of the note on the
/// grid is not known.
pub(super) fn drawing(seen: &Seen, columns: usize) -> Vec<String> {
    let room = columns.saturating_sub(MARGIN + 2).min(COLUMNS_MAX);
    let Some((from_s, to_s)) = written(seen).filter(|_| room >= 10) else {
        return Vec::new();
    };
    let beside_s = BESIDE * (to_s - from_s);
    let (start_s, end_s) = (from_s - beside_s, to_s + beside_s);
    let per_column_s = (end_s - start_s) / room as f64;
    let row = |spans: &[(f64, f64, char)]| -> String {
        let letter = |column: usize| {
            let at_s = start_s + (column as f64 + 0.5) * per_column_s;
            let over = spans
                .iter()
                .find(|(from, to, _)| (*from..*to).contains(&at_s));
            over.map_or(' ', |(_, _, letter)| *letter)
        };
        (0..room).map(letter).collect()
    };
    let written = row(&[(from_s, to_s, '='), (to_s, f64::INFINITY, '-')]);
    let mut played = Vec::new();
    if let Some(heard) = &seen.note.heard {
        played.push((heard.onset_s, heard.release_s, '#'));
        if let Some(next) = seen.next.and_then(|next| next.heard.as_ref()) {
            played.push((next.onset_s, next.release_s, '%'));
            if heard.gap_ms.is_some() {
                played.push((heard.release_s, next.onset_s, '.'));
            }
        }
    }
    let rows = [
        ("written", written),
        ("played", row(&played)),
        (
            "scale",
            format!(
                "{:.0} ms to a letter; = # this note, - % the next, . silence",
                1e3 * per_column_s
            ),
        ),
    ];
    rows.into_iter()
        .map(|(name, row)| format!("  {name:<10}{}", row.trim_end()))
        .collect()
}

/// Where the note is written in the take: from its place on the grid to that of the next note, or as
/// long as it is written where none follows at once. In seconds of the take.
fn written(seen: &Seen) -> Option<(f64, f64)> {
    let heard = seen.note.heard.as_ref()?;
    let from_s = heard.onset_s - heard.timing_ms? / 1000.0;
    let next = seen.next.filter(|_| seen.note.expected.legato_next);
    let next_s = next.and_then(|next| {
        let heard = next.heard.as_ref()?;
        Some(heard.onset_s - heard.timing_ms? / 1000.0)
    });
    let to_s = match next_s {
        Some(next_s) => next_s,
        None => from_s + written_s(seen)?,
    };
    (to_s > from_s && from_s.is_finite() && to_s.is_finite()).then_some((from_s, to_s))
}

#[cfg(test)]
mod tests {
    use super::super::{LinePlace, page};
    use crate::report::sample;

    /// Closed form: a quarter at 96 is 625 ms, shown with a fifth before and behind it on 64 columns:
    /// 875 ms, 13.7 ms to a letter. Silence of 84 ms is six letters, give or take the edge.
    #[test]
    fn a_gap_is_drawn_to_scale() {
        let mut result = sample::flawed();
        let notes = &mut result.judgement.passes[0].notes;
        let next_s = notes[4].heard.as_ref().expect("heard").onset_s;
        let heard = notes[3].heard.as_mut().expect("heard");
        heard.release_s = next_s - 0.0842;
        heard.timing_ms = Some(-2.345);
        let place: LinePlace = "1.4".parse().expect("a place");
        let text = page(&result, place, 80, None).expect("there is such a note");
        let played = text
            .lines()
            .find(|line| line.starts_with("  played"))
            .expect("drawn");
        let silence = played.matches('.').count();
        assert!((6..=7).contains(&silence), "{text}");
        assert!(text.contains("14 ms to a letter"), "{text}");
    }

    /// Golden: our own earlier output. It detects change and proves nothing.
    #[test]
    fn golden_explanations_are_unchanged() {
        let mut told = String::new();
        for place in ["1.2", "1.4", "2.1", "2.2", "2.4"] {
            let place: LinePlace = place.parse().expect("a place");
            told.push_str(&page(&sample::flawed(), place, 80, None).expect("a note"));
            told.push('\n');
        }
        sample::check_golden("why.txt", &told);
    }

    #[test]
    fn a_place_is_bar_and_beat() {
        let result = sample::flawed();
        for (place, words) in [
            ("1", "bar 1 beat 4: G2"),
            ("1.4", "bar 1 beat 4: G2"),
            ("1.4.0", "bar 1 beat 4: G2"),
        ] {
            let place: LinePlace = place.parse().expect(place);
            assert!(
                page(&result, place, 80, None)
                    .expect("a note")
                    .contains(words)
            );
        }
        for (place, words) in [
            ("1.4.5", "begin on beat 1, 2, 3, 4"),
            ("9", "bar 9 holds no note"),
            ("9.1", "bar 9 holds no note"),
        ] {
            let place: LinePlace = place.parse().expect(place);
            let said = page(&result, place, 80, None).expect_err("no note");
            assert!(said.contains(words), "{said}");
        }
        for text in [
            "",
            ".",
            "3.",
            ".2",
            "x",
            "3.x",
            "-1.2",
            "3.2.5.1",
            "3..5",
            "3.2.",
            "9999999999",
            "3 2",
            "1e3",
        ] {
            assert!(text.parse::<LinePlace>().is_err(), "{text}");
        }
    }
}
