//! Checks many measured values, a table at a time, on all cores and in constant memory.
//!
//! The thread that holds the library reads the rows, finds their compounds and what is published of them; another sets
//! the work going on all cores and writes the answers, in the order of the rows. Rows of one compound at the same
//! conditions share one pooling. Start reading at [`check_batch`].

use super::check::{CheckSettings, Holdings, Relatives, background, mirror_of, reading_worth};
use super::measured::{MeasuredError, density_has_a_use};
use super::resolve::{Resolution, resolve, resolve_exactly};
use crate::compare::{
    Cause, CauseContext, Conditions, Judgement, Measured, MethodExcess, PooledValue, Pooling, ReadingWorth,
    VerdictCode, causes, judge, pool,
};
use crate::exchange::field::Field;
use crate::exchange::mapping::{Assignment, Mapping, MappingError};
use crate::exchange::record::{self, GivenCompound, Maker, MeasuredRow, Refusal};
use crate::exchange::rows::{self, About, Event, ReadError, ReadOptions, Row};
use crate::library::{Access, Library, LibraryError};
use crate::measurement::{self, Amount, Defaults, Reduced};
use crate::quantity::{Angle, Fraction, Length, MolarRotation, Printed, SpecificRotation, StatedConcentration};
use crate::solvent::Solvent;
use crate::statement::{RotationKind, specific_from_molar};
use rayon::prelude::*;
use std::collections::{BTreeMap, HashMap};
use std::io;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};

/// What is to be checked, and how.
#[derive(Clone, Debug, Default)]
pub struct BatchRequest {
    /// The table.
    pub file: PathBuf,
    /// How it is read.
    pub options: ReadOptions,
    /// What is known of its columns.
    pub mapping: Mapping,
    /// The compound of every row that names none.
    pub compound: Option<String>,
    /// Conditions of every row that does not say.
    pub conditions: Conditions,
    /// Form that was weighed, of every row that does not say.
    pub form: Option<String>,
    /// Whether causes are sought for rows that do not agree.
    pub causes: bool,
    /// Threads that compute; 0 for one on each core.
    pub threads: usize,
}

/// Why a row was not checked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RowRefusal {
    /// A stable word: `unknown-compound`, `ambiguous-compound`, `contradiction`, `row`, or the field to blame.
    pub code: &'static str,
    /// The heading of the column to blame.
    pub column: Option<String>,
    /// Why, as a sentence without full stop.
    pub message: String,
    /// Compounds that may be meant: number and name.
    pub candidates: Vec<(i64, String)>,
}

impl RowRefusal {
    fn new(code: &'static str, message: impl Into<String>) -> Self {
        Self {
            code,
            column: None,
            message: message.into(),
            candidates: Vec::new(),
        }
    }
}

impl From<Refusal> for RowRefusal {
    fn from(refusal: Refusal) -> Self {
        Self {
            code: match refusal.field {
                None => "row",
                Some(Field::Compound) => "no-compound",
                Some(field) => field.word(),
            },
            column: refusal.column,
            message: refusal.reason,
            candidates: Vec::new(),
        }
    }
}

/// The answer to one row.
#[derive(Clone, Debug)]
pub struct RowAnswer {
    /// Number of the compound in this library file.
    pub compound: i64,
    /// Its name; of a structure known by its mirror image only, in words.
    pub name: String,
    /// Its InChIKey.
    pub inchikey: Option<String>,
    /// The specific rotation checked, deg mL g⁻¹ dm⁻¹.
    pub value: f64,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
    /// Whether any part of the uncertainty was assumed.
    pub uncertainty_assumed: bool,
    /// The pooled value; none for `no-basis`.
    pub pooled: Option<PooledValue>,
    /// Whether the hand could be tested.
    pub hand_can_be_tested: bool,
    /// The judgement.
    pub judgement: Judgement,
    /// What may explain the value, by classes, the most probable first; empty where it agrees or none were asked for.
    pub causes: Vec<Cause>,
    /// What the reader of the row was not sure of.
    pub doubts: Vec<String>,
}

/// A row with its answer.
#[derive(Clone, Debug)]
pub struct CheckedRow {
    /// Its line (row, in a spreadsheet), from 1.
    pub line: u64,
    /// Its cells as they stand in the file.
    pub cells: Vec<String>,
    /// The answer, or why there is none.
    pub answer: Result<RowAnswer, RowRefusal>,
}

/// What takes the answers, in the order of the rows.
pub trait Answers: Send {
    /// The headings of the table; before the first row, and again when a format without a heading line shows new ones.
    ///
    /// # Errors
    /// When the output cannot be written.
    fn headings(&mut self, assignment: &Assignment) -> io::Result<()>;

    /// A row.
    ///
    /// # Errors
    /// When the output cannot be written.
    fn row(&mut self, row: &CheckedRow) -> io::Result<()>;
}

/// What a batch came to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct BatchReport {
    /// What the file was found to be.
    pub about: Option<About>,
    /// What its columns hold.
    pub assignment: Assignment,
    /// Rows read.
    pub rows: u64,
    /// Rows by the code of their verdict.
    pub verdicts: BTreeMap<&'static str, u64>,
    /// Rows that could not be checked, by code.
    pub refused: BTreeMap<&'static str, u64>,
    /// The first of them: line and why.
    pub first_refused: Vec<(u64, RowRefusal)>,
    /// Compounds and sets of conditions that were pooled.
    pub poolings: u64,
}

impl BatchReport {
    /// Rows that could not be checked.
    pub fn n_refused(&self) -> u64 {
        self.refused.values().sum()
    }
}

/// Why a batch was given up.
#[derive(Debug, thiserror::Error)]
pub enum BatchError {
    /// The table cannot be read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// The mapping does not do.
    #[error(transparent)]
    Mapping(#[from] MappingError),
    /// The library fails.
    #[error(transparent)]
    Library(#[from] LibraryError),
    /// The answers cannot be written.
    #[error("the answers cannot be written: {0}")]
    Write(#[from] io::Error),
    /// The side that writes went away; its own error says why.
    #[error("the answers are no longer taken")]
    Stopped,
}

/// Rows that are worked on together.
const CHUNK: usize = 2048;

/// Chunks that wait to be worked on.
const WAITING: usize = 2;

/// Most compounds whose published values are held at a time, and most texts whose compound is remembered.
const MOST_HELD: usize = 4096;
const MOST_TEXTS: usize = 100_000;

/// Most poolings that are held at a time.
const MOST_POOLED: usize = 16_384;

/// Most unknown names for which the nearest known ones are looked up.
const MOST_NEAREST: usize = 200;

/// Most refused rows that a report lists.
const MOST_LISTED: usize = 20;

/// Checks every row of a table. `progress` is told the bytes read so far.
///
/// # Errors
/// When the table or the library cannot be read, or the answers cannot be written. A row that cannot be checked is no
/// error: its answer says why.
pub fn check_batch(
    library: &Library,
    request: &BatchRequest,
    settings: &CheckSettings,
    answers: &mut dyn Answers,
    progress: &mut dyn FnMut(u64),
) -> Result<BatchReport, BatchError> {
    library.in_snapshot(|library| {
        let worth = reading_worth(library)?;
        let (send, receive) = sync_channel::<Work>(WAITING);
        let threads = rayon::ThreadPoolBuilder::new()
            .num_threads(request.threads)
            .build()
            .map_err(io::Error::other)?;
        let worker = Worker::new(settings, &worth);
        std::thread::scope(|scope| {
            let worker = scope.spawn(|| worker.run(receive, &threads, answers));
            let read = Reader::new(library, request, send).read(progress);
            let worked = match worker.join() {
                Ok(worked) => worked,
                Err(panic) => std::panic::resume_unwind(panic),
            };
            match (read, worked) {
                (Err(BatchError::Stopped) | Ok(_), Err(error)) => Err(error.into()),
                (Err(error), _) => Err(error),
                (Ok(read), Ok(counted)) => Ok(BatchReport {
                    about: read.about,
                    assignment: read.assignment,
                    ..counted
                }),
            }
        })
    })
}

/// What the reading side sends to the working side.
enum Work {
    Headings(Assignment),
    Rows(Vec<Prepared>),
}

/// A row whose compound and published values are found.
struct Prepared {
    line: u64,
    cells: Vec<String>,
    job: Result<Box<Job>, RowRefusal>,
}

/// What is left to compute for a row.
struct Job {
    held: Arc<Held>,
    key: Key,
    conditions: Conditions,
    measured: Reduced,
    cell: Option<Length>,
    blank: Option<Angle>,
    excess: Option<MethodExcess>,
    doubts: Vec<String>,
}

/// What the library holds of a compound, and of its other stereoisomers where causes are sought.
struct Held {
    holdings: Holdings,
    relatives: Option<Relatives>,
}

/// What rows must share to share a pooling: compound, hand, form and conditions.
#[derive(Clone, PartialEq, Eq, Hash)]
struct Key {
    compound: i64,
    mirror_image: bool,
    form: Option<String>,
    temperature: Option<u64>,
    concentration: Option<u64>,
    line: Option<String>,
    solvent: Option<Solvent>,
    stage: Option<&'static str>,
    basis: Option<String>,
    /// The measured value, where the library holds one that was derived from it and must be left out.
    own: Option<u64>,
}

impl Key {
    fn new(compound: i64, mirror_image: bool, form: Option<&str>, conditions: &Conditions) -> Self {
        Self {
            compound,
            mirror_image,
            form: form.map(str::to_owned),
            temperature: conditions.temperature.map(|t| t.celsius().to_bits()),
            concentration: conditions
                .concentration
                .map(|c| c.grams_per_100_millilitres().to_bits()),
            line: conditions.line.as_ref().map(|line| format!("{line:?}")),
            solvent: conditions.solvent.clone(),
            stage: conditions.stage.map(crate::statement::Stage::as_str),
            basis: conditions.basis.clone(),
            own: None,
        }
    }
}

/// The side that holds the library.
struct Reader<'a> {
    library: &'a Library,
    request: &'a BatchRequest,
    send: SyncSender<Work>,
    maker: Maker,
    defaults: Defaults,
    /// Compounds by what rows call them.
    found: HashMap<GivenCompound, Result<(i64, bool), RowRefusal>>,
    held: HashMap<i64, Arc<Held>>,
    /// A second look into the same file, for searches, which keep their index up to date outside of the snapshot.
    searching: Option<Library>,
    n_nearest: usize,
    chunk: Vec<Prepared>,
}

/// What reading came to.
#[derive(Default)]
struct ReadReport {
    about: Option<About>,
    assignment: Assignment,
}

impl<'a> Reader<'a> {
    fn new(library: &'a Library, request: &'a BatchRequest, send: SyncSender<Work>) -> Self {
        let defaults = record::Defaults {
            compound: request
                .compound
                .as_deref()
                .map(GivenCompound::from_text)
                .unwrap_or_default(),
            ..record::Defaults::default()
        };
        Self {
            library,
            request,
            send,
            maker: Maker::new(defaults),
            defaults: Defaults::built_in(),
            found: HashMap::new(),
            held: HashMap::new(),
            searching: None,
            n_nearest: 0,
            chunk: Vec::with_capacity(CHUNK),
        }
    }

    fn read(mut self, progress: &mut dyn FnMut(u64)) -> Result<ReadReport, BatchError> {
        let mapping = &self.request.mapping;
        let mut report = ReadReport::default();
        rows::read(
            &self.request.file,
            &self.request.options,
            &|heading| mapping.knows(heading),
            &mut |event| {
                match event {
                    Event::Begin(about) => report.about = Some(about.clone()),
                    Event::Columns(headings) => {
                        let mut assignment = mapping.assign(headings)?;
                        assignment.keep(|field| MeasuredRow::FIELDS.contains(&field));
                        self.send_rows()?;
                        self.send(Work::Headings(assignment.clone()))?;
                        report.assignment = assignment;
                    }
                    Event::Row(row) => {
                        progress(row.bytes);
                        let job = match self.job(&row, &report.assignment) {
                            Ok(job) => Ok(Box::new(job)),
                            Err(Unready::Refused(refusal)) => Err(refusal),
                            Err(Unready::Library(error)) => return Err(error.into()),
                        };
                        self.chunk.push(Prepared {
                            line: row.line,
                            cells: row.cells,
                            job,
                        });
                        if self.chunk.len() == CHUNK {
                            self.send_rows()?;
                        }
                    }
                }
                Ok::<(), BatchError>(())
            },
        )?;
        self.send_rows()?;
        if report.about.is_none() {
            return Err(ReadError::Empty {
                path: self.request.file.clone(),
            }
            .into());
        }
        if let Some(column) = mapping.missing(&report.assignment.headings).first() {
            return Err(MappingError::Column {
                column: column.clone(),
                found: report.assignment.headings,
            }
            .into());
        }
        Ok(report)
    }

    fn send_rows(&mut self) -> Result<(), BatchError> {
        if self.chunk.is_empty() {
            return Ok(());
        }
        let rows = std::mem::replace(&mut self.chunk, Vec::with_capacity(CHUNK));
        self.send(Work::Rows(rows))
    }

    fn send(&self, work: Work) -> Result<(), BatchError> {
        self.send.send(work).map_err(|_| BatchError::Stopped)
    }

    fn job(&mut self, row: &Row, assignment: &Assignment) -> Result<Job, Unready> {
        let read = self.maker.measured(row, assignment)?;
        let (compound, is_mirror) = self.compound(&read.compound)?;
        let held = self.held(compound)?;
        let (measured, conditions) = reduce(&read, &held.holdings, &self.request.conditions, &self.defaults)?;
        let form = read.statement.form.as_ref().or(self.request.form.as_ref());
        // An excess that was itself found by a rotation would be held against itself.
        let stated = read.statement.ee.as_ref().filter(|ee| !ee.is_from_rotation());
        let excess = stated.map(|ee| {
            let sd = read
                .excess_uncertainty
                .map_or(super::check::EXCESS_UNCERTAINTY, Fraction::ratio);
            MethodExcess::of(ee, sd).ok_or_else(|| {
                RowRefusal::new(
                    Field::Ee.word(),
                    "a lower bound of an ee is above zero; with - name the other enantiomer",
                )
            })
        });
        let excess = excess.transpose()?;
        let has_own = held.holdings.has_derived_from(measured.value);
        Ok(Job {
            key: Key {
                own: has_own.then(|| measured.value.conventional().to_bits()),
                ..Key::new(compound, is_mirror, form.map(String::as_str), &conditions)
            },
            held,
            conditions,
            measured,
            cell: read.statement.path,
            blank: read.blank,
            excess,
            doubts: read.statement.doubts,
        })
    }

    /// The compound a row is about, and whether the row is about its mirror image.
    fn compound(&mut self, given: &GivenCompound) -> Result<(i64, bool), Unready> {
        if let Some(known) = self.found.get(given) {
            return Ok(known.clone()?);
        }
        let found = match self.resolve(given) {
            Ok(found) => Ok(found),
            Err(Unready::Refused(refusal)) => Err(refusal),
            Err(error) => return Err(error),
        };
        if self.found.len() >= MOST_TEXTS {
            self.found.clear();
        }
        self.found.insert(given.clone(), found.clone());
        Ok(found?)
    }

    /// By every number, structure and name the row gives, which must agree.
    fn resolve(&mut self, given: &GivenCompound) -> Result<(i64, bool), Unready> {
        let texts = [&given.inchikey, &given.inchi, &given.smiles, &given.cas, &given.name];
        let mut found: Option<(i64, bool, &str, String)> = None;
        for text in texts.into_iter().flatten() {
            let (compound, is_mirror, name) = self.resolve_text(text)?;
            match &found {
                Some((other, other_mirror, by, other_name)) if (*other, *other_mirror) != (compound, is_mirror) => {
                    return Err(RowRefusal::new(
                        "contradiction",
                        format!("\"{by}\" is {other_name} (#{other}), but \"{text}\" is {name} (#{compound})"),
                    )
                    .into());
                }
                Some(_) => {}
                None => found = Some((compound, is_mirror, text, name)),
            }
        }
        match found {
            Some((compound, is_mirror, ..)) => Ok((compound, is_mirror)),
            None => Err(RowRefusal::new("no-compound", "nothing says which compound this is").into()),
        }
    }

    fn resolve_text(&mut self, text: &str) -> Result<(i64, bool, String), Unready> {
        if text.bytes().all(|b| b.is_ascii_digit()) {
            return Err(RowRefusal::new(
                "unknown-compound",
                format!(
                    "the bare number {text} names no compound; write #{text} for the compound's number in this library"
                ),
            )
            .into());
        }
        let resolution = match resolve_exactly(self.library, text)? {
            Some(resolution) => resolution,
            None if self.n_nearest < MOST_NEAREST => {
                self.n_nearest += 1;
                let searching = match self.searching.take() {
                    Some(library) => library,
                    None => Library::open(self.library.path(), Access::Read)?,
                };
                resolve(self.searching.insert(searching), text)?
            }
            None => Resolution::Unknown {
                reason: format!("the library holds no compound \"{text}\""),
                nearest: Vec::new(),
                notice: None,
            },
        };
        let (code, reason, candidates) = match resolution {
            Resolution::One(resolved) => return Ok((resolved.compound.id.0, false, resolved.compound.name)),
            Resolution::Ambiguous { reason, candidates } => ("ambiguous-compound", reason, candidates),
            Resolution::Unknown { reason, nearest, .. } => match mirror_of(self.library, text)? {
                Some(mirror) => return Ok((mirror.id.0, true, format!("the mirror image of {}", mirror.name))),
                None => ("unknown-compound", reason, nearest),
            },
        };
        let candidates = candidates
            .into_iter()
            .take(5)
            .map(|candidate| (candidate.compound.id.0, candidate.compound.name))
            .collect();
        Err(RowRefusal {
            candidates,
            ..RowRefusal::new(code, reason.trim_end_matches('.'))
        }
        .into())
    }

    fn held(&mut self, compound: i64) -> Result<Arc<Held>, LibraryError> {
        if let Some(held) = self.held.get(&compound) {
            return Ok(Arc::clone(held));
        }
        let compound = self.library.compound(crate::library::CompoundId(compound))?;
        let id = compound.id.0;
        let relatives = self
            .request
            .causes
            .then(|| Relatives::read(self.library, &compound))
            .transpose()?;
        let held = Arc::new(Held {
            holdings: Holdings::read(self.library, compound)?,
            relatives,
        });
        if self.held.len() >= MOST_HELD {
            self.held.clear();
        }
        self.held.insert(id, Arc::clone(&held));
        Ok(held)
    }
}

/// Why a row is not ready: it is refused, or the library failed, which ends the batch.
enum Unready {
    Refused(RowRefusal),
    Library(LibraryError),
}

impl From<RowRefusal> for Unready {
    fn from(refusal: RowRefusal) -> Self {
        Self::Refused(refusal)
    }
}

impl From<Refusal> for Unready {
    fn from(refusal: Refusal) -> Self {
        Self::Refused(refusal.into())
    }
}

impl From<LibraryError> for Unready {
    fn from(error: LibraryError) -> Self {
        Self::Library(error)
    }
}

/// The specific rotation a row gives, with its uncertainty and conditions.
fn reduce(
    read: &MeasuredRow,
    holdings: &Holdings,
    given: &Conditions,
    defaults: &Defaults,
) -> Result<(Reduced, Conditions), RowRefusal> {
    let statement = &read.statement;
    let molar_mass = holdings.compound.molar_mass;
    let stated = statement.concentration.map(|printed| StatedConcentration {
        value: printed.low,
        unit: printed.unit,
    });
    density_has_a_use(read.density, stated, read.weighed.is_some())
        .map_err(|error| RowRefusal::new(Field::Density.word(), error.to_string()))?;
    let mut conditions = Conditions::at_density(statement, molar_mass, read.density);
    if let (Some(stated), None) = (stated, conditions.concentration) {
        let reason = match stated.to_mass_concentration(molar_mass, read.density) {
            Err(error) => error.to_string(),
            Ok(_) => "the concentration must be above zero".to_owned(),
        };
        return Err(RowRefusal::new(Field::Conc.word(), reason));
    }
    let weighed = read.weighed.map(|(mass, volume)| Amount::MassInVolume { mass, volume });
    conditions.concentration = conditions.concentration.or_else(|| weighed.map(Amount::concentration));
    conditions.temperature = conditions.temperature.or(given.temperature);
    conditions.line = conditions.line.or_else(|| given.line.clone());
    let neat = read.density.filter(|_| stated.is_none() && weighed.is_none());
    conditions.solvent = conditions
        .solvent
        .or_else(|| given.solvent.clone())
        .or_else(|| neat.map(|_| Solvent::Neat));
    if let (Some(_), Some(solvent)) = (neat, conditions.solvent.as_ref().filter(|it| **it != Solvent::Neat)) {
        let error = MeasuredError::DensityInSolvent(solvent.clone());
        return Err(RowRefusal::new(Field::Density.word(), error.to_string()));
    }
    conditions.stage = conditions.stage.or(given.stage);
    conditions.basis = conditions.basis.or_else(|| given.basis.clone());
    let Some(value) = statement.value else {
        return Err(RowRefusal::new(Field::Value.word(), "there is no value"));
    };
    // A printed ± is the half-width of a rectangular distribution (JCGM 100:2008, 4.3.7).
    let uncertainty = read
        .uncertainty
        .map(Printed::value)
        .or_else(|| statement.plus_minus.map(|half| half.value().abs() / 3f64.sqrt()))
        .filter(|u| *u > 0.0);
    let rotation = SpecificRotation::from_conventional;
    let measured = match statement.kind {
        RotationKind::Observed => from_angle(read, &conditions, uncertainty, defaults)?,
        kind => {
            let scale = if kind == RotationKind::Molar {
                let mass = molar_mass.ok_or_else(|| {
                    RowRefusal::new(
                        "molar",
                        "a molar rotation, and the molar mass of the compound is not known",
                    )
                })?;
                specific_from_molar(MolarRotation::from_conventional(1.0), mass).conventional()
            } else {
                1.0
            };
            let specific = rotation(value.value() * scale);
            match uncertainty {
                Some(u) => measurement::stated(specific, rotation(u * scale), conditions.concentration),
                None => measurement::of_value(
                    specific,
                    value.half_last_digit() * scale,
                    conditions.concentration,
                    statement.path,
                    defaults,
                ),
            }
        }
    };
    Ok((measured, conditions))
}

/// The specific rotation of an observed angle.
fn from_angle(
    read: &MeasuredRow,
    conditions: &Conditions,
    uncertainty: Option<f64>,
    defaults: &Defaults,
) -> Result<Reduced, RowRefusal> {
    let statement = &read.statement;
    let angle = statement.value.map_or(0.0, Printed::value);
    let cell = statement.path.ok_or_else(|| {
        RowRefusal::new(
            Field::Path.word(),
            "an angle is no specific rotation without the cell length",
        )
    })?;
    let weighed = read.weighed.map(|(mass, volume)| Amount::MassInVolume { mass, volume });
    let amount = match (read.density, statement.concentration, conditions.concentration) {
        _ if let Some(weighed) = weighed => weighed,
        (Some(density), None, _) => Amount::Neat(density),
        // One number, not a range of which the middle was taken.
        (Some(density), Some(printed), _) if printed.high.is_none() => Amount::MassFraction {
            fraction: Fraction::from_percent(printed.low.value()),
            density,
        },
        (_, _, Some(concentration)) => Amount::Concentration(concentration),
        (_, _, None) => {
            return Err(RowRefusal::new(
                Field::Conc.word(),
                "an angle is no specific rotation without the concentration, or the density of a neat liquid",
            ));
        }
    };
    Ok(measurement::from_angle(
        Angle::from_degrees(angle),
        uncertainty.map(Angle::from_degrees),
        cell,
        amount,
        defaults,
    ))
}

/// A pooling, and what is known beyond the values where causes are sought.
struct Pooled {
    pooling: Pooling,
    context: Option<CauseContext>,
}

/// The side that computes and writes.
struct Worker<'a> {
    settings: &'a CheckSettings,
    worth: &'a ReadingWorth,
    pooled: HashMap<Key, Pooled>,
    report: BatchReport,
}

impl<'a> Worker<'a> {
    fn new(settings: &'a CheckSettings, worth: &'a ReadingWorth) -> Self {
        Self {
            settings,
            worth,
            pooled: HashMap::new(),
            report: BatchReport::default(),
        }
    }

    fn run(
        mut self,
        receive: Receiver<Work>,
        threads: &rayon::ThreadPool,
        answers: &mut dyn Answers,
    ) -> io::Result<BatchReport> {
        for work in receive {
            match work {
                Work::Headings(assignment) => answers.headings(&assignment)?,
                Work::Rows(rows) => {
                    let checked = threads.install(|| self.check(rows));
                    for row in &checked {
                        self.count(row);
                        answers.row(row)?;
                    }
                }
            }
        }
        Ok(self.report)
    }

    fn check(&mut self, rows: Vec<Prepared>) -> Vec<CheckedRow> {
        self.pool(&rows);
        let pooled = &self.pooled;
        rows.into_par_iter()
            .map(|row| CheckedRow {
                line: row.line,
                cells: row.cells,
                answer: row.job.and_then(|job| {
                    let pooled = pooled.get(&job.key).ok_or_else(unpooled)?;
                    Ok(answer(*job, pooled, self.settings))
                }),
            })
            .collect()
    }

    /// Pools what the rows need and is not pooled yet.
    fn pool(&mut self, rows: &[Prepared]) {
        if self.pooled.len() >= MOST_POOLED {
            self.pooled.clear();
        }
        let mut wanted: HashMap<&Key, &Job> = HashMap::new();
        for job in rows.iter().filter_map(|row| row.job.as_ref().ok()) {
            if !self.pooled.contains_key(&job.key) {
                wanted.entry(&job.key).or_insert(job);
            }
        }
        self.report.poolings += wanted.len() as u64;
        let made: Vec<(Key, Pooled)> = wanted
            .into_iter()
            .collect::<Vec<_>>()
            .into_par_iter()
            .map(|(key, job)| {
                let Held { holdings, relatives } = &*job.held;
                let mut gathered = holdings.against(key.mirror_image, key.form.as_deref(), self.worth);
                if key.own.is_some() {
                    gathered.leave_out_own(job.measured.value);
                }
                let (compound, settings) = (&holdings.compound, self.settings);
                let context = relatives
                    .as_ref()
                    .map(|relatives| background(compound, relatives, &gathered, &job.conditions, self.worth, settings));
                let references: Vec<_> = gathered.references.into_iter().map(|g| g.reference).collect();
                let mut pooling = pool(&job.conditions, &references, &settings.effects, &settings.options);
                // What is kept must stay small: rows show no references.
                pooling.references = Vec::new();
                (key.clone(), Pooled { pooling, context })
            })
            .collect();
        self.pooled.extend(made);
    }

    fn count(&mut self, row: &CheckedRow) {
        self.report.rows += 1;
        match &row.answer {
            Ok(answer) => {
                let code = answer.judgement.verdict.code.as_str();
                *self.report.verdicts.entry(code).or_default() += 1;
            }
            Err(refusal) => {
                *self.report.refused.entry(refusal.code).or_default() += 1;
                if self.report.first_refused.len() < MOST_LISTED {
                    self.report.first_refused.push((row.line, refusal.clone()));
                }
            }
        }
    }
}

/// Every row that is ready was pooled before it is answered.
fn unpooled() -> RowRefusal {
    RowRefusal::new(
        "row",
        "the row was not worked on; report this as a fault of the program",
    )
}

fn answer(job: Job, Pooled { pooling, context }: &Pooled, settings: &CheckSettings) -> RowAnswer {
    let compound = &job.held.holdings.compound;
    let measured = Measured {
        value: job.measured.value,
        uncertainty: job.measured.uncertainty,
        degrees_of_freedom: None,
        excess: job.excess,
    };
    let is_mirror = job.key.mirror_image;
    let judgement = judge(pooling, &measured, &settings.thresholds);
    let causes = match context {
        Some(context) if judgement.verdict.code != VerdictCode::Agrees => {
            let context = CauseContext {
                cell: job.cell,
                blank: job.blank,
                angle_given: job.measured.angle.is_some(),
                ..context.clone()
            };
            causes(
                pooling,
                &measured,
                &job.conditions,
                &context,
                &settings.effects,
                &settings.causes,
            )
        }
        _ => Vec::new(),
    };
    RowAnswer {
        compound: compound.id.0,
        name: if is_mirror {
            format!("mirror image of {}", compound.name)
        } else {
            compound.name.clone()
        },
        inchikey: if is_mirror {
            compound.mirror_key.clone()
        } else {
            compound.inchikey.clone()
        },
        value: job.measured.value.conventional(),
        standard_uncertainty: job.measured.uncertainty.conventional(),
        uncertainty_assumed: job.measured.budget.iter().any(|line| line.assumed),
        pooled: pooling.pooled.clone(),
        hand_can_be_tested: pooling.hand_can_be_tested,
        judgement,
        causes,
        doubts: job.doubts,
    }
}
