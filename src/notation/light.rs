//! Reads the light a rotation was read with: `D`, `sodium line`, `589 nm`, `/546`, `Hg`.
//!
//! A part of [`Reader`]; [`Light`] keeps the printed number beside the line, since 589 and D are one line.

use super::clean::Script;
use super::condition::{Place, Reader};
use super::doubts::Doubt;
use super::stream::Stream;
use super::token::{Digits, Kind};
use crate::quantity::{Printed, SpectralLine};
use crate::statement::StatedTemperature;

/// The light, with the number of nanometres where one was printed.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Light {
    /// The line.
    pub line: SpectralLine,
    /// The printed number, nm.
    pub nanometres: Option<f64>,
}

impl Light {
    /// The sodium D line, printed by its letter.
    pub(super) fn sodium() -> Self {
        Self {
            line: SpectralLine::SodiumD,
            nanometres: None,
        }
    }

    /// Light with a printed wavelength; Å are told from nm by their size.
    pub(super) fn at(number: f64) -> Option<Self> {
        Self::at_nanometres(if number >= 2300.0 { number / 10.0 } else { number })
    }

    /// Light with a wavelength printed in nm.
    pub(super) fn at_nanometres(nanometres: f64) -> Option<Self> {
        Some(Self {
            line: SpectralLine::at_nanometres(nanometres).ok()?,
            nanometres: Some(nanometres),
        })
    }
}

/// Whether a number can be a printed wavelength: 230 to 1100 nm, or 2300 to 11000 Å.
pub(super) fn is_wavelength(digits: Digits) -> bool {
    let number = digits.printed.value();
    (230.0..=1100.0).contains(&number) || (2300.0..=11000.0).contains(&number) && digits.printed.decimals() == 0
}

/// `298 K` at `at`: the temperature in °C, with two decimals, as 273.15 has them.
pub(super) fn kelvin(s: &Stream, at: usize) -> Option<Printed> {
    let kelvins = s.number(at)?.printed;
    let fits = s.text(at + 1) == "K" && (250.0..=370.0).contains(&kelvins.value());
    fits.then(|| Printed::new(((kelvins.value() - 273.15) * 100.0).round() / 100.0, 2))
}

/// Whether a token is raised or lowered.
pub(super) fn is_shifted(script: Script) -> bool {
    script != Script::Normal
}

impl Reader<'_> {
    /// `D20` behind a value: line and temperature, unless "in" makes it the misread heavy water.
    pub(super) fn indices(&mut self, at: usize) -> Option<usize> {
        let s = self.s;
        let temperature = s.number(at + 1)?.printed;
        let fits = s.text(at) == "D"
            && s.is_glued(at + 1)
            && (10.0..=40.0).contains(&temperature.value())
            && !s.is_word(at.wrapping_sub(1), &["in"])
            && !s.is_word(at + 2, &["o"])
            && self.conditions.temperature.is_none()
            && self.conditions.light.is_none();
        if !fits {
            return None;
        }
        self.set_light(Light::sodium());
        self.set_temperature(StatedTemperature::At(temperature));
        Some(at + 2)
    }

    /// Sets the light; a printed number replaces the bare name of the same line.
    pub(super) fn set_light(&mut self, light: Light) {
        match &self.conditions.light {
            None => self.conditions.light = Some(light),
            Some(before) => {
                if before.nanometres.is_none() && light.nanometres.is_some() && before.line == light.line {
                    self.conditions.light = Some(light);
                }
            }
        }
    }

    /// `/D`, `/546 nm`, `D`, `, D` behind a temperature.
    pub(super) fn light_behind_temperature(&mut self, at: usize) -> usize {
        let s = self.s;
        let slash = s.is_mark(at, '/');
        let next = at + usize::from(slash);
        if !slash && !s.is_word(at, &["d"]) {
            return at;
        }
        match self.light(next, Place::Slash) {
            Some(end) => end,
            None => at,
        }
    }

    /// Light at `at`.
    pub(super) fn light(&mut self, at: usize, place: Place) -> Option<usize> {
        let s = self.s;
        if let Some(number) = s.number(at) {
            if place != Place::Slash || !is_wavelength(number) {
                return None;
            }
            let light = Light::at(number.printed.value())?;
            let end = if let Some(celsius) = self.behind_celsius(at + 1) {
                self.conditions
                    .doubts
                    .push(Doubt::WavelengthUnit(s.slice(at, celsius).to_owned()));
                celsius
            } else if s.is_word(at + 1, &["d"]) {
                self.conditions
                    .doubts
                    .push(Doubt::WavelengthUnit(s.slice(at, at + 2).to_owned()));
                at + 2
            } else if s.is_word(at + 1, &["nm", "mμ"]) {
                at + 2
            } else {
                at + 1
            };
            self.set_light(light);
            return Some(end);
        }
        if s.is_mark(at, '/') && place != Place::Slash {
            // `deg/D`, `at /546`
            let next = at + 1;
            if s.is_word(next, &["d", "hg", "na"]) || s.number(next).is_some_and(is_wavelength) {
                return self.light(next, Place::Slash);
            }
            return None;
        }
        if s.is_word(at, &["λ"]) && s.is_any_mark(at + 1, &['=', ':']) {
            let light = Light::at(s.number(at + 2)?.printed.value())?;
            self.set_light(light);
            return Some(if s.is_word(at + 3, &["nm"]) { at + 4 } else { at + 3 });
        }
        let line_behind = |at: usize| s.is_word(at, &["line", "light", "lamp", "lines"]);
        let mut next = at;
        let mut found = None;
        let mut letters = false;
        let mut named = false;
        for _ in 0..5 {
            if s.is_word(next, &["sodium"]) || s.text(next) == "Na" || s.text(next) == "NA" {
                // "sodium hydroxide" and "sodium salt" are no light.
                if self.solvent_at(next).is_some() || s.is_word(next + 1, &["salt", "hydroxide", "form"]) {
                    break;
                }
                found = Some(Light::sodium());
                next += 1;
            } else if s.is_word(next, &["d"])
                && (place == Place::Slash || !s.is_mark(next + 1, '='))
                && (!self.is_prefix(next) || line_behind(next + 2) || self.s.is_word(next + 2, &["sodium", "na"]))
                // Heavy water.
                && (place == Place::Slash || self.solvent_at(next).is_none())
            {
                letters = true;
                found = Some(Light::sodium());
                next += 1;
            } else if s.is_open(next) && s.is_word(next + 1, &["sodium", "na", "d"]) && s.is_close(next + 2) {
                found = Some(Light::sodium());
                next += 3;
            } else if found.is_some()
                && (s.kind(next) == Some(Kind::Minus) || line_behind(next) || s.is_mark(next, '-'))
            {
                named |= line_behind(next);
                next += 1;
            } else {
                break;
            }
        }
        if let Some(light) = found {
            let bare_letter = next == at + 1 && letters;
            let allowed = match place {
                Place::Slash => true,
                Place::Bracket { starts_word } => starts_word,
                // On the line a bare D is too little: "in D2O", "vitamin D".
                Place::Line { linked, .. } => {
                    if named {
                        true
                    } else {
                        linked
                            && (!bare_letter
                                || s.is_any_mark(at.wrapping_sub(1), &['/', ','])
                                || s.is_word(at.wrapping_sub(1), &["at", "for"]))
                    }
                }
            };
            if !allowed {
                return None;
            }
            // `589 nm (sodium D-line)`: the printed number stays.
            self.set_light(light);
            return Some(next);
        }
        if place == Place::Slash && s.kind(at) == Some(Kind::Word) {
            let text = s.text(at);
            if text.eq_ignore_ascii_case("hg") {
                self.conditions.light.get_or_insert(Light {
                    line: SpectralLine::Named("Hg".to_owned()),
                    nanometres: None,
                });
                return Some(at + 1);
            }
            if matches!(text, "C" | "F" | "G" | "e") {
                self.conditions.doubts.push(Doubt::LineLetter(text.to_owned()));
                self.conditions.light.get_or_insert(Light {
                    line: SpectralLine::Named(text.to_owned()),
                    nanometres: None,
                });
                return Some(at + 1);
            }
        }
        None
    }

    /// Whether the letter at `at` is the prefix of a name: `D-form`, `d-limonene`.
    pub(super) fn is_prefix(&self, at: usize) -> bool {
        let s = self.s;
        s.kind(at + 1) == Some(Kind::Minus)
            && s.is_glued(at + 1)
            && s.is_glued(at + 2)
            && s.kind(at + 2) == Some(Kind::Word)
    }

    pub(super) fn is_light_behind_slash(&self, at: usize) -> bool {
        let s = self.s;
        s.is_mark(at, '/') && (s.is_word(at + 1, &["d", "hg", "na"]) || s.number(at + 1).is_some_and(is_wavelength))
    }
}
