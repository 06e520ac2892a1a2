//! The bars of a `.line` text.
//!
//! A word that is not understood is told and left out; what hangs on it is then in doubt (see
//! [`Doubts`]) and no other fault is made of that.

use super::error::TextFault;
use super::reader::{Reader, Span};
use super::signs::{Around, misplaced, split_signs};
use super::word::{Said, StringAfter, Unread, Word, read_word, string_after, unread, words};
use crate::music::line::check::Doubts;
use crate::music::line::error::FaultKind;
use crate::music::line::length::Length;
use crate::music::line::model::{Bar, ChordMark, Event, EventKind, Grace, Lacks, TempoMark};
use crate::music::line::order::MAX_EVENTS;
use crate::music::line::tempo::Tempo;
use crate::music::theory::ChordSymbol;

/// Where a bar and its events stand.
#[derive(Clone, Debug)]
pub(super) struct BarSpans {
    pub whole: Span,
    pub events: Vec<Span>,
}

/// A bar while it is being read.
struct OpenBar {
    bar: Bar,
    spans: BarSpans,
    doubts: Doubts,
    /// Grace notes that wait for their note, with the place of the last.
    graces: Vec<(Grace, Span)>,
    /// Where the next event goes.
    at: Length,
    /// Where marks were put, and where they stand in the text.
    marks: Vec<(Length, Span)>,
    /// True once a word of it was understood.
    understood: bool,
}

impl OpenBar {
    fn push(&mut self, mut event: Event, span: Span) {
        self.at += event.length;
        event.graces = self.graces.drain(..).map(|(grace, _)| grace).collect();
        self.bar.events.push(event);
        self.spans.events.push(span);
    }

    /// Something that was not understood, and may sound, stands here.
    fn doubt_sound(&mut self) {
        let next = self.bar.events.len();
        if self.doubts.before.last() != Some(&next) {
            self.doubts.before.push(next);
        }
    }

    fn add_chord(
        &mut self,
        later: Length,
        symbol: ChordSymbol,
        span: Span,
    ) -> Result<(), FaultKind> {
        let at = self.at + later;
        if self.bar.chords.iter().any(|mark| mark.at == at) {
            return Err(FaultKind::MarksCollide);
        }
        self.marks.push((at, span));
        self.bar.chords.push(ChordMark { at, symbol });
        Ok(())
    }

    fn add_tempo(&mut self, later: Length, tempo: Tempo, span: Span) -> Result<(), FaultKind> {
        let at = self.at + later;
        if self.bar.tempos.iter().any(|mark| mark.at == at) {
            return Err(FaultKind::MarksCollide);
        }
        self.marks.push((at, span));
        self.bar.tempos.push(TempoMark { at, tempo });
        Ok(())
    }

    /// Takes out the marks beyond its end and gives their places; puts the others in order.
    fn sort_marks(&mut self) -> Vec<Span> {
        let end = self.at;
        self.bar.chords.retain(|mark| mark.at < end);
        self.bar.tempos.retain(|mark| mark.at < end);
        self.bar.chords.sort_by_key(|mark| mark.at);
        self.bar.tempos.sort_by_key(|mark| mark.at);
        let beyond = self.marks.iter().filter(|(at, _)| *at >= end);
        beyond.map(|(_, span)| *span).collect()
    }
}

impl Reader<'_> {
    /// Reads the bar in `segment`, which begins at `column` of text line `number`.
    pub(super) fn read_bar(&mut self, number: usize, segment: &str, column: usize) {
        let all_words = words(segment, column);
        let whole = whole_span(&all_words, number, segment, column);
        let (bar_words, around, sign_faults) = split_signs(&all_words);
        for (word, fault) in sign_faults {
            self.lost = true;
            self.fault(word_span(number, word), fault);
        }
        let pickup = all_words
            .iter()
            .copied()
            .find(|word| around.pickup && word.text == "pickup");
        let misplaced = pickup.filter(|_| !self.bars.is_empty());
        if let Some(word) = misplaced {
            self.fault(word_span(number, word), TextFault::PickupNotFirst);
        }
        self.pickup |= pickup.is_some() && misplaced.is_none();
        if let [word] = bar_words
            && word.text == "%"
        {
            return self.repeat_bar(word_span(number, *word), around);
        }
        let mut open = OpenBar {
            bar: Bar {
                lacks: around.lacks,
                printed: around.printed,
                signs: around.signs,
                ..self.new_bar()
            },
            graces: Vec::new(),
            spans: BarSpans {
                whole,
                events: Vec::new(),
            },
            doubts: Doubts {
                length: misplaced.is_some() || self.meter_in_doubt,
                ..Doubts::default()
            },
            at: Length::ZERO,
            marks: Vec::new(),
            understood: pickup.is_some() || bar_words.is_empty(),
        };
        if self.lost_bar && self.bars.is_empty() {
            open.doubt_sound();
        }
        if bar_words.is_empty() {
            self.fault(whole, TextFault::EmptyBar);
            self.lost = true;
            open.doubts.length = true;
            open.doubt_sound();
        }
        for &word in bar_words {
            if self.stopped {
                return;
            }
            self.read_bar_word(&mut open, word, word_span(number, word));
        }
        self.close_bar(open);
    }

    fn read_bar_word(&mut self, open: &mut OpenBar, word: Word<'_>, span: Span) {
        let said = if word.text == "%" {
            Err(TextFault::RepeatNotAlone)
        } else if let Some(fault) = misplaced(word.text) {
            Err(fault)
        } else {
            read_word(word.text, &self.instrument, &mut self.string)
        };
        let said = match said {
            Ok(said) => said,
            Err(fault) => return self.leave_out(open, word.text, span, fault),
        };
        open.understood = true;
        let mut event = Event::rest(self.length);
        match said {
            Said::Length(length) => {
                self.length = length;
                self.length_in_doubt = false;
                return;
            }
            Said::Chord { later, symbol } => {
                let added = open.add_chord(later, symbol, span);
                return self.mark_added(open, span, added);
            }
            Said::Tempo { later, tempo } => {
                let added = open.add_tempo(later, tempo, span);
                return self.mark_added(open, span, added);
            }
            Said::Grace(grace) => return open.graces.push((grace, span)),
            Said::Rest => {}
            Said::Hold { breath_after } => {
                event.kind = EventKind::Hold;
                event.breath_after = breath_after;
            }
            Said::Notes {
                notes,
                start,
                staccato,
                accent,
                breath_after,
            } => {
                event.kind = EventKind::Notes {
                    notes,
                    start,
                    staccato,
                };
                event.accent = accent;
                event.breath_after = breath_after;
            }
        }
        open.doubts.length |= self.length_in_doubt;
        open.push(event, span);
    }

    fn mark_added(&mut self, open: &OpenBar, span: Span, added: Result<(), FaultKind>) {
        // Behind a word that was left out nobody knows where a mark stands.
        if let Err(kind) = added
            && !open.doubts.length
        {
            self.fault(span, kind.into());
        }
    }

    /// Tells a word that was not understood and goes on without it.
    fn leave_out(&mut self, open: &mut OpenBar, word: &str, span: Span, fault: TextFault) {
        self.lost = true;
        open.doubts.length = true;
        let string_was_in_doubt = self.string_in_doubt;
        match unread(word) {
            Unread::Mark => {}
            Unread::Length => self.length_in_doubt = true,
            Unread::Sound => {
                open.graces.clear();
                open.doubt_sound();
                self.string_in_doubt = true;
                match string_after(word, self.instrument.strings()) {
                    StringAfter::Same => {}
                    StringAfter::Named(string) => self.string = Some(string),
                    StringAfter::Unknown => self.string = None,
                }
            }
        }
        let follows = string_was_in_doubt && matches!(fault, TextFault::NoStringYet { .. });
        if !follows {
            self.fault(span, fault);
        }
    }

    fn close_bar(&mut self, mut open: OpenBar) {
        if !open.understood && self.bars.is_empty() {
            // Not a word of it was one: a line of something else above the first bar.
            self.lost_bar = true;
            return;
        }
        self.events += open.bar.events.len();
        let is_pickup = self.pickup && self.bars.is_empty();
        // The marks of a bar that is too short stand beyond its end for that reason.
        let is_short = is_pickup || open.bar.lacks != Lacks::Nothing;
        let is_full = is_short || open.at >= open.bar.meter.bar_length();
        if let Some((_, span)) = open.graces.pop() {
            self.fault(span, FaultKind::GraceWithoutNote.into());
        }
        if is_full || open.doubts.length {
            let beyond = open.sort_marks();
            if !open.doubts.length {
                for span in beyond {
                    self.fault(span, FaultKind::MarkOutside.into());
                }
            }
        } else {
            open.bar.chords.sort_by_key(|mark| mark.at);
            open.bar.tempos.sort_by_key(|mark| mark.at);
        }
        self.check_size(open.spans.whole);
        self.bars.push(open.bar);
        self.spans.push(open.spans);
        self.doubts.push(open.doubts);
    }

    /// An empty bar with what is in force, and a tempo given since the last bar.
    fn new_bar(&mut self) -> Bar {
        let coming = self.coming_tempo.take();
        let tempos = coming.map(|tempo| TempoMark {
            at: Length::ZERO,
            tempo,
        });
        Bar {
            tempos: tempos.into_iter().collect(),
            ..Bar::new(self.meter, self.key)
        }
    }

    fn check_size(&mut self, span: Span) {
        if self.events > MAX_EVENTS {
            self.fault(span, TextFault::TooManyEvents { limit: MAX_EVENTS });
            self.stopped = true;
        }
    }

    fn repeat_bar(&mut self, span: Span, around: Around) {
        let first_full = usize::from(self.pickup);
        let last = self.bars.len().checked_sub(1);
        let last = last.filter(|&last| last >= first_full);
        let mut bar = self.new_bar();
        let mut doubts = Doubts::default();
        if let Some(last) = last {
            bar.chords = self.bars[last].chords.clone();
            bar.events = self.bars[last].events.clone();
            bar.lacks = match around.lacks {
                Lacks::Nothing => self.bars[last].lacks,
                lacks => lacks,
            };
            doubts = self.doubts[last].clone();
            doubts.copy_of = doubts.copy_of.or(Some(last));
            doubts.length |= self.meter_in_doubt;
        } else {
            if !self.lost_bar {
                self.fault(span, TextFault::NothingToRepeat);
            }
            self.lost = true;
            doubts.length = true;
            doubts.before = vec![0];
        }
        bar.printed = around.printed;
        bar.signs = around.signs;
        self.events += bar.events.len();
        self.check_size(span);
        self.spans.push(BarSpans {
            whole: span,
            events: vec![span; bar.events.len()],
        });
        self.bars.push(bar);
        self.doubts.push(doubts);
    }
}

fn whole_span(words: &[Word<'_>], number: usize, segment: &str, column: usize) -> Span {
    match (words.first(), words.last()) {
        (Some(first), Some(last)) => Span {
            line: number,
            column: first.column,
            width: last.column - first.column + last.text.chars().count(),
        },
        _ => Span {
            line: number,
            column,
            width: segment.chars().count().max(1),
        },
    }
}

fn word_span(number: usize, word: Word<'_>) -> Span {
    Span {
        line: number,
        column: word.column,
        width: word.text.chars().count().max(1),
    }
}
