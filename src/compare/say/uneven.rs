//! Remarks about what stands beside the notes: eighths that lie steadily elsewhere than written, and
//! a click that is loud in the recording.

use crate::compare::judgement::{Finding, FindingKind, PlayedSwing};

/// One remark in place of a row of early and late notes.
pub(crate) fn finding(swing: &PlayedSwing) -> Finding {
    let doubt = swing.spread / (swing.notes as f64).sqrt();
    let written = if (swing.written - 1.0).abs() < 0.05 {
        "straight".to_owned()
    } else {
        format!("{:.1} : 1", swing.written)
    };
    let sentence = format!(
        "your eighths lie at {:.1} : 1 (give or take {:.2}, {:.1} from note to note), the line has them \
         {written}; they are judged where you play them",
        swing.ratio, doubt, swing.spread
    );
    remark(sentence)
}

/// A click louder than this in the recording, against the take in decibels, may hide notes.
const LOUD_CLICK_DB: f64 = -20.0;

/// That the click is too loud in the recording.
pub(crate) fn loud_click(click_db: Option<f64>) -> Option<Finding> {
    let loud = click_db.filter(|&db| db > LOUD_CLICK_DB)?;
    Some(remark(format!(
        "the click is loud in the recording, about {loud:.0} dB against the bass: soft notes on a \
         beat may be missed; wear headphones"
    )))
}

/// A remark about the take as a whole.
fn remark(sentence: String) -> Finding {
    Finding {
        kind: FindingKind::Take,
        index: None,
        size: 0.0,
        weight: 0.0,
        passes: Vec::new(),
        of: 0,
        place: None,
        sentence,
    }
}
