//! The sentence about eighths that lie steadily elsewhere than written.

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
    Finding {
        kind: FindingKind::Take,
        index: None,
        size: 0.0,
        sentence,
    }
}
