//! Letters of five rows, made of whole cells, so that they can be read from a metre away and need
//! neither colour nor a special font.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// Rows of a letter.
pub(super) const ROWS: u16 = 5;
/// Columns of a letter, without the space after it.
const COLUMNS: u16 = 5;

/// The five rows of a letter, the leftmost column as the highest of five bits.
fn rows(letter: char) -> [u8; 5] {
    match letter {
        'A' => [0b01110, 0b10001, 0b11111, 0b10001, 0b10001],
        'B' => [0b11110, 0b10001, 0b11110, 0b10001, 0b11110],
        'C' => [0b01111, 0b10000, 0b10000, 0b10000, 0b01111],
        'D' => [0b11110, 0b10001, 0b10001, 0b10001, 0b11110],
        'E' => [0b11111, 0b10000, 0b11110, 0b10000, 0b11111],
        'F' => [0b11111, 0b10000, 0b11110, 0b10000, 0b10000],
        'G' => [0b01111, 0b10000, 0b10011, 0b10001, 0b01110],
        'K' => [0b10010, 0b10100, 0b11000, 0b10100, 0b10010],
        'O' => [0b01110, 0b10001, 0b10001, 0b10001, 0b01110],
        'P' => [0b11110, 0b10001, 0b11110, 0b10000, 0b10000],
        'b' => [0b10000, 0b10000, 0b11100, 0b10010, 0b11100],
        '#' => [0b01010, 0b11111, 0b01010, 0b11111, 0b01010],
        '0' => [0b01110, 0b10011, 0b10101, 0b11001, 0b01110],
        '1' => [0b00100, 0b01100, 0b00100, 0b00100, 0b01110],
        '2' => [0b11110, 0b00001, 0b01110, 0b10000, 0b11111],
        '3' => [0b11110, 0b00001, 0b01110, 0b00001, 0b11110],
        '4' => [0b10010, 0b10010, 0b11111, 0b00010, 0b00010],
        '5' => [0b11111, 0b10000, 0b11110, 0b00001, 0b11110],
        '6' => [0b01110, 0b10000, 0b11110, 0b10001, 0b01110],
        '7' => [0b11111, 0b00001, 0b00010, 0b00100, 0b00100],
        '8' => [0b01110, 0b10001, 0b01110, 0b10001, 0b01110],
        '9' => [0b01110, 0b10001, 0b01111, 0b00001, 0b01110],
        '-' => [0, 0, 0b01110, 0, 0],
        '.' => [0, 0, 0, 0, 0b00100],
        ':' => [0, 0b00100, 0, 0b00100, 0],
        ' ' => [0; 5],
        _ => [0b01110, 0b10001, 0b00110, 0, 0b00100],
    }
}

/// Columns that `text` takes, each cell `scale` times as large.
pub(super) fn columns(text: &str, scale: u16) -> u16 {
    let letters = u16::try_from(text.chars().count()).unwrap_or(u16::MAX);
    letters.saturating_mul((COLUMNS + 1).saturating_mul(scale))
}

/// Draws `text` from the top left of `area`, each cell `scale` times as large; what does not fit
/// is left out.
pub(super) fn draw(text: &str, scale: u16, style: Style, area: Rect, buffer: &mut Buffer) {
    for (n, letter) in text.chars().enumerate() {
        let Ok(n) = u16::try_from(n) else { return };
        let left = n.saturating_mul((COLUMNS + 1).saturating_mul(scale));
        for (row, bits) in (0u16..).zip(rows(letter)) {
            for column in 0..COLUMNS {
                if bits >> (COLUMNS - 1 - column) & 1 == 0 {
                    continue;
                }
                for (dy, dx) in (0..scale).flat_map(|y| (0..scale).map(move |x| (y, x))) {
                    let x = left
                        .saturating_add(column * scale + dx)
                        .saturating_add(area.x);
                    let y = (row * scale + dy).saturating_add(area.y);
                    if x < area.right()
                        && y < area.bottom()
                        && let Some(cell) = buffer.cell_mut((x, y))
                    {
                        cell.set_char('█').set_style(style);
                    }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_letter_is_drawn_and_nothing_outside_of_its_area() {
        let area = Rect::new(1, 1, 11, 5);
        let mut buffer = Buffer::empty(Rect::new(0, 0, 13, 7));
        draw("E1", 1, Style::new(), area, &mut buffer);
        let text: Vec<String> = (0..7)
            .map(|y| {
                (0..13)
                    .map(|x| buffer[(x, y)].symbol().to_owned())
                    .collect()
            })
            .collect();
        assert_eq!(text[0].trim(), "");
        assert_eq!(text[1], " █████   █   ");
        assert_eq!(text[3], " ████    █   ");
        assert_eq!(text[6].trim(), "");
        for (w, h) in [(0, 0), (1, 1), (3, 2)] {
            draw("Eb12", 2, Style::new(), Rect::new(0, 0, w, h), &mut buffer);
        }
    }
}
