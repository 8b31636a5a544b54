//! `biot register`: instruments, cells, presets and control standards of a laboratory, and who has what.

use super::change::ChangeOptions;
use super::{Failure, Outcome, Session, args};
use crate::instrument::register::{Cell, Instrument, Preset, RecordFault, Standard, StandardKind};
use crate::library::{Access, Equipment, EquipmentKind};
use crate::quantity::{self, Angle, Length, SpectralLine, StatedConcentration, Temperature, Time, Volume};
use crate::report;
use crate::report::register::{EquipmentJson, RegisterJson};
use crate::tasks::register;
use clap::{Args, Subcommand};

/// Arguments of `biot register`.
#[derive(Debug, Args)]
#[command(after_help = "Examples (all names are invented):\n  \
    biot register instrument north --line D --line 546 --angle-uncertainty 0.002 --resolution 0.001 --check-every 30\n  \
    biot register cell \"long 1\" --length \"100.02 mm\" --length-uncertainty \"0.01 mm\" --windows glass --seals PTFE\n  \
    biot register preset routine --line D --temp 20 --readings 10 --settle 0.002 --settle-over \"60 s\" --instrument north --cell \"long 1\"\n  \
    biot register standard \"plate 17\" --kind quartz-plate --value 34.612 --expanded-uncertainty 0.002 --temp 20 --line D --due 2027-06-30\n  \
    biot register lend \"long 1\" --to \"third floor\" --until 2026-12-18\n  \
    biot register list\n\n\
    A record in use is changed by naming it again with --change; only the fields given change. Nothing is deleted: retire \
    takes a record out of use.")]
pub struct RegisterArguments {
    /// What to do
    #[command(subcommand)]
    pub action: Action,
}

/// What to do with the register.
#[derive(Debug, Subcommand)]
pub enum Action {
    /// List what is registered
    List {
        /// Only this kind
        #[arg(value_parser = args::words(EquipmentKind::WORDS, EquipmentKind::from_word), value_name = "KIND")]
        kind: Option<EquipmentKind>,
        /// What is out of use too
        #[arg(long)]
        all: bool,
    },
    /// Register an instrument, or change it
    Instrument(InstrumentOptions),
    /// Register a cell, or change it
    Cell(CellOptions),
    /// Register a preset, or change it
    Preset(PresetOptions),
    /// Register a control standard, or change it
    Standard(StandardOptions),
    /// Lend a cell
    Lend {
        /// The cell
        #[arg(value_name = "CELL")]
        name: String,
        /// Who takes it
        #[arg(long, value_name = "NAME")]
        to: String,
        /// Until when, YYYY-MM-DD
        #[arg(long, value_parser = date, value_name = "DATE")]
        until: Option<time::Date>,
        /// Who and why
        #[command(flatten)]
        change: ChangeOptions,
    },
    /// Take a cell back
    Return {
        /// The cell
        #[arg(value_name = "CELL")]
        name: String,
        /// Who and why
        #[command(flatten)]
        change: ChangeOptions,
    },
    /// Take something out of use; its records stay
    Retire {
        /// What it is
        #[arg(value_parser = args::words(EquipmentKind::WORDS, EquipmentKind::from_word), value_name = "KIND")]
        kind: EquipmentKind,
        /// Its name
        #[arg(value_name = "NAME")]
        name: String,
        /// Who and why
        #[command(flatten)]
        change: ChangeOptions,
    },
}

/// What every record has.
#[derive(Clone, Debug, Args)]
pub struct Record {
    /// What it is called in the laboratory
    #[arg(value_name = "NAME")]
    pub name: String,
    /// Change the record of that name; fields not given stay
    #[arg(long = "change")]
    pub change_existing: bool,
    /// What to know of it
    #[arg(long, value_name = "TEXT")]
    pub note: Option<String>,
    /// Who and why
    #[command(flatten)]
    pub change: ChangeOptions,
}

/// Fields of an instrument.
#[derive(Clone, Debug, Args)]
pub struct InstrumentOptions {
    /// Name
    #[command(flatten)]
    pub record: Record,
    /// A line it has; may be given several times
    #[arg(long, value_parser = quantity::parse_line, value_name = "LINE")]
    pub line: Vec<SpectralLine>,
    /// Standard uncertainty of an angle
    #[arg(long, value_parser = quantity::parse_angle, value_name = "ANGLE")]
    pub angle_uncertainty: Option<Angle>,
    /// Smallest step of its display
    #[arg(long, value_parser = quantity::parse_angle, value_name = "ANGLE")]
    pub resolution: Option<Angle>,
    /// Days after which it wants a check against a control standard
    #[arg(long, value_parser = clap::value_parser!(u32).range(1..=3650), value_name = "DAYS")]
    pub check_every: Option<u32>,
}

/// Fields of a cell.
#[derive(Clone, Debug, Args)]
pub struct CellOptions {
    /// Name
    #[command(flatten)]
    pub record: Record,
    /// Certified length
    #[arg(long, value_parser = quantity::parse_length, required_unless_present = "change_existing", value_name = "LENGTH")]
    pub length: Option<Length>,
    /// Standard uncertainty of the length
    #[arg(long, value_parser = quantity::parse_length, value_name = "LENGTH")]
    pub length_uncertainty: Option<Length>,
    /// Filling
    #[arg(long, value_parser = quantity::parse_volume, value_name = "VOLUME")]
    pub volume: Option<Volume>,
    /// It holds its temperature
    #[arg(long)]
    pub jacketed: bool,
    /// Material of the windows, such as "glass, cemented"
    #[arg(long, value_name = "MATERIAL")]
    pub windows: Option<String>,
    /// Material of the seals
    #[arg(long, value_name = "MATERIAL")]
    pub seals: Option<String>,
}

/// Fields of a preset.
#[derive(Clone, Debug, Args)]
pub struct PresetOptions {
    /// Name
    #[command(flatten)]
    pub record: Record,
    /// Line; several make a dispersion table
    #[arg(long, value_parser = quantity::parse_line, value_name = "LINE")]
    pub line: Vec<SpectralLine>,
    /// Temperature held; none is ambient
    #[arg(long, visible_alias = "temperature", allow_hyphen_values = true, value_parser = quantity::parse_temperature, value_name = "TEMPERATURE")]
    pub temp: Option<Temperature>,
    /// Readings to take
    #[arg(long, value_parser = clap::value_parser!(u32).range(1..=100_000), value_name = "NUMBER")]
    pub readings: Option<u32>,
    /// Settling criterion: the angle has settled when it changes by no more than this
    #[arg(long, value_parser = quantity::parse_angle, value_name = "ANGLE")]
    pub settle: Option<Angle>,
    /// Time over which it changes by no more, such as "60 s"; without it the last three readings are held against --settle
    #[arg(long, value_parser = quantity::parse_time, value_name = "TIME")]
    pub settle_over: Option<Time>,
    /// The instrument
    #[arg(long, value_name = "NAME")]
    pub instrument: Option<String>,
    /// The cell
    #[arg(long, value_name = "NAME")]
    pub cell: Option<String>,
}

/// Fields of a control standard.
#[derive(Clone, Debug, Args)]
pub struct StandardOptions {
    /// Name
    #[command(flatten)]
    pub record: Record,
    /// What it is
    #[arg(long, value_parser = args::words(StandardKind::WORDS, StandardKind::from_word), required_unless_present = "change_existing", value_name = "KIND")]
    pub kind: Option<StandardKind>,
    /// Certified angle
    #[arg(long, allow_hyphen_values = true, value_parser = quantity::parse_angle, value_name = "ANGLE")]
    pub value: Option<Angle>,
    /// Expanded uncertainty of the certified angle, k = 2
    #[arg(long, value_parser = quantity::parse_angle, value_name = "ANGLE")]
    pub expanded_uncertainty: Option<Angle>,
    /// Temperature of the certified angle (20 °C where none is given)
    #[arg(long, visible_alias = "temperature", value_parser = quantity::parse_temperature, value_name = "TEMPERATURE")]
    pub temp: Option<Temperature>,
    /// Line of the certified angle (D where none is given)
    #[arg(long, value_parser = quantity::parse_line, value_name = "LINE")]
    pub line: Option<SpectralLine>,
    /// Relative change of the angle per kelvin, from the certificate
    #[arg(long, allow_hyphen_values = true, value_name = "NUMBER")]
    pub coefficient: Option<f64>,
    /// Concentration of a solution
    #[arg(long, value_parser = quantity::parse_concentration, value_name = "CONCENTRATION")]
    pub conc: Option<StatedConcentration>,
    /// Cell in which a solution has its certified angle
    #[arg(long, value_parser = quantity::parse_length, value_name = "LENGTH")]
    pub cell: Option<Length>,
    /// When certificate or solution expires, YYYY-MM-DD
    #[arg(long, value_parser = date, value_name = "DATE")]
    pub due: Option<time::Date>,
}

/// Reads a date.
pub fn date(text: &str) -> Result<time::Date, String> {
    register::parse_date(text).ok_or_else(|| "a date is written YYYY-MM-DD, such as 2026-12-18".to_owned())
}

/// Works on the register.
pub fn run(arguments: &RegisterArguments, session: &mut Session) -> Result<Outcome, Failure> {
    match &arguments.action {
        Action::List { kind, all } => {
            let library = session.library(Access::Read)?;
            let listed = register::list(&library, *kind, *all)?;
            session.answer(&RegisterJson::from(listed.as_slice()), |page| {
                report::register::list(&listed, page);
            })?;
        }
        Action::Instrument(options) => instrument(options, session)?,
        Action::Cell(options) => cell(options, session)?,
        Action::Preset(options) => preset(options, session)?,
        Action::Standard(options) => standard(options, session)?,
        Action::Lend {
            name,
            to,
            until,
            change,
        } => {
            let mut library = session.library(Access::Write)?;
            let (cell, loan) = register::lend(&mut library, name, to, *until, &change.change())?;
            session.answer(&EquipmentJson::new(&cell, Some(&loan)), |page| {
                page.paragraph(&format!(
                    "Lent cell \"{}\" {}.",
                    cell.name,
                    report::register::lent(&loan)
                ));
            })?;
        }
        Action::Return { name, change } => {
            let mut library = session.library(Access::Write)?;
            let (cell, loan) = register::take_back(&mut library, name, &change.change())?;
            session.answer(&EquipmentJson::new(&cell, Some(&loan)), |page| {
                page.paragraph(&format!("Cell \"{}\" is back from {}.", cell.name, loan.borrower));
            })?;
        }
        Action::Retire { kind, name, change } => {
            let mut library = session.library(Access::Write)?;
            let it = register::retire(&mut library, *kind, name, &change.change())?;
            session.answer(&EquipmentJson::new(&it, None), |page| {
                page.paragraph(&format!(
                    "The {} \"{}\" is out of use; its records stay.",
                    it.kind, it.name
                ));
            })?;
        }
    }
    Ok(Outcome::Answered)
}

fn show(equipment: &Equipment, session: &mut Session) -> Result<(), Failure> {
    session.answer(&EquipmentJson::new(equipment, None), |page| {
        page.heading(&format!("{} \"{}\"", equipment.kind, equipment.name));
        page.paragraph(&report::register::fields(equipment));
    })
}

fn instrument(options: &InstrumentOptions, session: &mut Session) -> Result<(), Failure> {
    let mut library = session.library(Access::Write)?;
    let record = &options.record;
    let mut fields = if record.change_existing {
        register::instrument(&library, &record.name)?.1
    } else {
        Instrument::default()
    };
    if !options.line.is_empty() {
        fields.lines.clone_from(&options.line);
    }
    set(
        &mut fields.angle_uncertainty_deg,
        options.angle_uncertainty.map(Angle::degrees),
    );
    set(&mut fields.resolution_deg, options.resolution.map(Angle::degrees));
    set(&mut fields.check_every_days, options.check_every);
    set(&mut fields.note, record.note.clone());
    sound(fields.fault())?;
    let kept = register::keep(
        &mut library,
        (EquipmentKind::Instrument, &record.name),
        &fields,
        record.change_existing,
        &record.change.change(),
    )?;
    show(&kept, session)
}

fn cell(options: &CellOptions, session: &mut Session) -> Result<(), Failure> {
    let mut library = session.library(Access::Write)?;
    let record = &options.record;
    let mut fields = if record.change_existing {
        register::cell(&library, &record.name)?.1
    } else {
        Cell {
            length_mm: 0.0,
            length_uncertainty_mm: None,
            volume_ml: None,
            jacketed: false,
            windows: None,
            seals: None,
            note: None,
        }
    };
    if let Some(length) = options.length {
        fields.length_mm = length.millimetres();
    }
    set(
        &mut fields.length_uncertainty_mm,
        options.length_uncertainty.map(Length::millimetres),
    );
    set(&mut fields.volume_ml, options.volume.map(Volume::millilitres));
    fields.jacketed |= options.jacketed;
    set(&mut fields.windows, options.windows.clone());
    set(&mut fields.seals, options.seals.clone());
    set(&mut fields.note, record.note.clone());
    sound(fields.fault())?;
    let kept = register::keep(
        &mut library,
        (EquipmentKind::Cell, &record.name),
        &fields,
        record.change_existing,
        &record.change.change(),
    )?;
    show(&kept, session)
}

fn preset(options: &PresetOptions, session: &mut Session) -> Result<(), Failure> {
    let mut library = session.library(Access::Write)?;
    let record = &options.record;
    let mut fields = if record.change_existing {
        register::preset(&library, &record.name)?.1
    } else {
        Preset::default()
    };
    if !options.line.is_empty() {
        fields.lines.clone_from(&options.line);
    }
    set(&mut fields.temperature_c, options.temp.map(Temperature::celsius));
    set(&mut fields.readings, options.readings);
    set(&mut fields.settle_deg, options.settle.map(Angle::degrees));
    set(&mut fields.settle_over_s, options.settle_over.map(Time::seconds));
    set(&mut fields.instrument, options.instrument.clone());
    set(&mut fields.cell, options.cell.clone());
    set(&mut fields.note, record.note.clone());
    sound(fields.fault())?;
    if let Some(name) = &fields.instrument {
        register::instrument(&library, name)?;
    }
    if let Some(name) = &fields.cell {
        register::cell(&library, name)?;
    }
    let kept = register::keep(
        &mut library,
        (EquipmentKind::Preset, &record.name),
        &fields,
        record.change_existing,
        &record.change.change(),
    )?;
    show(&kept, session)
}

fn standard(options: &StandardOptions, session: &mut Session) -> Result<(), Failure> {
    let mut library = session.library(Access::Write)?;
    let record = &options.record;
    let mut fields = if record.change_existing {
        register::standard(&library, &record.name)?.1
    } else {
        Standard {
            kind: StandardKind::Other,
            certified_deg: None,
            expanded_uncertainty_deg: None,
            temperature_c: 20.0,
            line: SpectralLine::SodiumD,
            coefficient_per_kelvin: None,
            concentration_g_per_100ml: None,
            cell_mm: None,
            due_on: None,
            note: None,
        }
    };
    if let Some(kind) = options.kind {
        fields.kind = kind;
    }
    set(&mut fields.certified_deg, options.value.map(Angle::degrees));
    set(
        &mut fields.expanded_uncertainty_deg,
        options.expanded_uncertainty.map(Angle::degrees),
    );
    if let Some(temperature) = options.temp {
        fields.temperature_c = temperature.celsius();
    }
    if let Some(line) = &options.line {
        fields.line = line.clone();
    }
    set(&mut fields.coefficient_per_kelvin, options.coefficient);
    if let Some(stated) = options.conc {
        let concentration = stated
            .to_mass_concentration(None, None)
            .map_err(|error| Failure::usage("quantity", error.to_string()).at("--conc"))?;
        fields.concentration_g_per_100ml = Some(concentration.grams_per_100_millilitres());
    }
    set(&mut fields.cell_mm, options.cell.map(Length::millimetres));
    set(&mut fields.due_on, options.due.map(register::date));
    set(&mut fields.note, record.note.clone());
    sound(fields.fault())?;
    let kept = register::keep(
        &mut library,
        (EquipmentKind::Standard, &record.name),
        &fields,
        record.change_existing,
        &record.change.change(),
    )?;
    show(&kept, session)
}

/// Takes a field that was given.
fn set<T>(field: &mut Option<T>, given: Option<T>) {
    if given.is_some() {
        *field = given;
    }
}

/// Refuses a record with a fault, at its option.
fn sound(fault: Option<RecordFault>) -> Result<(), Failure> {
    match fault {
        Some(fault) => {
            let option = format!("--{}", fault.field);
            Err(Failure::from(fault).at(option))
        }
        None => Ok(()),
    }
}
