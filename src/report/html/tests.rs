//! The page and its pictures: figures, scale, and texts that want to be more than text.

use roxmltree::{Document, Node};

use super::{PageOptions, page, pictures};
use crate::report::text::Practise;
use crate::report::{sample, sample_practice};
use crate::session::result::TakeResult;

fn options() -> PageOptions {
    PageOptions {
        mark: "written by seamline score".into(),
        practise: Some(Practise {
            line: "my.line".into(),
            share: 1.0,
        }),
        sound_wav: None,
        curves: None,
    }
}

fn all() -> [TakeResult; 6] {
    [
        sample::clean(),
        sample::flawed(),
        sample::dense(),
        sample_practice::practice(),
        sample::another_line(),
        sample::nothing_heard(),
    ]
}

/// Golden: our own earlier output. It detects change and proves nothing.
#[test]
fn golden_picture_is_unchanged() {
    let pictures = pictures(&sample::flawed(), "written by seamline score");
    let names: Vec<&str> = pictures.iter().map(|p| p.name.as_str()).collect();
    assert_eq!(
        names,
        ["bar-1.svg", "bar-2.svg", "time.svg", "loudness.svg"]
    );
    sample::check_golden("flawed-bar-1.svg", &pictures[0].svg);
}

/// XML 1.0: a picture is well-formed, and says who wrote it before all else.
#[test]
fn every_picture_is_well_formed() {
    for result in all() {
        for picture in pictures(&result, "written by seamline score") {
            assert!(
                picture
                    .svg
                    .starts_with("<!-- written by seamline score -->\n<svg ")
            );
            let document = Document::parse(&picture.svg);
            assert!(document.is_ok(), "{}: {document:?}", picture.name);
        }
    }
}

/// Every tag of a page with the names of its attributes, and what links and policies say.
fn skeleton(html: &str) -> Vec<String> {
    let mut tags = Vec::new();
    let mut rest = html;
    while let Some(at) = rest.find('<') {
        rest = &rest[at + 1..];
        if let Some(comment) = rest.strip_prefix("!--") {
            let end = comment.find("-->").expect("the comment ends");
            rest = &comment[end + 3..];
            continue;
        }
        // Within quotes a `>` is a letter.
        let (mut quoted, mut end) = (false, rest.len());
        for (at, letter) in rest.char_indices() {
            match letter {
                '"' => quoted = !quoted,
                '>' if !quoted => {
                    end = at;
                    break;
                }
                _ => {}
            }
        }
        let parts: Vec<&str> = rest[..end].split('"').collect();
        // Every second part lies between quotes: a value.
        let kept = |(at, part): (usize, &&str)| match at % 2 {
            0 => Some(part.trim().to_owned()).filter(|part| !part.is_empty()),
            _ if parts[at - 1].ends_with("href=") => Some((*part).to_owned()),
            _ => None,
        };
        tags.push(
            parts
                .iter()
                .enumerate()
                .filter_map(kept)
                .collect::<Vec<_>>()
                .join(" "),
        );
        rest = &rest[end..];
    }
    tags
}

/// Payloads from the usual ways to break out of text, attributes, comments, styles and links.
///
/// # Source
/// OWASP Cross Site Scripting Prevention Cheat Sheet: what must be escaped where.
const PAYLOADS: [&str; 8] = [
    "<script>alert(1)</script>",
    "\"><img src=x onerror=alert(1)>",
    "' onmouseover='alert(1)",
    "\" onfocus=\"alert(1)\" autofocus x=\"",
    "--><script>alert(1)</script><!--",
    "</title></style></svg><svg onload=alert(1)>",
    "javascript:alert(1)",
    "&lt;script&gt;\u{0}\u{8}\u{202e}&#x22;><a href=//x>",
];

/// The hostile page has the very tags, attributes and links of the harmless one.
#[test]
fn no_text_becomes_markup() {
    let hostile = |mut result: TakeResult, text: &str| {
        result.line.title = Some(text.to_owned());
        result.take.file = text.to_owned();
        result.take.sound_notes = vec![text.to_owned()];
        for name in &mut result.line.strings {
            *name = text.to_owned();
        }
        for bar in &mut result.line.bars {
            for (_, symbol) in &mut bar.chords {
                *symbol = text.to_owned();
            }
        }
        for finding in &mut result.judgement.findings {
            finding.sentence = text.to_owned();
        }
        result
    };
    for result in all() {
        let with = |text: &str| {
            let result = hostile(result.clone(), text);
            let mut options = options();
            options.practise = Some(Practise {
                line: text.to_owned(),
                share: 1.0,
            });
            (page(&result, &options), pictures(&result, ""))
        };
        let (plain, plain_pictures) = with("harmless");
        let wanted = skeleton(&plain);
        assert!(
            wanted
                .iter()
                .all(|tag| !tag.contains(" on") && !tag.starts_with("script"))
        );
        for payload in PAYLOADS {
            let (html, drawn) = with(payload);
            assert_eq!(skeleton(&html), wanted, "{payload}");
            for (plain, drawn) in plain_pictures.iter().zip(&drawn) {
                assert_eq!(skeleton(&drawn.svg), skeleton(&plain.svg), "{payload}");
            }
        }
    }
}

/// The check itself sees what it is to see.
#[test]
fn the_skeleton_shows_what_broke_out() {
    assert_eq!(skeleton("<p>a &lt;b&gt;</p>"), ["p", "/p"]);
    assert_eq!(skeleton("<p class=\"x>y\">"), ["p class="]);
    assert_eq!(skeleton("<a href=\"#n1\">"), ["a href= #n1"]);
    assert_ne!(
        skeleton("<p class=\"x\" onload=\"y\">"),
        skeleton("<p class=\"x\">")
    );
}

/// Nothing is asked of a network: no address but the name of SVG's name space, and a policy that
/// allows nothing from outside.
#[test]
fn the_page_needs_nothing_else() {
    for result in all() {
        for sound_wav in [None, Some(vec![1, 2, 3])] {
            let with_sound = sound_wav.is_some();
            let html = page(
                &result,
                &PageOptions {
                    sound_wav,
                    ..options()
                },
            );
            assert!(html.starts_with("<!doctype html>\n<!-- written by seamline score -->\n"));
            let other = html.replace("http://www.w3.org/2000/svg", "");
            for outside in [
                "http:", "https:", "//", "url(h", "@import", "<link", "<iframe",
            ] {
                let found = other.matches(outside).count();
                // A slash is a letter of the sound, and there alone two may stand side by side.
                assert!(found == 0, "{outside} in {}", result.take.file);
            }
            assert!(html.contains("content=\"default-src 'none'; style-src 'unsafe-inline'"));
            assert_eq!(html.contains("<script>"), with_sound);
            assert_eq!(html.contains("script-src 'sha256-"), with_sound);
            assert_eq!(html.contains("data:audio/wav;base64,AQID"), with_sound);
        }
    }
}

fn number(node: Node, name: &str) -> f64 {
    let text = node
        .attribute(name)
        .unwrap_or_else(|| panic!("{name} of {node:?}"));
    text.parse().unwrap_or_else(|_| panic!("{name}: `{text}`"))
}

/// Closed form: the sample's quarters last 625 ms on their grid, and a bar of four with its edges
/// takes 372 - 44 units, so that a millisecond has one width everywhere.
#[test]
fn notes_and_gaps_are_drawn_to_scale() {
    let mut result = sample::flawed();
    let next_s = {
        let notes = &result.judgement.passes[0].notes;
        notes[4].heard.as_ref().expect("heard").onset_s
    };
    let heard = result.judgement.passes[0].notes[3]
        .heard
        .as_mut()
        .expect("heard");
    heard.release_s = next_s - 0.0842;
    heard.timing_ms = Some(-2.345);
    let drawn = pictures(&result, "");
    let document = Document::parse(&drawn[0].svg).expect("well-formed");
    let per_ms = 328.0 / (4.0 + 0.15 + 0.4) / 625.0;
    let class = |node: &Node, wanted: &str| {
        node.attribute("class")
            .is_some_and(|class| class.split(' ').any(|c| c == wanted))
    };
    let groups = document.descendants().filter(|node| class(node, "of-note"));
    let mut seen = 0;
    for group in groups.filter(|group| group.attribute("data-verdict") == Some("right")) {
        let sounding = group
            .children()
            .find(|n| class(n, "sounding"))
            .expect("it sounded");
        let lasted_ms = 1000.0 * (number(group, "data-release-s") - number(group, "data-onset-s"));
        let width = number(sounding, "width");
        // The grid bends by what single notes of the sample were moved: up to 45 ms of 625.
        assert!(
            (width - lasted_ms * per_ms).abs() < 0.1 * width,
            "{width} for {lasted_ms} ms"
        );
        if let Some(gap) = group.children().find(|n| class(n, "gap")) {
            let width = number(gap, "width");
            let wanted = number(group, "data-gap-ms") * per_ms;
            assert!(
                (width - wanted).abs() < 0.1 * wanted,
                "{width}, not {wanted}"
            );
            let from = number(gap, "x");
            let end = number(sounding, "x") + number(sounding, "width");
            assert!(
                (from - end).abs() < 0.02,
                "the gap begins where the note ends"
            );
            seen += 1;
        }
    }
    assert_eq!(seen, 1, "one gap is drawn");
}

/// Every row of a list of notes is reached by its link, and every link leads somewhere.
#[test]
fn links_lead_to_the_words_of_their_note() {
    for result in all() {
        let html = page(&result, &options());
        for part in html.split("href=\"#").skip(1) {
            let id = part.split('"').next().expect("a value");
            assert_eq!(html.matches(&format!("id=\"{id}\"")).count(), 1, "{id}");
        }
        for part in html.split(" id=\"").skip(1) {
            let id = part.split('"').next().expect("a value");
            assert_eq!(
                html.matches(&format!(" id=\"{id}\"")).count(),
                1,
                "{id} twice"
            );
        }
    }
}

/// Meaning never rests on colour alone: each thing that is wrong stands there as a word, too.
#[test]
fn what_is_wrong_stands_there_as_a_word() {
    let pictures = pictures(&sample::flawed(), "");
    let words: Vec<String> = pictures[..2]
        .iter()
        .flat_map(|picture| {
            let document = Document::parse(&picture.svg).expect("well-formed");
            let words = document.descendants().filter(|node| {
                node.attribute("class")
                    .is_some_and(|class| class.starts_with("word"))
            });
            words
                .filter_map(|node| node.text().map(str::to_owned))
                .collect::<Vec<_>>()
        })
        .collect();
    let wanted = [
        "wrong Db2",
        "extra D2",
        "late 41",
        "early 32",
        "gap 84",
        "bleed D",
        "sharp 27 ct",
        "missed",
        "dead",
        "clipped",
    ];
    for word in wanted {
        assert!(
            words.iter().any(|w| w == word),
            "{word} is not in {words:?}"
        );
    }
}
