//! Repeats, endings and jumps: the signs as they are written.

use super::error::FaultKind;
use super::model::Bar;

/// Most times a section may be played in a row. Common practice ends at four or so; no source.
pub const MAX_TIMES: u8 = 64;

/// Where a jump goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum JumpTo {
    /// D.C.: the start of the line.
    Start,
    /// D.S.: the segno.
    Segno,
}

/// Up to where a line goes on after a jump.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Until {
    /// To the *fine*; a *to coda* is passed over.
    Fine,
    /// To the *to coda*, and from there to the coda; a *fine* is passed over.
    Coda,
}

/// D.C. or D.S., with what stands behind it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Jump {
    /// Where it goes.
    pub to: JumpTo,
    /// *al fine*, *al coda*; `None` obeys both signs.
    pub until: Option<Until>,
}

/// The signs of a written bar that say where to go on.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Signs {
    /// `|:` before the bar.
    pub repeat_start: bool,
    /// `:|` after the bar, with how often the section is played in all, from 2.
    pub repeat_end: Option<u8>,
    /// True when that repeat is played again after a jump (`after-jump` of MusicXML 4.0).
    pub repeat_again: bool,
    /// The times at which the ending that begins with this bar is played; empty when none begins.
    pub ending: Vec<u8>,
    /// True when an ending is closed after this bar.
    pub ending_end: bool,
    /// A segno before the bar.
    pub segno: bool,
    /// A coda sign before the bar: the coda begins here.
    pub coda: bool,
    /// *To coda* after the bar.
    pub to_coda: bool,
    /// *Fine* after the bar.
    pub fine: bool,
    /// D.C. or D.S. after the bar.
    pub jump: Option<Jump>,
}

impl Signs {
    /// True when the bar carries no sign at all.
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }
}

/// Refuses signs that lead nowhere.
pub(super) fn check_signs(bars: &[Bar]) -> Result<(), (usize, FaultKind)> {
    let any = |has: fn(&Signs) -> bool| bars.iter().any(|bar| has(&bar.signs));
    let segno = any(|signs| signs.segno);
    let fine = any(|signs| signs.fine);
    let to_coda = any(|signs| signs.to_coda);
    for (at, bar) in bars.iter().enumerate() {
        let signs = &bar.signs;
        let times = signs.ending.iter().copied().chain(signs.repeat_end);
        if let Some(given) = times.clone().find(|&times| times > MAX_TIMES) {
            return Err((at, FaultKind::Times { given }));
        }
        if let Some(given) = signs.repeat_end.filter(|&times| times < 2) {
            return Err((at, FaultKind::Times { given }));
        }
        if signs.ending.contains(&0) {
            return Err((at, FaultKind::Times { given: 0 }));
        }
        if signs.to_coda && !bars[at + 1..].iter().any(|bar| bar.signs.coda) {
            return Err((at, FaultKind::NoCoda));
        }
        let Some(jump) = signs.jump else { continue };
        if jump.to == JumpTo::Segno && !segno {
            return Err((at, FaultKind::NoSegno));
        }
        match jump.until {
            Some(Until::Fine) if !fine => return Err((at, FaultKind::NoFine)),
            Some(Until::Coda) if !to_coda => return Err((at, FaultKind::NoToCoda)),
            _ => {}
        }
    }
    Ok(())
}
