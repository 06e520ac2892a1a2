//! Every path that a piece of Rust source mentions, resolved from the crate's root or from `std`.
//!
//! A small reader of tokens, no compiler: it knows comments, literals, modules written in place,
//! `crate`, `self`, `super` and the braces of a `use`. What it cannot follow (a root under another
//! name, a file under another path) it reports as a path of its own, so that it can be refused.

/// A mentioned path with the line it stands on.
#[derive(Debug, PartialEq, Eq)]
pub struct Mention {
    /// Segments, the first being `crate` or `std` (also for `core` and `alloc`).
    pub segments: Vec<String>,
    /// Line in the file, from 1.
    pub line: usize,
}

#[derive(Clone, Debug, PartialEq, Eq)]
struct Token {
    text: String,
    line: usize,
}

/// All mentions in `source`, a file of the module `module` (empty for the crate's root).
pub fn mentions(source: &str, module: &[&str]) -> Vec<Mention> {
    let tokens = tokens(source);
    let mut here: Vec<String> = module.iter().map(|&name| name.to_owned()).collect();
    // Depths at which modules written in place end.
    let mut inline: Vec<usize> = Vec::new();
    let mut depth = 0;
    let mut found = Vec::new();
    let mut at = 0;
    let text = |at: usize| {
        tokens
            .get(at)
            .map_or("", |token: &Token| token.text.as_str())
    };
    while at < tokens.len() {
        match text(at) {
            "{" => depth += 1,
            "}" => {
                depth -= 1;
                if inline.last() == Some(&depth) {
                    inline.pop();
                    here.pop();
                }
            }
            "mod" if text(at + 2) == "{" => {
                inline.push(depth);
                here.push(text(at + 1).to_owned());
            }
            "path" if at >= 2 && text(at - 1) == "[" && text(at - 2) == "#" => {
                found.push(mention(&["crate", "#[path]"], tokens[at].line));
            }
            "crate" | "self" | "super" | "std" | "core" | "alloc" | "seamline"
                if starts_path(&tokens, at) && !is_visibility(&tokens, at) =>
            {
                tree(&tokens, at, &Base::Unset, &here, &mut found);
            }
            _ => {}
        }
        at += 1;
    }
    found
}

fn mention(segments: &[&str], line: usize) -> Mention {
    Mention {
        segments: segments.iter().map(|&segment| segment.to_owned()).collect(),
        line,
    }
}

/// What a path has been resolved to so far.
#[derive(Clone)]
enum Base {
    Unset,
    Within(Vec<String>),
}

/// Reads a path, or a `use` tree, from `at`; gives the position behind it.
fn tree(
    tokens: &[Token],
    at: usize,
    base: &Base,
    here: &[String],
    out: &mut Vec<Mention>,
) -> usize {
    let text = |at: usize| tokens.get(at).map_or("", |token| token.text.as_str());
    let mut base = base.clone();
    let mut at = at;
    loop {
        if text(at) == "{" {
            at += 1;
            while !matches!(text(at), "}" | "") {
                at = tree(tokens, at, &base, here, out);
                if text(at) == "," {
                    at += 1;
                } else if !matches!(text(at), "}" | "") {
                    // Not a `use` tree after all, but a block: its tokens are read on their own.
                    return at;
                }
            }
            return at + 1;
        }
        let line = tokens.get(at).map_or(0, |token| token.line);
        base = step(base, text(at), here);
        at += 1;
        if text(at) == "::" && is_segment(text(at + 1)) {
            at += 1;
            continue;
        }
        if let Base::Within(mut segments) = base {
            if text(at) == "as" {
                segments.push("as".into());
                at += 2;
            }
            out.push(Mention { segments, line });
        }
        return at;
    }
}

/// The base after one more segment.
fn step(base: Base, segment: &str, here: &[String]) -> Base {
    let root = || vec!["crate".to_owned()];
    match (base, segment) {
        (Base::Unset, "crate" | "seamline") => Base::Within(root()),
        (Base::Unset, "self") => Base::Within([root(), here.to_vec()].concat()),
        (Base::Unset, "super") => {
            let parent = &here[..here.len().saturating_sub(1)];
            Base::Within([root(), parent.to_vec()].concat())
        }
        (Base::Unset, "std" | "core" | "alloc") => Base::Within(vec!["std".into()]),
        (Base::Unset, _) => Base::Unset,
        (Base::Within(mut segments), "super") => {
            if segments.len() > 1 {
                segments.pop();
            }
            Base::Within(segments)
        }
        (Base::Within(segments), "self") => Base::Within(segments),
        (Base::Within(mut segments), other) => {
            segments.push(other.to_owned());
            Base::Within(segments)
        }
    }
}

fn is_segment(text: &str) -> bool {
    text == "{" || text == "*" || text.starts_with(|c: char| c == '_' || c.is_alphabetic())
}

/// Whether the word at `at` opens a path instead of continuing one or being a receiver.
fn starts_path(tokens: &[Token], at: usize) -> bool {
    let text = |at: usize| tokens.get(at).map_or("", |token| token.text.as_str());
    let before = |back: usize| at.checked_sub(back).map_or("", |at| text(at));
    let continued = before(1) == "::" && (is_segment(before(2)) || before(2) == ">");
    let keyword = matches!(
        before(2),
        "use" | "return" | "in" | "as" | "mut" | "dyn" | "impl"
    );
    // `self` alone is the receiver of a method; as a path it is followed by `::`.
    let path =
        text(at + 1) == "::" || (text(at) != "self" && before(1) != "." && text(at + 1) != ":");
    (!continued || keyword) && path && before(1) != "."
}

/// `pub(crate)`, `pub(super)`: no path.
fn is_visibility(tokens: &[Token], at: usize) -> bool {
    at >= 2
        && tokens[at - 1].text == "("
        && tokens[at - 2].text == "pub"
        && tokens.get(at + 1).is_some_and(|token| token.text == ")")
}

/// Words, `::`, and single signs; comments and the insides of literals left out.
fn tokens(source: &str) -> Vec<Token> {
    let chars: Vec<char> = source.chars().collect();
    let mut tokens = Vec::new();
    let (mut at, mut line) = (0, 1);
    while at < chars.len() {
        let end = match chars[at] {
            '/' if chars.get(at + 1) == Some(&'/') => line_end(&chars, at),
            '/' if chars.get(at + 1) == Some(&'*') => comment_end(&chars, at),
            '"' => quote_end(&chars, at),
            'r' | 'b' | 'c' if literal_end(&chars, at).is_some() => {
                literal_end(&chars, at).unwrap_or(at + 1)
            }
            '\'' => char_end(&chars, at),
            c if c == '_' || c.is_alphanumeric() => {
                let end = word_end(&chars, at);
                push(&mut tokens, &chars[at..end], line);
                end
            }
            ':' if chars.get(at + 1) == Some(&':') => {
                push(&mut tokens, &chars[at..at + 2], line);
                at + 2
            }
            c => {
                if !c.is_whitespace() {
                    push(&mut tokens, &chars[at..=at], line);
                }
                at + 1
            }
        };
        line += chars[at..end].iter().filter(|&&c| c == '\n').count();
        at = end;
    }
    tokens
}

fn push(tokens: &mut Vec<Token>, chars: &[char], line: usize) {
    tokens.push(Token {
        text: chars.iter().collect(),
        line,
    });
}

fn word_end(chars: &[char], at: usize) -> usize {
    let rest = &chars[at..];
    let length = rest.iter().position(|&c| c != '_' && !c.is_alphanumeric());
    at + length.unwrap_or(rest.len())
}

fn line_end(chars: &[char], at: usize) -> usize {
    let length = chars[at..].iter().position(|&c| c == '\n');
    length.map_or(chars.len(), |length| at + length)
}

fn comment_end(chars: &[char], at: usize) -> usize {
    let (mut at, mut open) = (at, 0);
    while at < chars.len() {
        match (chars[at], chars.get(at + 1)) {
            ('/', Some('*')) => {
                open += 1;
                at += 2;
            }
            ('*', Some('/')) => {
                open -= 1;
                at += 2;
                if open == 0 {
                    return at;
                }
            }
            _ => at += 1,
        }
    }
    at
}

fn quote_end(chars: &[char], at: usize) -> usize {
    let mut at = at + 1;
    while at < chars.len() && chars[at] != '"' {
        at += if chars[at] == '\\' { 2 } else { 1 };
    }
    (at + 1).min(chars.len())
}

/// The end of `b"…"`, `c"…"`, `b'…'`, `r"…"`, `br#"…"#` and their like; `None` when a plain word
/// starts here.
fn literal_end(chars: &[char], at: usize) -> Option<usize> {
    let mut quote = at;
    while matches!(chars.get(quote), Some('r' | 'b' | 'c')) && quote < at + 2 {
        quote += 1;
    }
    let raw = chars[at..quote].contains(&'r');
    let hashes = chars[quote..].iter().take_while(|&&c| c == '#').count();
    match chars.get(quote + hashes) {
        Some('"') if raw => {
            let close: Vec<char> = std::iter::once('"').chain(vec!['#'; hashes]).collect();
            let body = quote + hashes + 1;
            let length = chars[body..].windows(close.len()).position(|w| w == close);
            Some(length.map_or(chars.len(), |length| body + length + close.len()))
        }
        Some('"') if hashes == 0 => Some(quote_end(chars, quote)),
        Some('\'') if hashes == 0 && quote == at + 1 && !raw => Some(char_end(chars, quote)),
        _ => None,
    }
}

/// The end of a character, or of the tick of a lifetime.
fn char_end(chars: &[char], at: usize) -> usize {
    match (chars.get(at + 1), chars.get(at + 2)) {
        (Some('\\'), _) => {
            let length = chars[at + 3..].iter().position(|&c| c == '\'');
            length.map_or(chars.len(), |length| at + 4 + length)
        }
        (Some(_), Some('\'')) => at + 3,
        _ => at + 1,
    }
}
