//! A page as a document: its head, what it may do, and the foot that stands under every page.

use std::fmt::Write as _;

use super::draw::escaped;
use super::style;

/// What a page holds beside its own words.
#[derive(Clone, Debug, Default)]
pub(super) struct Document<'a> {
    /// Its title, as text.
    pub title: &'a str,
    /// Who made it, told in its second line; nothing where it is empty.
    pub mark: &'a str,
    /// Further rules of its look, behind those of every page.
    pub style: &'a str,
    /// Further rules of its policy, each with a semicolon before it.
    pub policy: &'a str,
    /// The script, its tags with it; empty for none.
    pub script: &'a str,
}

/// What a page may do: show its own styles, and nothing else.
///
/// # Source
/// Content Security Policy Level 3 (W3C).
const POLICY: &str =
    "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'";

/// The whole page, ending with a line feed. `body` is markup.
pub(super) fn document(document: &Document, body: &str) -> String {
    let title = escaped(document.title);
    let mut out = String::from("<!doctype html>\n");
    out.push_str(&comment(document.mark));
    let _ = write!(
        out,
        "<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"{POLICY}{}\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta name=\"referrer\" content=\"no-referrer\">\n\
         <title>{title}</title>\n<style>\n{}{}</style>\n</head>\n<body>\n",
        document.policy,
        style::page(),
        document.style
    );
    let _ = writeln!(
        out,
        "<svg class=\"unseen\" width=\"0\" height=\"0\" aria-hidden=\"true\">{}</svg>",
        style::PATTERNS
    );
    let _ = write!(out, "<main>\n<h1>{title}</h1>\n{body}");
    out.push_str(
        "</main>\n<footer><p>Stop when something hurts, and rest between hard stretches. A \
         teacher sees what a recording does not tell.</p></footer>\n",
    );
    out.push_str(document.script);
    out.push_str("</body>\n</html>\n");
    out
}

/// The mark as a comment on a line of its own; two hyphens would end it.
pub(super) fn comment(mark: &str) -> String {
    if mark.is_empty() {
        return String::new();
    }
    format!("<!-- {} -->\n", escaped(mark).replace("--", "- -"))
}

/// A part of a page under a heading of its own; nothing where its markup is empty.
pub(super) fn section(id: &str, heading: &str, body: &str) -> String {
    if body.is_empty() {
        return String::new();
    }
    format!(
        "<section aria-labelledby=\"{id}\">\n<h2 id=\"{id}\">{heading}</h2>\n{body}</section>\n"
    )
}
