//! Several mistakes in one `.line` text: all are told, none twice, none that another one caused.

use seamline::music::line::{read_bytes, read_text};

/// What is told of `text`: text line, column and the words of each mistake.
fn told(text: &str) -> Vec<(usize, usize, String)> {
    let errors = read_text(text).expect_err(text);
    errors
        .all()
        .iter()
        .map(|error| (error.line, error.column, error.fault.to_string()))
        .collect()
}

/// Holds what is told of `text` against places and words.
fn tells(text: &str, wanted: &[(usize, usize, &str)]) {
    let found = told(text);
    let fits = found.len() == wanted.len()
        && found.iter().zip(wanted).all(|(found, wanted)| {
            (found.0, found.1) == (wanted.0, wanted.1) && found.2.contains(wanted.2)
        });
    assert!(fits, "{text}\n{found:#?}\nwanted {wanted:#?}");
}

#[test]
fn a_message_of_two_looks_like_this() {
    let error = read_bytes("two.line", b"tempo: fast\n1/2 3:0 blip\n").unwrap_err();
    assert_eq!(
        error.to_string(),
        "two.line, line 1, column 8: `fast` is not a tempo; write beats a minute, for example \
         `96`, or `64 per 1/4.` when the beat is no quarter\n  1 | tempo: fast\n    |        ^^^^\n\
         \n\
         two.line, line 2, column 9: `blip` is not understood; a note is string:fret such as 3:5 \
         or a name such as D2, a rest is r, a hold is =, a length is 1/8, a chord symbol is @Am7\n  \
         2 | 1/2 3:0 blip\n    |         ^^^^\n\
         \n\
         2 mistakes"
    );
}

#[test]
fn all_are_told_in_the_order_of_the_text() {
    tells(
        "title: A\ntempo: fast\nkey: H minor\n\
         1/4 3:0 blip 3:2 3:x\n1/2 3:0 3:2 3:3\n1/1 =! | r | = | 3:5(1)\n",
        &[
            (2, 8, "`fast` is not a tempo"),
            (3, 6, "`H minor` is not a key"),
            (4, 9, "`blip`"),
            (4, 18, "`3:x` is not a place"),
            (5, 13, "holds 6 beats, 2 too many"),
            (6, 5, "a hold takes only"),
            (6, 14, "there is no note to hold here"),
        ],
    );
}

#[test]
fn a_bar_with_a_bad_word_may_have_any_length() {
    tells(
        "1/4 3:0 blip\n1/4 3:0 3:2\n",
        &[(1, 9, "`blip`"), (2, 9, "too few")],
    );
    // A chord symbol behind it may stand anywhere.
    tells("1/4 @Am7 blip @D7 3:0 @G\n", &[(1, 10, "`blip`")]);
    // A length that is not understood reaches to the next one, over bars.
    tells(
        "1/8x 3:0 3:0\n3:0 3:0\n1/4 3:0\n",
        &[(1, 1, "`1/8x` is not a length"), (3, 5, "too few")],
    );
    // A slip in a note is no length.
    tells("1/4 35 3:0\n3:0\n", &[(1, 5, "`35`"), (2, 1, "too few")]);
    // The last bar of a line whose pick-up is in doubt may be short by anything.
    tells("pickup 1/8 blip\n1/1 3:0\n1/2 3:0\n", &[(1, 12, "`blip`")]);
    tells("pickup\n1/1 3:0\n", &[(1, 1, "this bar is empty")]);
}

#[test]
fn what_hangs_on_a_word_left_out_is_no_mistake() {
    // A tie and a slur after a note that was not understood, also over the bar line.
    tells("1/2 blip =\n1/1 3:0\n", &[(1, 5, "`blip`")]);
    tells("1/1 r | 1/1 blip | >3:5\n", &[(1, 13, "`blip`")]);
    // After a bad chord symbol the rest is still a rest.
    tells(
        "1/1 r | @Axyz = \n3:0\n",
        &[(1, 9, "`Axyz`"), (1, 15, "no note to hold")],
    );
    // A hold after a hold of nothing.
    tells("1/2 = =\n1/1 3:0\n", &[(1, 5, "no note to hold")]);
    // The string named last.
    tells("1/2 q:5 :7\n", &[(1, 5, "`q:5`")]);
    tells(
        "1/2 3:x :7\n:5 :25\n",
        &[(1, 5, "`3:x`"), (2, 4, "no string 3 fret 25")],
    );
    tells("1/2 :5 :7\n", &[(1, 5, "leaves out the string")]);
    tells(
        "1/2 4:3&2:x :30\n",
        &[(1, 5, "`2:x`"), (1, 13, "no string 2 fret 30")],
    );
    // No note was understood: that is told by the words.
    tells("1/1 blip\n", &[(1, 5, "`blip`")]);
}

#[test]
fn a_header_fault_does_not_spread_and_hides_nothing() {
    // The bars are not held against the meter before or the default.
    tells(
        "meter: 3/x\n1/4 3:0 3:0 3:0\n3:0 blip\nmeter: 4/4\n3:0\n",
        &[
            (1, 8, "`3/x` is not a meter"),
            (3, 5, "`blip`"),
            (5, 1, "too few"),
        ],
    );
    // Notes are not held against an instrument that is not known.
    tells(
        "tuning: B0 E A1 D2 G2\nfrets: 20\n1/2 5:2 5:3(7)\nB0 3:99\n",
        &[
            (1, 9, "string 2 of the tuning"),
            (3, 9, "`(7)` is not a finger"),
        ],
    );
    tells("frets: 99\nscale: 860\n1/1 3:30\n", &[(1, 8, "99 frets")]);
    // A misspelt entry says what it means.
    tells(
        "metre: 3/4\n1/4 3:0 3:0 3:0\n",
        &[(1, 1, "is `meter:` meant?")],
    );
    tells(
        "Takt: 3/4\n1/4 3:0 3:0 3:0\n",
        &[(1, 1, "no header entry `Takt:`")],
    );
    tells("tunning: 5\n1/1 5:2\n", &[(1, 1, "is `tuning:` meant?")]);
    tells(
        "swing 2:1\n1/1 3:0\n",
        &[(1, 1, "put a colon behind it: `swing:`")],
    );
    // Given twice, neither counts.
    tells(
        "meter: 4/4\nmeter: 3/4\n1/4 3:0 3:0 3:0\n",
        &[(2, 1, "already given on line 1")],
    );
    tells(
        "1/1 5:2\ntuning: 5\n1/1 5:2\n",
        &[(2, 1, "belongs above the first bar")],
    );
    // A line of something else at the top is no bar.
    tells(
        "My song\ntuning: 5\npickup 1/4 5:2\n1/1 5:2\n",
        &[(1, 1, "`My`"), (1, 4, "`song`")],
    );
}

#[test]
fn a_repeat_repeats_no_mistake() {
    tells("1/4 3:0 3:0\n%\n%\n", &[(1, 9, "too few")]);
    tells("1/4 3:0 blip\n%\n%\n", &[(1, 9, "`blip`")]);
    tells("1/1 D1\n%\n", &[(1, 5, "D1 cannot be played")]);
    tells("%\n%\n1/1 3:0\n", &[(1, 1, "there is none")]);
    // Its own are told: the meter changed.
    tells(
        "1/1 3:0\nmeter: 3/4\n%\n",
        &[(3, 1, "holds 4 beats, 1 too many")],
    );
    // What is tied into the bar repeated hangs on nothing the second time.
    tells("1/1 3:0 | 1/2 = r | %\n", &[(1, 21, "no note to hold")]);
}

#[test]
fn capitals_and_spaces_are_taken() {
    let line =
        read_text("TITLE : Up\nTempo\t: 96\nFirst  Bar: 3\nswing : OFF\nMETER: 3/4\n1/2. 3:0\n")
            .unwrap_or_else(|error| panic!("{error}"));
    assert_eq!((line.title(), line.first_bar()), ("Up", 3));
    assert_eq!(line.tempo().bpm(), 96.0);
    assert_eq!(line.bars()[0].meter.to_string(), "3/4");
    // A rest and a note on the string named last are no header.
    let line = read_text("1/4 3:5 r 3:3 r\nr :5 r :7\n").unwrap_or_else(|error| panic!("{error}"));
    assert_eq!(line.note_count(), 4);
    for names in ["5", "5-string", "B0 E1 A1 D2 G2", "5-STRING"] {
        let line = read_text(&format!("tuning: {names}\n1/1 5:0\n")).unwrap();
        assert_eq!(line.instrument().strings(), 5, "{names}");
    }
}

#[test]
fn a_text_that_is_no_line_is_soon_put_aside() {
    let few = "1/4 ".to_owned() + &"blip ".repeat(25);
    let message = read_text(&few).unwrap_err().to_string();
    assert_eq!(message.matches("is not understood").count(), 20);
    assert!(
        message.ends_with("\n\nand 5 more; 25 mistakes"),
        "{message}"
    );
    // A hundred thousand words in one text line, a hundred thousand text lines.
    for text in ["blip ".repeat(100_000), "1/1 blip\n".repeat(100_000)] {
        let errors = read_text(&text).unwrap_err();
        assert_eq!(errors.all().len(), 1000);
        let message = errors.to_string();
        assert!(message.ends_with("and 980 more; reading stopped after 1000 mistakes"));
        assert!(message.len() < 20_000, "{}", message.len());
    }
}
