//! XML text, written element by element.

/// Text of nested elements, indented.
pub(super) struct Xml {
    text: String,
    open: Vec<&'static str>,
}

/// `text` as it may stand in an element or an attribute. Characters that XML cannot have are left
/// out.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            c if c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}') => {}
            c => out.push(c),
        }
    }
    out
}

impl Xml {
    /// With the text that stands above the outermost element.
    pub fn new(head: &str) -> Self {
        Self {
            text: head.to_owned(),
            open: Vec::new(),
        }
    }

    fn indent(&mut self) {
        for _ in 0..self.open.len() {
            self.text.push_str("  ");
        }
    }

    fn tag(&mut self, name: &str, attributes: &[(&str, &str)]) {
        self.text.push('<');
        self.text.push_str(name);
        for (attribute, value) in attributes {
            self.text
                .push_str(&format!(" {attribute}=\"{}\"", escaped(value)));
        }
    }

    /// An element with others in it, which `within` writes.
    pub fn within(
        &mut self,
        name: &'static str,
        attributes: &[(&str, &str)],
        within: impl FnOnce(&mut Self),
    ) {
        self.indent();
        self.tag(name, attributes);
        self.text.push_str(">\n");
        self.open.push(name);
        within(self);
        self.open.pop();
        self.indent();
        self.text.push_str(&format!("</{name}>\n"));
    }

    /// An element with text in it.
    pub fn leaf(&mut self, name: &str, text: impl ToString) {
        self.leaf_with(name, &[], text);
    }

    /// An element with attributes and text in it.
    pub fn leaf_with(&mut self, name: &str, attributes: &[(&str, &str)], text: impl ToString) {
        self.indent();
        self.tag(name, attributes);
        self.text
            .push_str(&format!(">{}</{name}>\n", escaped(&text.to_string())));
    }

    /// An element with nothing in it.
    pub fn empty(&mut self, name: &str, attributes: &[(&str, &str)]) {
        self.indent();
        self.tag(name, attributes);
        self.text.push_str("/>\n");
    }

    /// The text.
    pub fn finish(self) -> String {
        self.text
    }
}
