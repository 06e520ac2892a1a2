//! What stands between the root and the bass of a chord symbol, read into degrees.
//!
//! First the kind of chord with its number (`m7`, `maj9`, `°7`), then what is added, left out,
//! suspended or altered, alone or in brackets. Common practice of printed chord symbols; what the
//! kinds hold is the table of `kind-value` in MusicXML 4.0 (W3C, 2021): an eleventh has its ninth,
//! a thirteenth its eleventh.

use super::interval::Degree;

/// Words for major, longest first where one begins another.
const MAJOR_WORDS: [&str; 9] = ["maj", "Maj", "MAJ", "ma", "Ma", "M", "Δ", "∆", "△"];
/// The signs among them that mean a major seventh without saying so.
const MAJOR_SEVENTH_SIGNS: [&str; 3] = ["Δ", "∆", "△"];
/// Words for minor.
const MINOR_WORDS: [&str; 7] = ["min", "Min", "MIN", "mi", "m", "-", "−"];
/// Words for diminished.
const DIMINISHED_WORDS: [&str; 4] = ["dim", "°", "º", "o"];
/// Signs for half-diminished.
const HALF_DIMINISHED_WORDS: [&str; 2] = ["ø", "Ø"];
/// Words for augmented.
const AUGMENTED_WORDS: [&str; 2] = ["aug", "+"];
/// Numbers of chords with a seventh, longest first.
const STACKS: [(&str, u8); 4] = [("13", 13), ("11", 11), ("9", 9), ("7", 7)];
/// Numbers that stand alone in brackets: `C7(13)`.
const BARE: [(&str, u8); 3] = [("13", 13), ("11", 11), ("9", 9)];
/// Degrees that can be added, longest first.
const ADDED: [(&str, u8); 7] = [
    ("13", 13),
    ("11", 11),
    ("9", 9),
    ("6", 6),
    ("4", 4),
    ("3", 3),
    ("2", 2),
];
/// Degrees that can be left out, longest first.
const OMITTED: [(&str, u8); 6] = [("11", 11), ("9", 9), ("7", 7), ("5", 5), ("3", 3), ("1", 1)];
/// What can be lowered: b5, b9, b13, and b6, as some write b13.
const LOWERED: [(&str, u8); 4] = [("13", 13), ("9", 9), ("5", 5), ("6", 6)];
/// What can be raised: #5, #9, #11, and #4, as some write #11.
const RAISED: [(&str, u8); 4] = [("11", 11), ("9", 9), ("5", 5), ("4", 4)];

/// The part of a symbol that is not understood, from its first character to the end.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Unread<'a>(pub &'a str);

/// Reads what follows a root up to the `/` of the bass. Gives the degrees from the lowest up, and
/// what is left: nothing, or the `/` and what follows.
pub(super) fn read(text: &str) -> Result<(Vec<Degree>, &str), Unread<'_>> {
    let mut reader = Reader {
        rest: text,
        tones: Vec::new(),
        kind: Kind::Plain,
    };
    reader.kind_and_number();
    while !reader.rest.is_empty() && !reader.rest.starts_with('/') {
        if reader.rest.starts_with('(') {
            reader.brackets()?;
        } else {
            reader.item(false)?;
        }
    }
    let Reader {
        rest, mut tones, ..
    } = reader;
    tones.sort_by_key(|tone| (tone.semitones(), tone.number()));
    Ok((tones, rest))
}

/// The kinds of chord, as far as what may follow depends on them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    Plain,
    Major,
    Minor,
    Diminished,
    HalfDiminished,
    Augmented,
    Power,
    Altered,
}

struct Reader<'a> {
    rest: &'a str,
    tones: Vec<Degree>,
    kind: Kind,
}

impl<'a> Reader<'a> {
    fn eat(&mut self, word: &str) -> bool {
        match self.rest.strip_prefix(word) {
            Some(rest) => {
                self.rest = rest;
                true
            }
            None => false,
        }
    }

    fn eat_one(&mut self, words: &[&'static str]) -> Option<&'static str> {
        words.iter().copied().find(|word| self.eat(word))
    }

    /// One of the numbers, as long as no further digit follows: `1` is not the start of `13`.
    fn eat_number(&mut self, numbers: &[(&str, u8)]) -> Option<u8> {
        let before = self.rest;
        let number = numbers.iter().find(|(word, _)| self.eat(word))?.1;
        if self.rest.starts_with(|c: char| c.is_ascii_digit()) {
            self.rest = before;
            return None;
        }
        Some(number)
    }

    fn has(&self, number: u8) -> bool {
        self.tones.iter().any(|tone| tone.number() == number)
    }

    fn put(&mut self, number: u8, alter: i8) {
        let tone = Degree::of(number, alter);
        if !self.tones.contains(&tone) {
            self.tones.push(tone);
        }
    }

    fn remove(&mut self, number: u8) {
        self.tones.retain(|tone| tone.number() != number);
    }

    /// A seventh and what a chord of `number` has above it.
    fn stack(&mut self, number: u8, seventh: i8) {
        self.put(7, seventh);
        for above in [9, 11, 13] {
            if above <= number {
                self.put(above, 0);
            }
        }
    }

    /// True for `6` and for `6/9` in its three ways of writing; puts its tones.
    fn sixth(&mut self) -> bool {
        let nine = self.eat("6/9") || self.eat("69") || self.eat("6(9)");
        if nine {
            self.put(9, 0);
        }
        let sixth = nine || self.eat("6");
        if sixth {
            self.put(6, 0);
        }
        sixth
    }

    /// A word for major with a number behind it, as in `Cm(maj7)`; gives the number.
    fn major_number(&mut self) -> Option<u8> {
        let before = self.rest;
        let word = self.eat_one(&MAJOR_WORDS)?;
        let number = self.eat_number(&STACKS);
        let number = number.or(MAJOR_SEVENTH_SIGNS.contains(&word).then_some(7));
        if number.is_none() {
            self.rest = before;
        }
        number
    }

    fn triad(&mut self, third: i8, fifth: i8) {
        self.put(1, 0);
        self.put(3, third);
        self.put(5, fifth);
    }

    fn kind_and_number(&mut self) {
        // `Cmadd9` is a minor chord, not `ma` and `dd9`.
        let minor_add = self.rest.starts_with("madd");
        if !minor_add && let Some(word) = self.eat_one(&MAJOR_WORDS) {
            self.kind = Kind::Major;
            self.triad(0, 0);
            let seventh = MAJOR_SEVENTH_SIGNS.contains(&word).then_some(7);
            if !self.sixth()
                && let Some(number) = self.eat_number(&STACKS).or(seventh)
            {
                self.stack(number, 0);
            }
        } else if self.eat_one(&MINOR_WORDS).is_some() {
            self.kind = Kind::Minor;
            self.triad(-1, 0);
            if let Some(number) = self.major_number() {
                self.stack(number, 0);
            } else if !self.sixth()
                && let Some(number) = self.eat_number(&STACKS)
            {
                self.stack(number, -1);
            }
        } else if !self.rest.starts_with("omit") && self.eat_one(&DIMINISHED_WORDS).is_some() {
            self.kind = Kind::Diminished;
            self.triad(-1, -1);
            if let Some(number) = self.major_number() {
                self.stack(number, 0);
            } else if let Some(number) = self.eat_number(&STACKS) {
                self.stack(number, -2);
            }
        } else if self.eat_one(&HALF_DIMINISHED_WORDS).is_some() {
            self.kind = Kind::HalfDiminished;
            self.triad(-1, -1);
            let number = self.eat_number(&STACKS).unwrap_or(7);
            self.stack(number, -1);
        } else if self.eat_one(&AUGMENTED_WORDS).is_some() {
            self.kind = Kind::Augmented;
            self.triad(0, 1);
            if let Some(number) = self.major_number() {
                self.stack(number, 0);
            } else if let Some(number) = self.eat_number(&STACKS) {
                self.stack(number, -1);
            }
        } else {
            self.plain();
        }
    }

    /// No word for a kind: a major triad, a sixth, a dominant chord, a bare fifth, or `alt`.
    fn plain(&mut self) {
        if self.eat("alt") {
            self.altered();
            return;
        }
        if self.eat_number(&[("5", 5)]).is_some() {
            self.kind = Kind::Power;
            self.put(1, 0);
            self.put(5, 0);
            return;
        }
        self.triad(0, 0);
        if !self.sixth()
            && let Some(number) = self.eat_number(&STACKS)
        {
            self.stack(number, -1);
            if number == 7 && self.eat("alt") {
                self.altered();
            }
        }
    }

    /// The altered dominant: third and seventh, both altered fifths, both altered ninths. Common
    /// practice, no source.
    fn altered(&mut self) {
        self.kind = Kind::Altered;
        self.tones.clear();
        for (number, alter) in [(1, 0), (3, 0), (5, -1), (5, 1), (7, -1), (9, -1), (9, 1)] {
            self.put(number, alter);
        }
    }

    /// One or more items between brackets, with a comma, a slash or nothing between them.
    fn brackets(&mut self) -> Result<(), Unread<'a>> {
        let opening = self.rest;
        self.eat("(");
        loop {
            self.item(true)?;
            if self.eat(")") {
                return Ok(());
            }
            if self.rest.is_empty() {
                return Err(Unread(opening));
            }
            if !self.eat(",") {
                self.eat("/");
            }
        }
    }

    /// Something added, left out, suspended or altered.
    fn item(&mut self, in_brackets: bool) -> Result<(), Unread<'a>> {
        let from = self.rest;
        let done = if self.eat("sus") {
            self.suspend()
        } else if self.eat("add") {
            self.add()
        } else if self.eat("omit") || self.eat("no") {
            self.omit()
        } else if let Some(number) = self.major_number() {
            // `Cm9(maj7)` says what its seventh is; in `Cm7(maj7)` there would be two.
            let named = self.kind == Kind::Minor && self.has(9) && number == 7;
            if named {
                self.tones.retain(|&tone| tone != Degree::of(7, -1));
            }
            let free = !self.has(7) && self.kind != Kind::Power;
            self.stack(number, 0);
            free
        } else if self.rest.starts_with(['b', '♭', '#', '♯', '-', '+']) {
            self.alter()
        } else if in_brackets && self.kind == Kind::Plain && self.eat("alt") {
            let dominant = self.tones.contains(&Degree::of(7, -1));
            self.altered();
            dominant
        } else if in_brackets && let Some(number) = self.eat_number(&BARE) {
            let free = !self.has(number);
            self.put(number, 0);
            free
        } else {
            false
        };
        if done { Ok(()) } else { Err(Unread(from)) }
    }

    /// `sus`, `sus2`, `sus4`, and `sus7`, `sus9`, `sus13` for a suspended dominant.
    fn suspend(&mut self) -> bool {
        if !self.has(3) {
            return false;
        }
        let second = self.eat_number(&[("2", 2)]).is_some();
        let fourth = !second && self.eat_number(&[("4", 4)]).is_some();
        if !second
            && !fourth
            && !self.has(7)
            && let Some(number) = self.eat_number(&STACKS)
        {
            self.stack(number, -1);
        }
        let (put, doubled) = if second { (2, 9) } else { (4, 11) };
        self.remove(3);
        self.remove(doubled);
        self.put(put, 0);
        true
    }

    fn add(&mut self) -> bool {
        let alter = match self.rest.chars().next() {
            Some('b' | '♭') => -1,
            Some('#' | '♯') => 1,
            _ => 0,
        };
        if alter != 0 {
            self.rest = self.rest.trim_start_matches(['b', '♭', '#', '♯']);
        }
        let Some(number) = self.eat_number(&ADDED) else {
            return false;
        };
        // A third is only added to a chord that has none.
        let free = number != 3 || (!self.has(3) && alter == 0);
        self.put(number, alter);
        free
    }

    fn omit(&mut self) -> bool {
        let Some(number) = self.eat_number(&OMITTED) else {
            return false;
        };
        let there = self.has(number) && self.tones.len() > 2;
        self.remove(number);
        there
    }

    /// `b9`, `#5`, `-5`, `+9`; a `+` alone behind a dominant chord raises its fifth (`G7+`).
    fn alter(&mut self) -> bool {
        if matches!(self.kind, Kind::Power | Kind::Altered) {
            return false;
        }
        let raised = self.rest.starts_with(['#', '♯', '+']);
        let plus = self.rest.starts_with('+');
        let mut chars = self.rest.chars();
        chars.next();
        self.rest = chars.as_str();
        let (alter, numbers) = if raised { (1, &RAISED) } else { (-1, &LOWERED) };
        let number = match self.eat_number(numbers) {
            Some(number) => number,
            None => {
                let ends = self.rest.is_empty() || self.rest.starts_with(['(', '/']);
                let dominant = self.tones.contains(&Degree::of(7, -1));
                if !(plus && ends && dominant && self.kind == Kind::Plain) {
                    return false;
                }
                5
            }
        };
        let of_its_own = matches!(
            self.kind,
            Kind::Diminished | Kind::HalfDiminished | Kind::Augmented
        );
        let tone = Degree::of(number, alter);
        if self.tones.contains(&tone) || (number == 5 && of_its_own) {
            return false;
        }
        let natural = Degree::of(number, 0);
        if number != 6 && number != 4 {
            self.tones.retain(|&tone| tone != natural);
        }
        self.put(number, alter);
        true
    }
}
