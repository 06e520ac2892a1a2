//! How a page and its pictures look.

use super::palette::{DARK, LIGHT};
use super::strip::WORD_SIZE;

/// Patterns that tell kinds of sound apart without colour, for all pictures of a page.
pub(super) const PATTERNS: &str = "\
<defs>
<pattern id=\"crossed\" width=\"5\" height=\"5\" patternUnits=\"userSpaceOnUse\">\
<path class=\"pattern-alarm\" d=\"M0 0L5 5M5 0L0 5\"/></pattern>
<pattern id=\"slanted\" width=\"4\" height=\"4\" patternUnits=\"userSpaceOnUse\">\
<path class=\"pattern-care\" d=\"M-1 1L1 -1M0 4L4 0M3 5L5 3\"/></pattern>
<pattern id=\"dotted\" width=\"4\" height=\"4\" patternUnits=\"userSpaceOnUse\">\
<circle class=\"pattern-dot\" cx=\"1.5\" cy=\"1.5\" r=\"1\"/></pattern>
</defs>
";

/// The look of what is drawn, in a page and in a picture of its own.
const SHAPES: &str = "\
svg text{font-family:var(--letters);fill:var(--ink);stroke:var(--paper);stroke-width:2.5px;paint-order:stroke;stroke-linejoin:round}
svg .small{font-size:9.5px}
svg .soft{fill:var(--soft)}
svg .name{font-size:10.5px;font-weight:bold}
svg .chord{font-size:12px;font-weight:bold}
svg .fret{font-size:11px;font-weight:bold;stroke:none}
svg .middle{text-anchor:middle}
svg .end{text-anchor:end}
svg .care{fill:var(--care)}
svg .alarm{fill:var(--alarm);font-weight:bold}
svg path{fill:none}
svg .string{stroke:var(--rule);stroke-width:.6}
svg .beat{stroke:var(--rule);stroke-width:.6;stroke-dasharray:1 3}
svg .barline{stroke:var(--ink);stroke-width:1}
svg .edge{stroke:var(--rule);stroke-width:.8}
svg .grid{stroke:var(--rule);stroke-width:.8}
svg .written{fill:var(--paper);stroke:var(--ink);stroke-width:.8}
svg .written.beside{stroke:var(--rule);stroke-dasharray:2 2}
svg .sounding{fill:var(--played)}
svg .onset{stroke:var(--paper);stroke-width:1.2}
svg .sounding.beside{fill:none;stroke:var(--played);stroke-width:.6}
svg .sounding.wrong{fill:url(#crossed);stroke:var(--alarm);stroke-width:1}
svg .sounding.dead{fill:url(#dotted);stroke:var(--played);stroke-width:1}
svg .missed{fill:none;stroke:var(--alarm);stroke-width:1;stroke-dasharray:3 2}
svg .ringing{fill:url(#slanted);stroke:var(--care);stroke-width:.8}
svg .undecided{fill:none;stroke:var(--soft);stroke-width:.8;stroke-dasharray:1 2}
svg .gap{fill:var(--care)}
svg .gap-edge{stroke:var(--care);stroke-width:1.4}
svg .band{fill:var(--band)}
svg .band-edge{stroke:var(--rule);stroke-width:.8;stroke-dasharray:4 3}
svg .doubt{stroke:var(--ink);stroke-width:.9}
svg .ontime{fill:var(--paper);stroke:var(--played);stroke-width:1.5}
svg .offtime{fill:var(--care);stroke:var(--paper);stroke-width:.4}
svg .level{fill:var(--played)}
svg .stick{stroke:var(--played);stroke-width:1.5}
svg .curve{stroke:var(--played);stroke-width:1.5;stroke-linejoin:round}
svg .fall{stroke:var(--ink);stroke-width:1.2;stroke-linejoin:round}
svg .tick{stroke:var(--played);stroke-width:1.2}
svg .spread{stroke:var(--ink);stroke-width:1.4}
svg .ink{fill:var(--ink)}
.pattern-alarm{stroke:var(--alarm);stroke-width:.9;fill:none}
.pattern-care{stroke:var(--care);stroke-width:1.1;fill:none}
.pattern-dot{fill:var(--played)}
";

/// The look of the words around them.
const WORDS: &str = "\
body{margin:0 auto;padding:0 9px 2em;max-width:1180px;background:var(--paper);color:var(--ink);\
font:16px/1.5 var(--letters)}
h1{font-size:1.5em;line-height:1.2;margin:.8em 0 .3em;overflow-wrap:anywhere}
h2{font-size:1.15em;margin:1.6em 0 .4em;border-bottom:2px solid var(--rule)}
h3{font-size:1em;margin:.4em 0}
p,li{max-width:70ch;overflow-wrap:anywhere}
a{color:var(--played)}
code{display:block;background:var(--panel);padding:.5em .7em;overflow-wrap:anywhere;\
border-left:4px solid var(--rule);font-family:var(--typed)}
.first{font-size:1.1em;font-weight:bold}
.start{border:2px solid var(--ink);padding:.6em .8em;margin:1em 0}
.start p{margin:.2em 0 .5em}
.findings b{display:inline-block;min-width:4.2em}
.bars,.evenness{display:flex;flex-wrap:wrap;gap:18px 14px}
.bar,.evenness figure{flex:0 1 372px;min-width:0;margin:0}
svg{display:block;width:100%;height:auto}
.unseen{position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%);white-space:nowrap}
ul.notes{list-style:none;margin:.4em 0;padding:0;font-size:.88em}
ul.notes li{border-top:1px solid var(--rule);max-width:none}
summary{cursor:pointer;padding:.25em .2em}
.odd>summary{font-weight:bold}
summary:focus-visible,a:focus-visible,.wide:focus-visible,button:focus-visible{\
outline:3px solid var(--played);outline-offset:1px}
svg a:focus-visible .written,svg a:hover .written{stroke-width:2.4}
.wide:target{border-left:4px solid var(--played);padding-left:6px}
a.of-note{cursor:pointer}
.wide{overflow-x:auto;position:relative}
table{border-collapse:collapse;margin:.3em 0 1em;font-size:.9em;font-variant-numeric:tabular-nums}
caption{text-align:left;font-weight:bold;padding:.3em 0}
th,td{text-align:left;overflow-wrap:normal;vertical-align:top;padding:.2em .7em .2em 0;border-top:1px solid var(--rule)}
.notes td{min-width:7em}
.notes tr>:first-child{min-width:0;white-space:nowrap}
.notes .limit{min-width:9em}
.notes svg.moves{width:178px;max-width:none}
.limit,figcaption,footer{color:var(--soft)}
figcaption{font-size:.88em}
button{font:inherit;color:var(--ink);background:var(--panel);border:1px solid var(--rule);\
border-radius:0;padding:.15em .7em;min-height:24px;cursor:pointer}
audio{width:100%;max-width:600px}
.legend{display:grid;grid-template-columns:repeat(auto-fill,minmax(240px,1fr));gap:2px 20px;\
list-style:none;padding:0;font-size:.9em}
.legend svg{display:inline-block;width:44px;height:16px;vertical-align:middle;margin-right:8px}
@page{margin:12mm}
@media print{
:root{--paper:#fff;--panel:#fff}
body{max-width:none;padding:0;font-size:10pt;background:none}
.sound,.notes li:not(:has(.odd,[open])){display:none}
.bars,.evenness{display:block;orphans:1;widows:1}
.bar,.evenness figure{display:inline-block;width:48%;margin:0 1% 6mm 0;vertical-align:top}
.bar svg,.evenness figure,tr,.start,.findings li{break-inside:avoid}
h2,h3,caption{break-after:avoid}
button{display:none}
.wide{overflow:visible}
}
";

/// Fonts, from what systems have.
const FONTS: &str = "--letters:Verdana,'DejaVu Sans',Geneva,sans-serif;\
                     --typed:Consolas,'DejaVu Sans Mono',Menlo,monospace;";

/// The colours: light, and dark on a dark screen, never on paper.
fn colours() -> String {
    format!(
        ":root{{color-scheme:light dark;{FONTS}{}}}\n\
         @media screen and (prefers-color-scheme:dark){{:root{{{}}}}}\n",
        LIGHT.properties(),
        DARK.properties()
    )
}

fn word_size() -> String {
    format!("svg .word{{font-size:{WORD_SIZE}px}}\n")
}

/// Of a page with all its pictures.
pub(super) fn page() -> String {
    format!("{}{WORDS}{SHAPES}{}", colours(), word_size())
}

/// Of a picture in a file of its own.
pub(super) fn picture() -> String {
    format!(
        "{}svg{{background:var(--paper)}}\n{SHAPES}{}",
        colours(),
        word_size()
    )
}
