//! Checks of an instrument against control standards: recording one, the chart, what is due, and the state an instrument
//! was in at a moment.

use super::register::{self, parse_date};
use crate::instrument::chart::{Chart, ESTABLISHED, Rule, chart};
use crate::instrument::control::{ControlError, Expected, Found, NoVerdict, e_n, expected, found};
use crate::instrument::register::{Instrument, Standard, StandardKind};
use crate::library::{Change, ControlCheck, Equipment, EquipmentKind, Library, LibraryError};
use crate::quantity::{Angle, Length, SpectralLine, Temperature};
use serde::{Deserialize, Serialize};
use time::OffsetDateTime;
use time::format_description::well_known::Rfc3339;

/// What was read of a standard.
#[derive(Clone, Debug)]
pub struct ReadingOfStandard {
    /// The instrument's name.
    pub instrument: String,
    /// The standard's name.
    pub standard: String,
    /// Readings of the standard.
    pub readings: Vec<Angle>,
    /// Readings of the empty instrument, or of the solvent.
    pub blank: Vec<Angle>,
    /// The line; none takes that of the standard.
    pub line: Option<SpectralLine>,
    /// The temperature at the standard.
    pub temperature: Option<Temperature>,
    /// The cell a solution was read in.
    pub cell: Option<Length>,
    /// When; none takes the time of the change.
    pub at: Option<OffsetDateTime>,
}

/// A check as it is kept.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct KeptCheck {
    /// Readings of the standard, degrees.
    pub readings_deg: Vec<f64>,
    /// Readings of the blank, degrees.
    pub blank_deg: Vec<f64>,
    /// The line.
    pub line: SpectralLine,
    /// The temperature, °C.
    pub temperature_c: Option<f64>,
    /// The cell, mm.
    pub cell_mm: Option<f64>,
    /// What was found, degrees.
    pub found_deg: f64,
    /// Its standard uncertainty, degrees.
    pub found_uncertainty_deg: f64,
    /// What was to be found, degrees.
    pub expected_deg: f64,
    /// Its standard uncertainty, degrees.
    pub expected_uncertainty_deg: f64,
    /// The E_n score; none where there is no verdict.
    pub e_n: Option<f64>,
    /// Why there is no verdict.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub no_verdict: Option<NoVerdict>,
    /// What the expected value rests on.
    pub basis: Vec<String>,
}

impl KeptCheck {
    /// Found less expected.
    pub fn difference(&self) -> Angle {
        Angle::from_degrees(self.found_deg - self.expected_deg)
    }

    /// Whether the E_n score is within 1; none when there is no verdict.
    pub fn passes(&self) -> Option<bool> {
        self.e_n.map(|score| score.abs() <= 1.0)
    }

    /// Whether its difference has a place in the control chart.
    pub fn is_charted(&self) -> bool {
        self.no_verdict.is_none_or(NoVerdict::is_charted)
    }
}

/// Why a check could not be made.
#[derive(Debug, thiserror::Error)]
pub enum CheckError {
    /// The library.
    #[error(transparent)]
    Library(#[from] LibraryError),
    /// The standard.
    #[error(transparent)]
    Control(#[from] ControlError),
    /// No reading.
    #[error("there is no reading of the standard that is a number; give at least one")]
    NoReading,
    /// The check lies in the future.
    #[error("a check at {0} has not been made yet; give the time it was made")]
    InFuture(String),
    /// The standard is out of date.
    #[error("the standard \"{name}\" was due on {due}; renew it, or give its new date, before it tests anything")]
    Expired {
        /// The standard.
        name: String,
        /// The date.
        due: String,
    },
}

/// A check made.
#[derive(Clone, Debug)]
pub struct CheckMade {
    /// The instrument.
    pub instrument: Equipment,
    /// The standard.
    pub standard: Equipment,
    /// Its certificate.
    pub certificate: Standard,
    /// What a check with it tests.
    pub tests: &'static str,
    /// The check.
    pub check: KeptCheck,
    /// Published laws at these conditions.
    pub laws: Vec<(&'static str, Angle)>,
    /// Its number where it was kept.
    pub id: Option<i64>,
    /// The chart with it.
    pub chart: Chart,
    /// Rules broken by it; none where it has no place in the chart.
    pub alarms: Vec<Rule>,
}

impl CheckMade {
    /// Whether it says that the instrument is out of control: E_n beyond 1, or a rule of an established chart broken.
    pub fn is_out_of_control(&self) -> bool {
        self.check.passes() == Some(false) || (self.chart.established && !self.alarms.is_empty())
    }

    /// Temperature of the standard's expected angle.
    pub fn reference_temperature(&self) -> Temperature {
        self.certificate.temperature()
    }
}

/// Checks an instrument and keeps the check when `keep` is set.
///
/// # Errors
/// When something is unknown, the standard is out of date, or says nothing at these conditions.
pub fn check(
    library: &mut Library,
    read: &ReadingOfStandard,
    keep: bool,
    change: &Change,
) -> Result<CheckMade, CheckError> {
    let (instrument, fields) = register::instrument(library, &read.instrument)?;
    let (standard, certificate) = register::standard(library, &read.standard)?;
    let at = read.at.unwrap_or(change.at);
    if at > change.at {
        return Err(CheckError::InFuture(instant(at)));
    }
    if let Some(due) = &certificate.due_on
        && parse_date(due).is_some_and(|due| due < at.date())
    {
        return Err(CheckError::Expired {
            name: standard.name,
            due: due.clone(),
        });
    }
    let line = read.line.clone().unwrap_or_else(|| certificate.line.clone());
    let due = expected(&certificate, &line, read.temperature, read.cell)?;
    let seen = found(&read.readings, &read.blank, fields.reading_uncertainty()).ok_or(CheckError::NoReading)?;
    let Some(score) = e_n(&seen, &due) else {
        return Err(CheckError::Control(ControlError::NoUncertainty {
            instrument: instrument.name,
        }));
    };
    let check = kept(read, &certificate, line, (&seen, &due, score));
    let mut id = None;
    if keep {
        let content = serde_json::to_value(&check).unwrap_or_default();
        let made = library.add_control_check((&instrument, &standard), &instant(at), &change.who, &content, change)?;
        id = Some(made.id);
    }
    let mut checks = kept_checks(library, &instrument, &standard)?;
    if !keep {
        checks.push(check.clone());
    }
    let drawn = drawn(&checks, &fields);
    let alarms = if check.is_charted() {
        newest_alarms(&drawn)
    } else {
        Vec::new()
    };
    Ok(CheckMade {
        instrument,
        standard,
        tests: certificate.kind.tests(),
        certificate,
        check,
        laws: due.laws,
        id,
        chart: drawn,
        alarms,
    })
}

fn kept(
    read: &ReadingOfStandard,
    certificate: &Standard,
    line: SpectralLine,
    (seen, due, score): (&Found, &Expected, f64),
) -> KeptCheck {
    let no_verdict = due.no_verdict(seen);
    let degrees = |angles: &[Angle]| angles.iter().map(|angle| angle.degrees()).collect();
    let is_solution = !matches!(certificate.kind, StandardKind::QuartzPlate);
    KeptCheck {
        readings_deg: degrees(&read.readings),
        blank_deg: degrees(&read.blank),
        line,
        temperature_c: read.temperature.map(Temperature::celsius),
        cell_mm: is_solution
            .then(|| read.cell.or_else(|| certificate.cell()).map(Length::millimetres))
            .flatten(),
        found_deg: seen.angle.degrees(),
        found_uncertainty_deg: seen.uncertainty.degrees(),
        expected_deg: due.angle.degrees(),
        expected_uncertainty_deg: due.uncertainty.degrees(),
        e_n: no_verdict.is_none().then_some(score),
        no_verdict,
        basis: due.basis.clone(),
    }
}

/// The checks of one instrument with one standard, drawn.
#[derive(Clone, Debug)]
pub struct ControlChart {
    /// The instrument.
    pub instrument: Equipment,
    /// The standard.
    pub standard: Equipment,
    /// The checks, oldest first.
    pub checks: Vec<(ControlCheck, KeptCheck)>,
    /// The chart of the checks that have a place in it.
    pub chart: Chart,
    /// For each point of the chart, its place among the checks.
    pub charted: Vec<usize>,
}

impl ControlChart {
    /// The rules that a check breaks, by its place among the checks.
    pub fn rules_at(&self, check: usize) -> Vec<Rule> {
        let broken = self.chart.alarms.iter();
        broken
            .filter(|alarm| self.charted.get(alarm.at) == Some(&check))
            .map(|alarm| alarm.rule)
            .collect()
    }

    /// Whether the newest check says that the instrument is out of control.
    pub fn is_out_of_control(&self) -> bool {
        let Some(newest) = self.checks.len().checked_sub(1) else {
            return false;
        };
        self.checks[newest].1.passes() == Some(false) || (self.chart.established && !self.rules_at(newest).is_empty())
    }
}

/// The chart of an instrument with a standard.
///
/// # Errors
/// When one of them is unknown.
pub fn chart_of(library: &Library, instrument: &str, standard: &str) -> Result<ControlChart, LibraryError> {
    let (instrument, fields) = register::instrument(library, instrument)?;
    let (standard, _) = register::standard(library, standard)?;
    let rows: Vec<(ControlCheck, KeptCheck)> = library
        .control_checks(Some(instrument.id), Some(standard.id))?
        .into_iter()
        .map(|row| {
            let check = read_check(&row)?;
            Ok((row, check))
        })
        .collect::<Result<_, LibraryError>>()?;
    let charted: Vec<usize> = (0..rows.len()).filter(|&at| rows[at].1.is_charted()).collect();
    let differences: Vec<Angle> = charted.iter().map(|&at| rows[at].1.difference()).collect();
    let drawn = chart(&differences, fields.resolution());
    Ok(ControlChart {
        charted,
        instrument,
        standard,
        checks: rows,
        chart: drawn,
    })
}

fn kept_checks(
    library: &Library,
    instrument: &Equipment,
    standard: &Equipment,
) -> Result<Vec<KeptCheck>, LibraryError> {
    library
        .control_checks(Some(instrument.id), Some(standard.id))?
        .iter()
        .map(read_check)
        .collect()
}

fn read_check(row: &ControlCheck) -> Result<KeptCheck, LibraryError> {
    serde_json::from_value(row.content.clone()).map_err(|_| LibraryError::Stored {
        what: "control check",
        value: row.content.to_string(),
    })
}

fn drawn(checks: &[KeptCheck], instrument: &Instrument) -> Chart {
    let charted = checks.iter().filter(|check| check.is_charted());
    let differences: Vec<Angle> = charted.map(KeptCheck::difference).collect();
    chart(&differences, instrument.resolution())
}

fn newest_alarms(drawn: &Chart) -> Vec<Rule> {
    let newest = drawn.differences.len().saturating_sub(1);
    drawn
        .alarms
        .iter()
        .filter(|alarm| alarm.at == newest)
        .map(|alarm| alarm.rule)
        .collect()
}

/// The state an instrument was in.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(tag = "state", rename_all = "kebab-case")]
pub enum ControlState {
    /// The last check passed and is not overdue.
    InControl {
        /// When it was last checked.
        checked: String,
    },
    /// The last check failed, or a run rule is broken.
    OutOfControl {
        /// When it was last checked.
        checked: String,
        /// What is wrong.
        why: String,
    },
    /// A point lies beyond limits that are still provisional.
    Warning {
        /// When it was last checked.
        checked: String,
        /// What is wrong.
        why: String,
    },
    /// The next check is overdue.
    Overdue {
        /// When it was last checked.
        checked: String,
        /// The days it may go without.
        every_days: u32,
    },
    /// It was never checked before with a verdict.
    NeverChecked,
}

impl ControlState {
    /// What it means for a measurement, a sentence; none when the instrument is in control.
    pub fn caution(&self, instrument: &str) -> Option<String> {
        match self {
            Self::InControl { .. } => None,
            Self::OutOfControl { checked, why } => Some(format!(
                "The instrument \"{instrument}\" was out of control at its check of {checked}: {why}. The measurement counts \
                 only after a repair and a new one."
            )),
            Self::Warning { checked, why } => Some(format!(
                "The instrument \"{instrument}\" passed its check of {checked}, but {why}. Read the standard again."
            )),
            Self::Overdue { checked, every_days } => Some(format!(
                "The instrument \"{instrument}\" was last checked on {checked}, more than {every_days} days before."
            )),
            Self::NeverChecked => Some(format!(
                "The instrument \"{instrument}\" had not been checked against a control standard with a verdict."
            )),
        }
    }
}

/// The state of an instrument at a moment, from the newest check with each standard up to then.
///
/// # Errors
/// When the library fails.
pub fn state_at(library: &Library, instrument: i64, at: OffsetDateTime) -> Result<ControlState, LibraryError> {
    let equipment = library.equipment_by_id(instrument)?;
    let fields: Instrument = register::content(&equipment)?;
    let until = instant(at);
    let rows: Vec<(ControlCheck, KeptCheck)> = library
        .control_checks(Some(instrument), None)?
        .into_iter()
        .filter(|row| row.at <= until)
        .map(|row| read_check(&row).map(|check| (row, check)))
        .collect::<Result<_, _>>()?;
    // A check without a verdict neither counts as one nor heals a failure.
    let Some((last, _)) = rows.iter().rfind(|(_, check)| check.passes().is_some()) else {
        return Ok(ControlState::NeverChecked);
    };
    let checked = last.at.get(..10).unwrap_or(&last.at).to_owned();
    let mut standards: Vec<i64> = rows.iter().map(|(row, _)| row.standard).collect();
    standards.sort_unstable();
    standards.dedup();
    let mut warning = None;
    for standard in standards {
        let checks = rows.iter().filter(|(row, _)| row.standard == standard);
        let checks: Vec<KeptCheck> = checks.map(|(_, check)| check.clone()).collect();
        let standard = library.equipment_by_id(standard)?;
        // A standard out of use says nothing of what came after: a broken plate must not condemn an instrument for ever.
        if standard.retired_at.is_some_and(|retired| retired <= until) {
            continue;
        }
        let name = standard.name;
        if let Some(newest) = checks.iter().rfind(|check| check.passes().is_some())
            && newest.passes() == Some(false)
        {
            return Ok(ControlState::OutOfControl {
                checked,
                why: failed(newest, &name),
            });
        }
        let drawn = drawn(&checks, &fields);
        let Some(rule) = newest_alarms(&drawn).first().copied() else {
            continue;
        };
        if drawn.established {
            return Ok(ControlState::OutOfControl {
                checked,
                why: format!("control chart with \"{name}\": {}", rule.sentence()),
            });
        }
        warning.get_or_insert_with(|| {
            format!(
                "it lies beyond the limits of the control chart with \"{name}\", which are provisional: they rest on {} \
                 checks, fewer than {ESTABLISHED}",
                drawn.differences.len()
            )
        });
    }
    if let Some(every_days) = fields.check_every_days
        && OffsetDateTime::parse(&last.at, &Rfc3339).is_ok_and(|last| (at - last).whole_days() > i64::from(every_days))
    {
        return Ok(ControlState::Overdue { checked, every_days });
    }
    if let Some(why) = warning {
        return Ok(ControlState::Warning { checked, why });
    }
    Ok(ControlState::InControl { checked })
}

/// A failed check in words.
fn failed(check: &KeptCheck, standard: &str) -> String {
    let signed = |value: f64, decimals: usize| format!("{value:+.decimals$}").replace('-', "\u{2212}");
    format!(
        "{}° differs by {}° from the {}° of \"{standard}\" (E_n {})",
        signed(check.found_deg, 4),
        signed(check.difference().degrees(), 4),
        signed(check.expected_deg, 4),
        signed(check.e_n.unwrap_or_default(), 1)
    )
}

/// Something that wants attention by a date.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Due {
    /// What.
    pub kind: EquipmentKind,
    /// Its name.
    pub name: String,
    /// Why, in words.
    pub what: String,
    /// The date, YYYY-MM-DD; none where it was never done.
    pub due_on: Option<String>,
    /// Whether it is past.
    pub overdue: bool,
}

/// What is due: checks of instruments, renewals of standards, loans.
///
/// # Errors
/// When the library fails.
pub fn due(library: &Library, today: time::Date) -> Result<Vec<Due>, LibraryError> {
    let mut found = Vec::new();
    for listed in register::list(library, None, false)? {
        let it = &listed.equipment;
        let mut add = |what: &str, due_on: Option<time::Date>| {
            found.push(Due {
                kind: it.kind,
                name: it.name.clone(),
                what: what.to_owned(),
                overdue: due_on.is_none_or(|due| due < today),
                due_on: due_on.map(register::date),
            });
        };
        match it.kind {
            EquipmentKind::Instrument => {
                let fields: Instrument = register::content(it)?;
                if let Some(days) = fields.check_every_days {
                    let last = last_with_verdict(library, it.id)?.and_then(|row| parse_date(row.at.get(..10)?));
                    add(
                        "check against a control standard",
                        last.map(|last| last.saturating_add(time::Duration::days(i64::from(days)))),
                    );
                }
            }
            EquipmentKind::Standard => {
                let fields: Standard = register::content(it)?;
                if let Some(date) = fields.due_on.as_deref().and_then(parse_date) {
                    add("renewal of the certificate or the solution", Some(date));
                }
            }
            EquipmentKind::Cell | EquipmentKind::Preset => {}
        }
        if let Some(loan) = &listed.loan
            && let Some(date) = loan.due_on.as_deref().and_then(parse_date)
        {
            add(&format!("back from {}", loan.borrower), Some(date));
        }
    }
    found.sort_by(|a, b| a.due_on.cmp(&b.due_on).then_with(|| a.name.cmp(&b.name)));
    Ok(found)
}

/// The newest check of an instrument that has a verdict.
fn last_with_verdict(library: &Library, instrument: i64) -> Result<Option<ControlCheck>, LibraryError> {
    for row in library.control_checks(Some(instrument), None)?.into_iter().rev() {
        if read_check(&row)?.passes().is_some() {
            return Ok(Some(row));
        }
    }
    Ok(None)
}

/// A moment as the library stores it.
fn instant(at: OffsetDateTime) -> String {
    at.to_offset(time::UtcOffset::UTC)
        .replace_nanosecond(0)
        .unwrap_or(at)
        .format(&Rfc3339)
        .unwrap_or_default()
}
