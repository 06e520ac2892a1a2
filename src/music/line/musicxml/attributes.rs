//! What holds from a place in a part on: divisions, key, meter, transposition, tuning.

use roxmltree::Node;

use super::document::child_number;
use super::walk::Walker;
use crate::music::line::length::Length;
use crate::music::line::meter::meter_of;
use crate::music::theory::{Key, Mode, SpelledPitch};

impl Walker<'_> {
    pub(super) fn attributes(&mut self, node: Node<'_, '_>) -> Result<(), String> {
        for child in node.children().filter(Node::is_element) {
            match child.tag_name().name() {
                "divisions" => {
                    let divisions = child.text().and_then(|text| text.trim().parse().ok());
                    self.divisions = divisions
                        .filter(|divisions| (1e-3..=1e9).contains(divisions))
                        .ok_or("the divisions of a quarter are a number above 0")?;
                }
                "transpose" => {
                    let number = |name| child_number::<f64>(child, name).unwrap_or(0.0);
                    let semitones = number("chromatic") + 12.0 * number("octave-change");
                    if !semitones.is_finite() || semitones.abs() > 60.0 {
                        return Err("transposed by more than five octaves".to_owned());
                    }
                    self.chromatic = semitones.round() as i32;
                    if child.children().any(|node| node.has_tag_name("double")) {
                        self.unkept.add("doublings in another octave");
                    }
                }
                "time" => self.time(child),
                "key" => self.key(child),
                "staff-details" => self.staff(child),
                "measure-style" => {
                    self.unkept
                        .add("signs for repeated or slashed bars, read as their notes stand");
                }
                _ => {}
            }
        }
        Ok(())
    }

    fn time(&mut self, time: Node<'_, '_>) {
        if time
            .children()
            .any(|node| node.has_tag_name("senza-misura"))
        {
            self.unkept
                .add("bars without a meter, given one by their length");
            return;
        }
        let text = |name: &'static str| {
            time.children()
                .filter(move |node| node.has_tag_name(name))
                .filter_map(|node| node.text())
        };
        let mut length = Length::ZERO;
        let mut unit = 1;
        for (beats, beat_type) in text("beats").zip(text("beat-type")) {
            let sum: Option<u64> = beats
                .split('+')
                .map(|part| part.trim().parse::<u64>().ok())
                .sum();
            let beat_type: Option<u8> = beat_type.trim().parse().ok();
            let (Some(sum), Some(beat_type)) = (sum, beat_type) else {
                continue;
            };
            length += Length::of_whole(sum, u64::from(beat_type)).unwrap_or_default();
            unit = unit.max(beat_type);
        }
        match meter_of(length, unit) {
            Some(meter) => self.meter = meter,
            None => self.unkept.add("meters that cannot be counted"),
        }
    }

    fn key(&mut self, key: Node<'_, '_>) {
        let Some(fifths) = child_number::<i32>(key, "fifths") else {
            self.unkept.add("keys that are no circle of fifths");
            return;
        };
        let mode = key.children().find(|node| node.has_tag_name("mode"));
        let is_minor = mode.and_then(|mode| mode.text()).map(str::trim) == Some("minor");
        let mode = if is_minor { Mode::Minor } else { Mode::Major };
        let mut sounding = fifths;
        if self.chromatic % 12 != 0 {
            // A semitone up is seven fifths up, and twelve fifths are none.
            sounding = (fifths + 7 * self.chromatic + 5).rem_euclid(12) - 5;
        }
        let key = i8::try_from(sounding)
            .ok()
            .and_then(|fifths| Key::new(fifths, mode));
        match key {
            Some(key) => self.key = key,
            None => self.unkept.add("keys of more than seven sharps or flats"),
        }
    }

    fn staff(&mut self, staff: Node<'_, '_>) {
        let mut lines: Vec<(u8, u8)> = Vec::new();
        for tuned in staff
            .children()
            .filter(|node| node.has_tag_name("staff-tuning"))
        {
            let line = tuned.attribute("line").and_then(|line| line.parse().ok());
            let text = |name: &str| {
                let node = tuned.children().find(|node| node.has_tag_name(name))?;
                node.text().map(|text| text.trim().to_owned())
            };
            let alter: f64 = child_number(tuned, "tuning-alter").unwrap_or(0.0);
            let sign = if alter < 0.0 { "b" } else { "#" };
            let alter = sign.repeat((alter.abs().round() as usize).min(2));
            let (step, octave) = (text("tuning-step"), text("tuning-octave"));
            let name = step
                .zip(octave)
                .map(|(step, octave)| format!("{step}{alter}{octave}"));
            let pitch = name.and_then(|name| name.parse::<SpelledPitch>().ok());
            let midi = pitch.and_then(|pitch| u8::try_from(pitch.midi()).ok());
            if let (Some(line), Some(midi)) = (line, midi) {
                lines.push((line, midi));
            }
        }
        if staff.children().any(|node| node.has_tag_name("capo")) {
            self.unkept.add("capos");
        }
        if !lines.is_empty() {
            lines.sort_unstable();
            self.tuning = lines.into_iter().map(|(_, midi)| midi).collect();
        }
    }
}
