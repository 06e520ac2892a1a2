//! Repeats, endings, jumps and numbers of a bar in a `.line` text.

use super::error::TextFault;
use super::word::Word;
use crate::music::line::check::MAX_FIRST_BAR;
use crate::music::line::model::Lacks;
use crate::music::line::signs::{Jump, JumpTo, Signs, Until};

/// What stands about the notes of a bar.
#[derive(Clone, Debug, Default)]
pub(super) struct Around {
    pub pickup: bool,
    pub signs: Signs,
    pub lacks: Lacks,
    pub printed: Option<u32>,
}

/// The signs at both edges of a bar's words; gives the words between them, and the faults of signs
/// that are not understood.
pub(super) fn split_signs<'w, 'a>(
    words: &'w [Word<'a>],
) -> (&'w [Word<'a>], Around, Vec<(Word<'a>, TextFault)>) {
    let mut around = Around::default();
    let mut faults = Vec::new();
    let mut rest = words;
    while let Some((word, after)) = rest.split_first() {
        match around.read_head(word.text) {
            Ok(true) => {}
            Ok(false) => break,
            Err(fault) => faults.push((*word, fault)),
        }
        rest = after;
    }
    while let Some((word, before)) = rest.split_last() {
        let (read, taken) = around.read_tail(word.text, before);
        match read {
            Ok(true) => {}
            Ok(false) => break,
            Err(fault) => faults.push((*word, fault)),
        }
        rest = &before[..before.len() - taken];
    }
    (rest, around, faults)
}

/// Where a sign would have to stand, for one in the middle of a bar; `None` for other words.
pub(super) fn misplaced(word: &str) -> Option<TextFault> {
    let mut around = Around::default();
    let place = if matches!(around.read_head(word), Ok(true)) && word != ":" {
        "at the head"
    } else if matches!(around.read_tail(word, &[]), (Ok(true), _)) {
        "at the end"
    } else {
        return None;
    };
    Some(TextFault::SignPlace {
        given: word.to_owned(),
        place,
    })
}

impl Around {
    /// Reads a sign before the notes; gives false for any other word.
    fn read_head(&mut self, word: &str) -> Result<bool, TextFault> {
        let wrong = |allowed| TextFault::Sign {
            given: word.to_owned(),
            allowed,
        };
        match word {
            "pickup" => self.pickup = true,
            ":" => self.signs.repeat_start = true,
            "segno" => self.signs.segno = true,
            "coda" => self.signs.coda = true,
            "short" => self.lacks = Lacks::End,
            "upbeat" => self.lacks = Lacks::Beginning,
            _ => {
                if let Some(times) = word.strip_prefix('[') {
                    let times: Result<Vec<u8>, _> = times.split(',').map(str::parse).collect();
                    self.signs.ending = times.map_err(|_| {
                        wrong("an ending is [1 or [1,2 with the times it is played")
                    })?;
                } else if let Some(number) = word.strip_prefix('#') {
                    let number = number.parse().ok();
                    let number = number.filter(|&number| number <= MAX_FIRST_BAR);
                    self.printed = Some(number.ok_or_else(|| {
                        wrong("#12 at the head of a bar is the number printed for it, 0 to 1000000")
                    })?);
                } else {
                    return Ok(false);
                }
            }
        }
        Ok(true)
    }

    /// Reads a sign after the notes, with the words before it that belong to it; gives false for
    /// any other word, and how many words before it were taken.
    fn read_tail(&mut self, word: &str, before: &[Word<'_>]) -> (Result<bool, TextFault>, usize) {
        match word {
            ":" => self.signs.repeat_end = Some(2),
            "]" => self.signs.ending_end = true,
            "fine" if !ends_with(before, &["al"]) => self.signs.fine = true,
            "to-coda" => self.signs.to_coda = true,
            _ => {
                if let Some(times) = word.strip_prefix(":x") {
                    let allowed = ":| plays a section twice, :x3| three times in all";
                    let given = word.to_owned();
                    let times: Result<u8, _> = times.parse();
                    self.signs.repeat_end = times.as_ref().ok().copied();
                    let fault = |_| TextFault::Sign { given, allowed };
                    return (times.map(|_| true).map_err(fault), 0);
                }
                let Some((jump, taken)) = read_jump(word, before) else {
                    return (Ok(false), 0);
                };
                self.signs.jump = Some(jump);
                return (Ok(true), taken);
            }
        }
        (Ok(true), 0)
    }
}

fn ends_with(words: &[Word<'_>], end: &[&str]) -> bool {
    let from = words.len().checked_sub(end.len());
    from.is_some_and(|from| {
        words[from..]
            .iter()
            .map(|word| word.text)
            .eq(end.iter().copied())
    })
}

/// The jump that ends with `word`, and how many words of `before` belong to it.
fn read_jump(word: &str, before: &[Word<'_>]) -> Option<(Jump, usize)> {
    let mut all: Vec<&str> = before.iter().map(|word| word.text).collect();
    all.push(word);
    let count = all.len();
    let mut rest = all.as_slice();
    let repeats_again = rest.last() == Some(&"with-repeats");
    if repeats_again {
        rest = &rest[..rest.len() - 1];
    }
    let until = match rest {
        [.., "al", "fine"] => Some(Until::Fine),
        [.., "al", "coda"] => Some(Until::Coda),
        _ => None,
    };
    if until.is_some() {
        rest = &rest[..rest.len() - 2];
    }
    let to = match *rest.last()? {
        "D.C." => JumpTo::Start,
        "D.S." => JumpTo::Segno,
        _ => return None,
    };
    let jump = Jump {
        to,
        until,
        repeats_again,
    };
    Some((jump, count - rest.len()))
}

/// The words before the notes of a bar.
pub(super) fn head_words(around: &Around) -> Vec<String> {
    let mut words = Vec::new();
    let signs = &around.signs;
    let mut add = |given: bool, word: &str| {
        if given {
            words.push(word.to_owned());
        }
    };
    add(signs.repeat_start, "|:");
    add(around.pickup, "pickup");
    add(around.lacks == Lacks::End, "short");
    add(around.lacks == Lacks::Beginning, "upbeat");
    add(signs.segno, "segno");
    add(signs.coda, "coda");
    if let Some(number) = around.printed {
        add(true, &format!("#{number}"));
    }
    if !signs.ending.is_empty() {
        let times: Vec<String> = signs.ending.iter().map(u8::to_string).collect();
        add(true, &format!("[{}", times.join(",")));
    }
    words
}

/// The words after the notes of a bar.
pub(super) fn tail_words(signs: &Signs) -> Vec<String> {
    let mut words = Vec::new();
    let mut add = |given: bool, word: &str| {
        if given {
            words.push(word.to_owned());
        }
    };
    add(signs.ending_end, "]");
    add(signs.to_coda, "to-coda");
    add(signs.fine, "fine");
    if let Some(jump) = signs.jump {
        let to = match jump.to {
            JumpTo::Start => "D.C.",
            JumpTo::Segno => "D.S.",
        };
        add(true, to);
        match jump.until {
            Some(Until::Fine) => add(true, "al fine"),
            Some(Until::Coda) => add(true, "al coda"),
            None => {}
        }
        add(jump.repeats_again, "with-repeats");
    }
    match signs.repeat_end {
        Some(2) => add(true, ":|"),
        Some(times) => add(true, &format!(":x{times}|")),
        None => {}
    }
    words
}
