//! From bytes to the XML tree of a score, and its parts.

use std::borrow::Cow;

use roxmltree::{Document, Node, ParsingOptions};

use super::error::MusicXmlError;

/// Most nodes (elements, texts, comments) of a score: a symphony has some hundred thousand. Raising
/// it lets a file of 16 MB take more than a few hundred MB of memory.
const NODES_MAX: u32 = 2_000_000;

/// Most bars read from a score.
pub(super) const MAX_BARS: usize = 24_000;

/// The text of a score in UTF-8, UTF-16 with a byte order mark, or, where it says so, Latin-1.
pub(super) fn text_of(bytes: &[u8]) -> Result<Cow<'_, str>, MusicXmlError> {
    let wide = |from: fn([u8; 2]) -> u16| {
        let units = bytes[2..]
            .chunks_exact(2)
            .map(|pair| from([pair[0], pair[1]]));
        char::decode_utf16(units)
            .collect::<Result<String, _>>()
            .map(Cow::Owned)
            .map_err(|_| MusicXmlError::NotText { offset: 2 })
    };
    match bytes {
        [0xfe, 0xff, ..] => return wide(u16::from_be_bytes),
        [0xff, 0xfe, ..] => return wide(u16::from_le_bytes),
        _ => {}
    }
    match std::str::from_utf8(bytes) {
        Ok(text) => Ok(Cow::Borrowed(text.trim_start_matches('\u{feff}'))),
        Err(error) => {
            let head = String::from_utf8_lossy(&bytes[..bytes.len().min(100)]).to_ascii_lowercase();
            if head.contains("iso-8859-1") || head.contains("latin1") {
                return Ok(bytes.iter().map(|&byte| char::from(byte)).collect());
            }
            let offset = error.valid_up_to();
            Err(MusicXmlError::NotText { offset })
        }
    }
}

/// The tree of a score. A document type is passed over: nothing outside the file is ever read, and
/// entities of its own are refused.
pub(super) fn parse(text: &str) -> Result<Document<'_>, MusicXmlError> {
    if text.contains("<!ENTITY") {
        return Err(MusicXmlError::Entities);
    }
    let options = ParsingOptions {
        allow_dtd: true,
        nodes_limit: NODES_MAX,
        ..ParsingOptions::default()
    };
    Document::parse_with_options(text, options).map_err(|error| MusicXmlError::Xml {
        cause: error.to_string(),
    })
}

/// The first child element of that name.
pub(super) fn child<'a>(node: Node<'a, 'a>, name: &str) -> Option<Node<'a, 'a>> {
    children(node, name).next()
}

/// The child elements of that name.
pub(super) fn children<'a, 'n>(
    node: Node<'a, 'a>,
    name: &'n str,
) -> impl Iterator<Item = Node<'a, 'a>> + use<'a, 'n> {
    node.children()
        .filter(move |child| child.has_tag_name(name))
}

/// The number in a child element.
pub(super) fn child_number<T: std::str::FromStr>(node: Node<'_, '_>, name: &str) -> Option<T> {
    let child = node.children().find(|child| child.has_tag_name(name));
    child
        .and_then(|child| child.text())
        .and_then(|text| text.trim().parse().ok())
}

/// A bar of one part: its number and whether it counts as one, and what stands in it.
#[derive(Clone, Copy)]
pub(super) struct Measure<'a> {
    pub head: Node<'a, 'a>,
    pub content: Node<'a, 'a>,
}

/// A part of a score.
pub(super) struct Part<'a> {
    pub name: String,
    pub measures: Vec<Measure<'a>>,
    /// Notes with a pitch, grace notes and cues left out.
    pub notes: usize,
}

impl Part<'_> {
    /// As it stands in a list of parts.
    pub fn listed(&self, index: usize) -> String {
        format!("{} `{}` ({} notes)", index + 1, self.name, self.notes)
    }
}

/// The parts of a score, in order.
pub(super) fn parts<'a>(document: &'a Document<'a>) -> Result<Vec<Part<'a>>, MusicXmlError> {
    let root = document.root_element();
    let is_timewise = root.has_tag_name("score-timewise");
    if !is_timewise && !root.has_tag_name("score-partwise") {
        let root = root.tag_name().name().chars().take(40).collect();
        return Err(MusicXmlError::OtherXml { root });
    }
    let mut parts: Vec<(String, Part<'a>)> = Vec::new();
    let mut place = |node: Node<'a, 'a>| -> usize {
        let id = node.attribute("id").unwrap_or_default();
        let at = parts.iter().position(|(known, _)| known == id);
        let at = at.unwrap_or(parts.len());
        if at == parts.len() {
            let name = name_of(root, id);
            let part = Part {
                name,
                measures: Vec::new(),
                notes: 0,
            };
            parts.push((id.to_owned(), part));
        }
        at
    };
    let mut found: Vec<(usize, Measure<'a>)> = Vec::new();
    if is_timewise {
        for head in children(root, "measure") {
            for content in children(head, "part") {
                found.push((place(content), Measure { head, content }));
            }
        }
    } else {
        for part in children(root, "part") {
            let at = place(part);
            let measures = children(part, "measure");
            found.extend(measures.map(|head| {
                (
                    at,
                    Measure {
                        head,
                        content: head,
                    },
                )
            }));
        }
    }
    for (at, measure) in found {
        let part = &mut parts[at].1;
        if part.measures.len() >= MAX_BARS {
            return Err(MusicXmlError::TooManyBars { limit: MAX_BARS });
        }
        let sounds = |note: &Node<'_, '_>| {
            let has = |name| note.children().any(|child| child.has_tag_name(name));
            has("pitch") && !has("grace") && !has("cue")
        };
        part.notes += children(measure.content, "note").filter(sounds).count();
        part.measures.push(measure);
    }
    Ok(parts.into_iter().map(|(_, part)| part).collect())
}

/// The name of a part in the list of parts.
fn name_of(root: Node<'_, '_>, id: &str) -> String {
    let listed = root
        .children()
        .filter(|node| node.has_tag_name("part-list"))
        .flat_map(|list| list.children())
        .find(|part| part.has_tag_name("score-part") && part.attribute("id") == Some(id));
    let text = |name: &str| {
        let node = listed?.children().find(|child| child.has_tag_name(name))?;
        let text = node
            .text()?
            .split_whitespace()
            .collect::<Vec<_>>()
            .join(" ");
        (!text.is_empty()).then_some(text)
    };
    text("part-name")
        .or_else(|| text("part-abbreviation"))
        .unwrap_or_else(|| id.to_owned())
}

/// The title of the score.
pub(super) fn title_of(root: Node<'_, '_>) -> String {
    let find = |path: [&str; 2]| {
        let mut node = root;
        for name in path.iter().filter(|name| !name.is_empty()) {
            node = node.children().find(|child| child.has_tag_name(*name))?;
        }
        let text = node.text()?.trim();
        (!text.is_empty()).then(|| text.to_owned())
    };
    find(["work", "work-title"])
        .or_else(|| find(["movement-title", ""]))
        .unwrap_or_default()
}
