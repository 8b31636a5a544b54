//! Two keyings of one printed value, field by field.

use crate::quantity::Printed;
use crate::statement::{Role, RotationKind, Sign, Stage, StatedTemperature, Statement};
use serde::{Deserialize, Serialize};

/// A field in which two keyings differ; none where a keying leaves it out.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct FieldDifference {
    /// The field, by the name its option has.
    pub field: String,
    /// What the first keyer entered.
    pub first: Option<String>,
    /// What the second keyer entered.
    pub second: Option<String>,
}

/// The fields of a statement that a person keys, in a form in which two keyings of one print are equal, with the digits as
/// printed. Left out is what the keyers word themselves: place, text as printed, remarks, doubts.
pub fn fields(statement: &Statement) -> Vec<(&'static str, String)> {
    let mut fields: Vec<(&'static str, String)> = Vec::new();
    let mut put = |name: &'static str, text: Option<String>| fields.extend(text.map(|text| (name, text)));
    let number = |printed: Option<Printed>| printed.map(|printed| printed.to_string());
    let kind = match statement.kind {
        RotationKind::Specific => "specific",
        RotationKind::Observed => "observed",
        RotationKind::Molar => "molar",
    };
    put("kind", Some(kind.to_owned()));
    put("value", number(statement.value));
    put("low", number(statement.low));
    put("high", number(statement.high));
    let sign = match statement.sign {
        Sign::Stated => None,
        Sign::NotStated => Some("not printed"),
        Sign::Ambiguous => Some("±"),
    };
    put("sign", sign.map(str::to_owned));
    put("plus-minus", number(statement.plus_minus));
    put("approx", statement.approx.then(|| "about".to_owned()));
    let temperature = statement.temperature.as_ref().map(|temperature| match temperature {
        StatedTemperature::At(at) => at.to_string(),
        StatedTemperature::Range(low, high) => format!("{low}..{high}"),
        StatedTemperature::Words(words) => words.trim().to_lowercase(),
    });
    put("temperature", temperature);
    put("line", statement.line.as_ref().map(ToString::to_string));
    put("solvent", statement.solvent.as_ref().map(ToString::to_string));
    let concentration = statement.concentration.map(|c| match c.high {
        Some(high) => format!("{}..{high} {}", c.low, c.unit),
        None => format!("{} {}", c.low, c.unit),
    });
    put("concentration", concentration);
    put(
        "length",
        statement.path.map(|path| format!("{:.3} mm", path.millimetres())),
    );
    let excess = statement.ee.as_ref().map(|ee| {
        let bound = if ee.at_least { ">" } else { "" };
        format!("{bound}{}", ee.percent)
    });
    put("ee", excess);
    let words =
        |text: Option<&String>| text.map(|text| text.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase());
    put("form", words(statement.form.as_ref()));
    put("basis", words(statement.basis.as_ref()));
    let stage = statement.stage.map(|stage| match stage {
        Stage::Initial => "initial",
        Stage::Final => "final",
    });
    put("stage", stage.map(str::to_owned));
    // Measured is what a value is that does not say it is quoted.
    let role = statement.role.and_then(|role| match role {
        Role::Measured => None,
        Role::Lit => Some("lit"),
        Role::Compiled => Some("compiled"),
    });
    put("role", role.map(str::to_owned));
    fields
}

/// The fields in which two keyings differ, in the order of print.
pub fn compare_keyings(first: &Statement, second: &Statement) -> Vec<FieldDifference> {
    let (first, second) = (fields(first), fields(second));
    let get = |fields: &[(&'static str, String)], name: &str| {
        fields
            .iter()
            .find(|(known, _)| *known == name)
            .map(|(_, text)| text.clone())
    };
    let mut names: Vec<&'static str> = first.iter().map(|(name, _)| *name).collect();
    for (name, _) in &second {
        if !names.contains(name) {
            names.push(name);
        }
    }
    names
        .into_iter()
        .map(|name| FieldDifference {
            field: name.to_owned(),
            first: get(&first, name),
            second: get(&second, name),
        })
        .filter(|difference| difference.first != difference.second)
        .collect()
}
