//! `biot dispersion`: rotation against wavelength.

use super::{Failure, Outcome, Session, args, choose};
use crate::library::Access;
use crate::quantity::{self, Printed, SpecificRotation, SpectralLine};
use crate::report;
use crate::solvent::Solvent;
use crate::tasks::dispersion::{DispersionError, DispersionRequest, of_compound, of_file};
use clap::Args;
use std::path::Path;

/// Arguments of `biot dispersion`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    biot dispersion table.csv --at 546 --at 436           columns wavelength_nm, value and, if known, uncertainty\n  \
    biot dispersion curve.jdx --uncertainty 0.05          a JCAMP-DX curve\n  \
    biot dispersion table.csv --from 546 --to D --value 78.2 --value-uncertainty 0.1\n  \
    biot dispersion \"sucrose\" --solvent H2O --at 546      from the values of the library\n\n\
    A file (invented):\n    \
    wavelength_nm,value,uncertainty\n    \
    589.3,66.5,0.1\n    \
    546.1,78.3,0.1\n    \
    435.8,128.5,0.1\n    \
    365.0,193.6,0.2\n\n\
    The law of Drude, [α] = Σ A/(λ² − λ0²), is fitted with one term and with two; AICc chooses. Values may be specific, \
    molar or observed, as long as all are the same. Nothing is extrapolated beyond a change of sign, near an absorption \
    band, or far outside the data.")]
pub struct DispersionArguments {
    /// Table (CSV, XLSX), JCAMP-DX curve, or a compound of the library
    #[arg(required = true, value_name = "FILE or COMPOUND")]
    pub what: Vec<String>,
    /// Solvent of the library's values
    #[arg(long, value_parser = args::solvent, value_name = "SOLVENT")]
    pub solvent: Option<Solvent>,
    /// Standard uncertainty of every value, where no column gives it; without it the scatter tells it
    #[arg(long, value_parser = args::rotation, value_name = "NUMBER")]
    pub uncertainty: Option<Printed>,
    /// The wavelengths of the file are those in vacuum
    #[arg(long)]
    pub vacuum: bool,
    /// Line at which the rotation is wanted; may be given several times
    #[arg(long, value_parser = quantity::parse_line, value_name = "LINE")]
    pub at: Vec<SpectralLine>,
    /// Line a value is converted from
    #[arg(long, value_parser = quantity::parse_line, requires_all = ["to", "value"], value_name = "LINE")]
    pub from: Option<SpectralLine>,
    /// Line it is converted to
    #[arg(long, value_parser = quantity::parse_line, requires_all = ["from", "value"], value_name = "LINE")]
    pub to: Option<SpectralLine>,
    /// The value to be converted
    #[arg(long, allow_hyphen_values = true, value_parser = args::rotation, requires = "from", value_name = "NUMBER")]
    pub value: Option<Printed>,
    /// Its standard uncertainty
    #[arg(long, value_parser = args::rotation, requires = "value", value_name = "NUMBER")]
    pub value_uncertainty: Option<Printed>,
    /// Which column holds what: wavelength, value or uncertainty; - leaves one out
    #[arg(long, value_name = "HEADING=WORD")]
    pub map: Vec<String>,
}

/// Fits and shows.
pub fn run(arguments: &DispersionArguments, session: &mut Session) -> Result<Outcome, Failure> {
    for (option, number) in [
        ("uncertainty", arguments.uncertainty),
        ("value-uncertainty", arguments.value_uncertainty),
    ] {
        if let Some(u) = number.filter(|u| u.value() <= 0.0) {
            return Err(Failure::usage(
                "uncertainty",
                format!("--{option} is {u}, but it must be above zero"),
            ));
        }
    }
    let convert = match (&arguments.from, &arguments.to, arguments.value) {
        (Some(from), Some(to), Some(value)) => Some((
            from.clone(),
            to.clone(),
            value.value(),
            arguments.value_uncertainty.map_or(0.0, Printed::value),
        )),
        _ => None,
    };
    let request = DispersionRequest {
        mappings: arguments.map.clone(),
        is_vacuum: arguments.vacuum,
        uncertainty: arguments
            .uncertainty
            .map(|u| SpecificRotation::from_conventional(u.value())),
        at: arguments.at.clone(),
        convert,
    };
    let text = arguments.what.join(" ");
    let path = Path::new(&text);
    let made = if is_file(path) {
        of_file(path, &request)?
    } else {
        let library = session.library(Access::Read)?;
        let compound = choose::compound(&library, &text, session)?;
        of_compound(&library, compound, arguments.solvent.as_ref(), &request)?
    };
    session.answer(&report::dispersion::DispersionJson::new(&made), |page| {
        report::dispersion::show(&made, page);
    })?;
    Ok(if made.refused.is_empty() {
        Outcome::Answered
    } else {
        Outcome::WithFindings
    })
}

/// Whether a text names a file, by its ending or because it is there, and not a compound.
pub fn is_file(path: &Path) -> bool {
    const ENDINGS: [&str; 7] = ["csv", "tsv", "txt", "xlsx", "jdx", "dx", "jcamp"];
    let ending = path.extension().map(|ending| ending.to_string_lossy().to_lowercase());
    ending.is_some_and(|ending| ENDINGS.contains(&ending.as_str())) || path.is_file()
}

impl From<DispersionError> for Failure {
    fn from(error: DispersionError) -> Self {
        let code = match error {
            DispersionError::File(error) => return error.into(),
            DispersionError::Library(error) => return error.into(),
            DispersionError::Jcamp { path, error } => {
                return Self::usage("jcamp", "")
                    .told(&error.to_string())
                    .at(path.display().to_string());
            }
            DispersionError::Abscissa { .. } => "abscissa",
            DispersionError::Nothing { .. } => "no-values",
            DispersionError::Line { .. } => "line",
        };
        Self::usage(code, "").told(&error.to_string())
    }
}
