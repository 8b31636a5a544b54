//! Which column of a file holds which field: known by its heading, or told by a person, or by a saved mapping.
//!
//! A mapping is a TOML file with one table, `[columns]`, of headings and fields; a unit may stand behind the field
//! (`"Konz." = "conc:mg/mL"`), and `"-"` leaves a column out. Start reading at [`Mapping::assign`].

use super::field::{self, Field, Heading};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, HashMap};

/// What a person said of the columns.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Mapping {
    /// Fields by heading; see the module.
    #[serde(default)]
    pub columns: BTreeMap<String, String>,
    /// Columns that were told for this import alone, which the file must have; a saved mapping may serve many tables.
    #[serde(skip)]
    told: Vec<String>,
}

/// Why a mapping does not do.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum MappingError {
    /// It does not have the form COLUMN=FIELD.
    #[error("\"{text}\" does not map a column; write it like \"Konz.=conc:mg/mL\"")]
    Form {
        /// The text.
        text: String,
    },
    /// It names a field that is none.
    #[error("\"{word}\" is no field; the fields are {}", words())]
    Field {
        /// The word.
        word: String,
    },
    /// Two columns are mapped to one field.
    #[error("the columns \"{first}\" and \"{second}\" are both mapped to {}; leave one out with \"{second}=-\"", field.word())]
    Twice {
        /// A column.
        first: String,
        /// The other one.
        second: String,
        /// The field.
        field: Field,
    },
    /// It maps a column that the file does not have.
    #[error("the file has no column \"{column}\"; its columns are {}", found.join(", "))]
    Column {
        /// The column.
        column: String,
        /// The columns of the file.
        found: Vec<String>,
    },
    /// The saved mapping cannot be read.
    #[error("the mapping is not understood: {detail}; it is a TOML file with a table [columns]")]
    File {
        /// What is wrong.
        detail: String,
    },
}

fn words() -> String {
    Field::ALL
        .iter()
        .map(|field| field.word())
        .collect::<Vec<_>>()
        .join(", ")
}

/// The word that leaves a column out.
const LEFT_OUT: &str = "-";

/// A column with its field.
#[derive(Clone, Debug, PartialEq)]
pub struct Assigned {
    /// The field.
    pub field: Field,
    /// What the heading says.
    pub heading: Heading,
}

/// What each column of a file holds.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Assignment {
    /// For each column, in the order of the file; none for one that is not used.
    pub columns: Vec<Option<Assigned>>,
    /// The headings.
    pub headings: Vec<String>,
    /// Headings whose meaning is not known, and second columns of one field.
    pub unmapped: Vec<String>,
    /// Headings left out on purpose.
    pub left_out: Vec<String>,
    /// The column of each field.
    by_field: HashMap<Field, usize>,
}

impl Assignment {
    /// The column of a field.
    pub fn column(&self, field: Field) -> Option<usize> {
        self.by_field.get(&field).copied()
    }

    /// Keeps the columns of some fields; the others count as columns whose meaning is not known.
    pub fn keep(&mut self, keeps: impl Fn(Field) -> bool) {
        for (column, heading) in self.columns.iter_mut().zip(&self.headings) {
            if let Some(assigned) = column.take_if(|assigned| !keeps(assigned.field)) {
                self.by_field.remove(&assigned.field);
                self.unmapped.push(heading.clone());
            }
        }
    }
}

impl Mapping {
    /// Reads a saved mapping.
    ///
    /// # Errors
    /// When it is no TOML of this form or names a field that is none.
    pub fn from_toml(text: &str) -> Result<Self, MappingError> {
        let mapping: Self = toml::from_str(text).map_err(|error| MappingError::File {
            detail: error.message().to_owned(),
        })?;
        for target in mapping.columns.values() {
            parse_target(target)?;
        }
        Ok(mapping)
    }

    /// The mapping as TOML.
    ///
    /// # Errors
    /// Never for a mapping of texts; the writer's signature has an error.
    pub fn to_toml(&self) -> Result<String, MappingError> {
        toml::to_string_pretty(self).map_err(|error| MappingError::File {
            detail: error.to_string(),
        })
    }

    /// Adds one `COLUMN=FIELD[:UNIT]`; what was said of the column before is replaced.
    ///
    /// # Errors
    /// When it has another form or names no field.
    pub fn add(&mut self, text: &str) -> Result<(), MappingError> {
        let (column, target) = text
            .rsplit_once('=')
            .filter(|(column, _)| !column.trim().is_empty())
            .ok_or_else(|| MappingError::Form { text: text.to_owned() })?;
        parse_target(target)?;
        self.columns.insert(column.trim().to_owned(), target.trim().to_owned());
        self.told.push(column.trim().to_owned());
        Ok(())
    }

    /// Whether anything is known about a heading.
    pub fn knows(&self, heading: &str) -> bool {
        self.target(heading).is_some() || field::recognise(heading).is_some()
    }

    /// The mapping that an assignment came to, with every column that is used, to be saved.
    pub fn of(assignment: &Assignment) -> Self {
        let mut columns = BTreeMap::new();
        for (heading, assigned) in assignment.headings.iter().zip(&assignment.columns) {
            if heading.trim().is_empty() {
                continue;
            }
            let target = match assigned {
                Some(Assigned { field, heading }) => match &heading.unit {
                    Some(unit) => format!("{}:{unit}", field.word()),
                    None => field.word().to_owned(),
                },
                None => LEFT_OUT.to_owned(),
            };
            columns.insert(heading.trim().to_owned(), target);
        }
        Self {
            columns,
            told: Vec::new(),
        }
    }

    /// Says what each column holds.
    ///
    /// # Errors
    /// When two columns are mapped to one field.
    pub fn assign(&self, headings: &[String]) -> Result<Assignment, MappingError> {
        let mut assignment = Assignment {
            columns: vec![None; headings.len()],
            headings: headings.to_vec(),
            ..Assignment::default()
        };
        // What a person said comes first, so that a heading known by its name never takes its place.
        for (at, heading) in headings.iter().enumerate() {
            let Some(target) = self.target(heading) else { continue };
            let Some((field, unit)) = parse_target(target)? else {
                assignment.left_out.push(heading.clone());
                continue;
            };
            if let Some(&first) = assignment.by_field.get(&field) {
                return Err(MappingError::Twice {
                    first: headings[first].clone(),
                    second: heading.clone(),
                    field,
                });
            }
            let mut described = field::describe(heading);
            if unit.is_some() {
                described.unit = unit;
            }
            assignment.by_field.insert(field, at);
            assignment.columns[at] = Some(Assigned {
                field,
                heading: described,
            });
        }
        for (at, heading) in headings.iter().enumerate() {
            if self.target(heading).is_some() || heading.trim().is_empty() {
                continue;
            }
            let is_line_of_reject = headings
                .get(at + 1)
                .is_some_and(|next| heading == "line" && next == "reason");
            if field::is_ignored(heading) || is_line_of_reject {
                assignment.left_out.push(heading.clone());
                continue;
            }
            match field::recognise(heading) {
                Some((field, described)) if !assignment.by_field.contains_key(&field) => {
                    assignment.by_field.insert(field, at);
                    assignment.columns[at] = Some(Assigned {
                        field,
                        heading: described,
                    });
                }
                _ => assignment.unmapped.push(heading.clone()),
            }
        }
        Ok(assignment)
    }

    /// The columns told for this import that a file does not have.
    pub fn missing(&self, headings: &[String]) -> Vec<String> {
        self.told
            .iter()
            .filter(|column| !headings.iter().any(|heading| heading.trim() == column.as_str()))
            .cloned()
            .collect()
    }

    fn target(&self, heading: &str) -> Option<&str> {
        self.columns.get(heading.trim()).map(String::as_str)
    }
}

/// The field and the unit of a target; none for a column that is left out.
fn parse_target(target: &str) -> Result<Option<(Field, Option<String>)>, MappingError> {
    let target = target.trim();
    if target == LEFT_OUT {
        return Ok(None);
    }
    let (word, unit) = match target.split_once(':') {
        Some((word, unit)) => (
            word.trim(),
            Some(unit.trim().to_owned()).filter(|unit| !unit.is_empty()),
        ),
        None => (target, None),
    };
    if let Some(field) = Field::from_word(word) {
        return Ok(Some((field, unit)));
    }
    // A heading that would be known by itself names its field too: temp, cell.
    match field::recognise(word) {
        Some((field, heading)) if heading.conditions.is_none() => Ok(Some((field, unit.or(heading.unit)))),
        _ => Err(MappingError::Field { word: word.to_owned() }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn headings(all: &[&str]) -> Vec<String> {
        all.iter().map(|&heading| heading.to_owned()).collect()
    }

    #[test]
    fn what_a_person_says_comes_before_the_heading() {
        let mut mapping = Mapping::default();
        mapping.add("Konz.=conc:mg/mL").unwrap();
        mapping.add("value=-").unwrap();
        let assignment = mapping.assign(&headings(&["name", "value", "Konz.", "smell"])).unwrap();
        assert_eq!(assignment.column(Field::Conc), Some(2));
        assert_eq!(assignment.column(Field::Value), None);
        assert_eq!(assignment.left_out, ["value"]);
        assert_eq!(assignment.unmapped, ["smell"]);
        let saved = Mapping::of(&assignment);
        let again = Mapping::from_toml(&saved.to_toml().unwrap()).unwrap();
        assert_eq!(again, saved);
        assert_eq!(again.columns["Konz."], "conc:mg/mL");
    }

    #[test]
    fn wrong_mappings_say_what_would_be_right() {
        let mut mapping = Mapping::default();
        assert!(matches!(mapping.add("x=nonsense"), Err(MappingError::Field { .. })));
        assert!(matches!(mapping.add("x"), Err(MappingError::Form { .. })));
        mapping.add("a=value").unwrap();
        mapping.add("b=value").unwrap();
        assert!(matches!(
            mapping.assign(&headings(&["a", "b"])),
            Err(MappingError::Twice { .. })
        ));
        assert!(Mapping::from_toml("[columns]\nx = 3").is_err());
        assert!(Mapping::from_toml("colums = {}").is_err());
    }

    #[test]
    fn the_columns_of_a_rejects_file_are_left_out() {
        let assignment = Mapping::default()
            .assign(&headings(&["name", "line", "value", "line", "reason"]))
            .unwrap();
        assert_eq!(assignment.column(Field::Line), Some(1));
        assert_eq!(assignment.left_out, ["line", "reason"]);
    }
}
