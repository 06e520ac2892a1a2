//! The sound of the take within the page, and the one script that plays a note of it. All else on the
//! page is read without a script.

use sha2::{Digest, Sha256};

/// Plays a note where it is clicked: from a little before its onset to a little behind its end, so
/// that the join is heard. Buttons show themselves once it runs; Escape stops the sound.
pub(super) const SCRIPT: &str = "\
'use strict';
(() => {
  const take = document.getElementById('take');
  const before = 0.1, behind = 0.4;
  let end = Infinity;
  const watch = () => {
    if (take.currentTime >= end) { take.pause(); end = Infinity; }
    if (!take.paused) requestAnimationFrame(watch);
  };
  take.addEventListener('play', watch);
  take.addEventListener('seeking', () => { if (take.paused) end = Infinity; });
  const play = (note) => {
    const onset = Number(note.dataset.onsetS);
    take.pause();
    take.currentTime = Math.max(0, onset - before);
    end = Number(note.dataset.releaseS) + behind;
    take.play();
  };
  const opened = (index) => {
    const words = document.querySelector('details[data-of=\"' + Number(index) + '\"]');
    if (words) words.open = true;
  };
  const lastPlayed = (index) => {
    const all = document.querySelectorAll('g[data-note=\"' + Number(index) + '\"][data-onset-s]');
    return [...all].filter((note) => note.dataset.onsetS !== '').pop();
  };
  document.addEventListener('click', (event) => {
    const note = event.target.closest('button[data-onset-s], g.of-note, a.of-note');
    if (!note) return;
    const index = note.dataset.note;
    const sounding = note.dataset.onsetS ? note : lastPlayed(index);
    if (!sounding) return;
    event.preventDefault();
    if (index) opened(index);
    play(sounding);
  });
  document.addEventListener('keydown', (event) => {
    if (event.key === 'Escape') take.pause();
  });
  for (const button of document.querySelectorAll('button[hidden]')) button.hidden = false;
})();
";

/// What the policy of the page calls the script by (Content Security Policy Level 3, hash-source).
pub(super) fn script_source() -> String {
    format!("'sha256-{}'", base64(&Sha256::digest(SCRIPT.as_bytes())))
}

/// The player of the whole take.
pub(super) fn player(wav: &[u8]) -> String {
    format!(
        "<section class=\"sound\" aria-labelledby=\"sound\">\n<h2 id=\"sound\">The take</h2>\n\
         <audio id=\"take\" aria-label=\"The take\" controls preload=\"auto\" src=\"data:audio/wav;base64,{}\"></audio>\n\
         <p>Turn the level down before you listen, most of all on headphones. Where scripts may run, \
         a click on a note plays it, and Escape stops.</p>\n</section>\n",
        base64(wav)
    )
}

/// Bytes as text.
///
/// # Source
/// RFC 4648, section 4.
fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for three in bytes.chunks(3) {
        let part = |at: usize| u32::from(three.get(at).copied().unwrap_or(0));
        let bits = part(0) << 16 | part(1) << 8 | part(2);
        for (at, shift) in [18, 12, 6, 0].into_iter().enumerate() {
            let letter = LETTERS[(bits >> shift & 63) as usize];
            out.push(if at <= three.len() {
                char::from(letter)
            } else {
                '='
            });
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Published: the test vectors of RFC 4648, section 10.
    #[test]
    fn bytes_become_text_as_published() {
        for (bytes, text) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(bytes.as_bytes()), text);
        }
        assert_eq!(base64(&[0xff, 0xfe, 0xfb]), "//77");
    }
}
