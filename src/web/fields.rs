//! What was typed into a form or sent by a program, read by the same readers as the options of the command line.

use super::guard::MOST_BODY;
use crate::quantity::{self, Printed};
use crate::report::failure::Failure;
use crate::report::{entry, number};
use crate::statement::{PrintedConcentration, Role, RotationKind, Sign, Stage, StatedExcess, Statement};
use crate::tasks::measured::Measured;
use crate::tasks::typed;
use axum::body::{Body, to_bytes};
use axum::extract::FromRequest;
use serde::de::{Deserializer, Error, Unexpected};
use serde::{Deserialize, Serialize};
use std::fmt::Display;

/// Reads a field by a reader of the command line; an empty one is not given.
///
/// # Errors
/// What the reader says, with the field's name.
pub(super) fn field<T, E: Display>(
    name: &'static str,
    text: &str,
    reader: impl FnOnce(&str) -> Result<T, E>,
) -> Result<Option<T>, Failure> {
    let text = text.trim();
    if text.is_empty() {
        return Ok(None);
    }
    reader(text)
        .map(Some)
        .map_err(|error| Failure::usage("field", format!("{name}: {error}")).at(name))
}

/// The whole body of a request, bounded.
///
/// # Errors
/// When it is too large, or stops short.
pub(super) async fn bytes(body: Body) -> Result<Vec<u8>, Failure> {
    match to_bytes(body, MOST_BODY).await {
        Ok(bytes) => Ok(bytes.to_vec()),
        Err(error) => {
            let is_long = std::error::Error::source(&error).is_some_and(|cause| cause.to_string().contains("limit"));
            Err(if is_long {
                Failure::usage("too-large", format!("a request may hold {} MiB", MOST_BODY >> 20))
            } else {
                Failure::usage("body", "the request ended before its body did").hint("send it again")
            })
        }
    }
}

/// The fields of a form that was sent.
///
/// # Errors
/// When the body is no form, or too large.
pub(super) async fn form<T: serde::de::DeserializeOwned>(body: Body) -> Result<T, Failure> {
    let bytes = bytes(body).await?;
    let request = axum::http::Request::post("/")
        .header(axum::http::header::CONTENT_TYPE, "application/x-www-form-urlencoded")
        .body(Body::from(bytes))
        .map_err(|error| Failure::usage("form", format!("the form cannot be read: {error}")))?;
    axum::extract::Form::from_request(request, &())
        .await
        .map(|axum::extract::Form(fields)| fields)
        .map_err(|error| Failure::usage("form", format!("the form cannot be read: {}", error.body_text())))
}

/// Reads a text that a program may also send as a number or null.
fn text_or_number<'de, D: Deserializer<'de>>(deserializer: D) -> Result<String, D::Error> {
    match serde_json::Value::deserialize(deserializer)? {
        serde_json::Value::String(text) => Ok(text),
        serde_json::Value::Number(number) => Ok(number.to_string()),
        serde_json::Value::Null => Ok(String::new()),
        other => Err(D::Error::invalid_type(
            Unexpected::Other(if other.is_boolean() {
                "true or false"
            } else {
                "a list or object"
            }),
            &"text or a number",
        )),
    }
}

/// Reads a box that is ticked or not.
fn ticked<'de, D: Deserializer<'de>>(deserializer: D) -> Result<bool, D::Error> {
    match serde_json::Value::deserialize(deserializer)? {
        serde_json::Value::Bool(ticked) => Ok(ticked),
        serde_json::Value::String(text) if matches!(text.as_str(), "on" | "true" | "1") => Ok(true),
        serde_json::Value::String(text) if matches!(text.as_str(), "" | "off" | "false" | "0") => Ok(false),
        serde_json::Value::Null => Ok(false),
        _ => Err(D::Error::invalid_type(
            Unexpected::Other("something else"),
            &"true or false",
        )),
    }
}

/// What is asked of a check: the names and units of the options of `biot check`.
#[derive(Clone, Debug, Default, PartialEq, Deserialize, Serialize)]
#[serde(default, deny_unknown_fields)]
pub(super) struct CheckFields {
    #[serde(deserialize_with = "text_or_number")]
    pub(super) compound: String,
    #[serde(deserialize_with = "text_or_number")]
    pub(super) value: String,
    #[serde(deserialize_with = "text_or_number")]
    pub(super) angle: String,
    #[serde(deserialize_with = "text_or_number")]
    pub(super) blank: String,
    #[serde(deserialize_with = "text_or_number")]
    pub(super) uncertainty: String,
    #[serde(deserialize_with = "text_or_number")]
    pub(super) cell: String,
    #[serde(deserialize_with = "text_or_number")]
    pub(super) conc: String,
    #[serde(deserialize_with = "text_or_number")]
    pub(super) mass: String,
    #[serde(deserialize_with = "text_or_number")]
    pub(super) volume: String,
    #[serde(deserialize_with = "text_or_number")]
    pub(super) density: String,
    #[serde(deserialize_with = "text_or_number")]
    pub(super) solvent: String,
    #[serde(deserialize_with = "text_or_number")]
    pub(super) temp: String,
    #[serde(deserialize_with = "text_or_number")]
    pub(super) line: String,
    #[serde(deserialize_with = "text_or_number")]
    pub(super) stage: String,
    #[serde(deserialize_with = "text_or_number")]
    pub(super) basis: String,
    #[serde(deserialize_with = "text_or_number")]
    pub(super) form: String,
    #[serde(deserialize_with = "text_or_number")]
    pub(super) ee: String,
    #[serde(deserialize_with = "ticked")]
    pub(super) mirror_image: bool,
}

impl CheckFields {
    /// The measurement.
    ///
    /// # Errors
    /// When a field cannot be read, or fields exclude each other.
    pub(super) fn measured(&self) -> Result<Measured, Failure> {
        let given = |text: &str| !text.trim().is_empty();
        let exclude = |a: &str, b: &str| {
            Failure::usage("fields", format!("{a} and {b} exclude each other")).hint("leave one of them empty")
        };
        if given(&self.value) && given(&self.angle) {
            return Err(exclude("value", "angle"));
        }
        if given(&self.conc) && given(&self.mass) {
            return Err(exclude("conc", "mass"));
        }
        if given(&self.mass) != given(&self.volume) {
            return Err(Failure::usage("fields", "mass and volume go together").hint("give both, or neither"));
        }
        Ok(Measured {
            value: field("value", &self.value, typed::rotation)?,
            angle: field("angle", &self.angle, quantity::parse_angle)?,
            uncertainty: field("uncertainty", &self.uncertainty, typed::rotation)?,
            cell: field("cell", &self.cell, quantity::parse_length)?,
            conc: field("conc", &self.conc, quantity::parse_concentration)?,
            mass: field("mass", &self.mass, quantity::parse_mass)?,
            volume: field("volume", &self.volume, quantity::parse_volume)?,
            density: field("density", &self.density, quantity::parse_density)?,
            solvent: field("solvent", &self.solvent, typed::solvent)?,
            temperature: field("temp", &self.temp, quantity::parse_temperature)?,
            line: field("line", &self.line, quantity::parse_line)?,
        })
    }

    /// The stage of a mutarotating solution.
    ///
    /// # Errors
    /// When the word is not known.
    pub(super) fn read_stage(&self) -> Result<Option<Stage>, Failure> {
        field("stage", &self.stage, |word| {
            Stage::from_word(word).ok_or("a stage is initial or final")
        })
    }
}

/// A statement, field by field, as a form shows and sends it.
#[derive(Clone, Debug, Default, PartialEq, Deserialize)]
#[serde(default)]
pub(super) struct StatementFields {
    pub(super) kind: String,
    pub(super) value: String,
    pub(super) low: String,
    pub(super) high: String,
    pub(super) sign: String,
    pub(super) plus_minus: String,
    pub(super) line: String,
    pub(super) temperature: String,
    pub(super) solvent: String,
    pub(super) concentration: String,
    pub(super) length: String,
    pub(super) ee: String,
    pub(super) form: String,
    pub(super) basis: String,
    pub(super) stage: String,
    pub(super) role: String,
    pub(super) place: String,
}

impl From<&Statement> for StatementFields {
    fn from(statement: &Statement) -> Self {
        let printed = |value: Option<Printed>| value.map(number::printed_signed).unwrap_or_default();
        Self {
            kind: statement.kind.as_str().to_owned(),
            value: printed(statement.value),
            low: printed(statement.low),
            high: printed(statement.high),
            sign: statement.sign.as_str().to_owned(),
            plus_minus: statement.plus_minus.map(number::printed).unwrap_or_default(),
            line: statement
                .line
                .as_ref()
                .map(|_| entry::line(statement))
                .unwrap_or_default(),
            temperature: entry::temperature(statement),
            solvent: statement.solvent.as_ref().map(ToString::to_string).unwrap_or_default(),
            concentration: (statement.concentration.as_ref())
                .map(|c| match c.high {
                    Some(high) => format!("{}–{} {}", number::printed(c.low), number::printed(high), c.unit),
                    None => format!("{} {}", number::printed(c.low), c.unit),
                })
                .unwrap_or_default(),
            length: (statement.path)
                .map(|path| format!("{} mm", path.millimetres()))
                .unwrap_or_default(),
            ee: (statement.ee.as_ref())
                .map(|ee| format!("{}{}", if ee.at_least { ">" } else { "" }, number::printed(ee.percent)))
                .unwrap_or_default(),
            form: statement.form.clone().unwrap_or_default(),
            basis: statement.basis.clone().unwrap_or_default(),
            stage: statement
                .stage
                .map(|stage| stage.as_str().to_owned())
                .unwrap_or_default(),
            role: statement.role.map(|role| role.as_str().to_owned()).unwrap_or_default(),
            place: statement.place.clone().unwrap_or_default(),
        }
    }
}

impl StatementFields {
    /// Puts the fields into a statement. A field that says what the statement says already leaves it as it is, with all
    /// that a form cannot show; an empty one takes it out.
    ///
    /// # Errors
    /// When a field cannot be read.
    pub(super) fn put(&self, statement: &mut Statement) -> Result<(), Failure> {
        let shown = Self::from(&*statement);
        let word = |name: &'static str, text: &str| Failure::usage("field", format!("{name}: \"{text}\" is not known"));
        if self.kind != shown.kind && !self.kind.is_empty() {
            statement.kind = RotationKind::from_word(&self.kind).ok_or_else(|| word("kind", &self.kind))?;
        }
        if self.value != shown.value {
            statement.value = field("value", &self.value, typed::rotation)?;
        }
        if self.low != shown.low {
            statement.low = field("low", &self.low, typed::rotation)?;
        }
        if self.high != shown.high {
            statement.high = field("high", &self.high, typed::rotation)?;
        }
        if statement.value.is_some() && (statement.low.is_some() || statement.high.is_some()) {
            return Err(Failure::usage("field", "value: a value and a range exclude each other")
                .hint("leave the value or the ends of the range empty"));
        }
        if self.sign != shown.sign && !self.sign.is_empty() {
            statement.sign = Sign::from_word(&self.sign).ok_or_else(|| word("sign", &self.sign))?;
        }
        if self.plus_minus != shown.plus_minus {
            statement.plus_minus = field("plus_minus", &self.plus_minus, typed::rotation)?;
        }
        if self.line != shown.line {
            statement.line = field("line", &self.line, quantity::parse_line)?;
        }
        if self.temperature != shown.temperature {
            statement.temperature = field("temperature", &self.temperature, typed::stated_temperature)?;
        }
        if self.solvent != shown.solvent {
            statement.solvent = field("solvent", &self.solvent, typed::solvent)?;
        }
        if self.concentration != shown.concentration {
            let stated = field("concentration", &self.concentration, quantity::parse_concentration)?;
            statement.concentration = stated.map(|stated| PrintedConcentration {
                low: stated.value,
                high: None,
                unit: stated.unit,
                unit_printed: true,
            });
        }
        if self.length != shown.length {
            statement.path = field("length", &self.length, quantity::parse_length)?;
        }
        if self.ee != shown.ee {
            let method = statement.ee.take().and_then(|ee| ee.method);
            statement.ee = field("ee", &self.ee, StatedExcess::read)?.map(|ee| StatedExcess { method, ..ee });
        }
        let words = |text: &str| Some(text.trim().to_owned()).filter(|text| !text.is_empty());
        for (typed, shown, kept) in [
            (&self.form, &shown.form, &mut statement.form),
            (&self.basis, &shown.basis, &mut statement.basis),
            (&self.place, &shown.place, &mut statement.place),
        ] {
            if typed != shown {
                *kept = words(typed);
            }
        }
        if self.stage != shown.stage {
            statement.stage = field("stage", &self.stage, |word| {
                Stage::from_word(word).ok_or("a stage is initial or final")
            })?;
        }
        if self.role != shown.role {
            statement.role = field("role", &self.role, |word| {
                Role::from_word(word).ok_or("a role is measured, lit or compiled")
            })?;
        }
        Ok(())
    }
}
