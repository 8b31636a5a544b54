//! The starter library: published values that every new library begins with.
//!
//! The tables in `data/starter` are the source of truth; they are packed into the binary and loaded once, in one
//! transaction. A row is either loaded as it stands or refused with the reason, never mended: what was seen to be wrong
//! with a row stands in `marks.csv` (kept out of pooling, hand inferred, a doubt) and travels with it. Start reading at
//! [`load_starter`].

use crate::compound::CasNumber;
use crate::library::{
    Change, Chirality, CompoundId, EntryContent, EntryKind, Hand, Identity, Library, LibraryError, LimitMethod, Loader,
    NewCompound, NewSource, ReviewState, SourceId, SourceKind,
};
use crate::quantity::{
    ConcentrationUnit, Length, MolarMass, Printed, SpectralLine, parse_concentration, parse_length, parse_line,
};
use crate::solvent::Solvent;
use crate::statement::{
    PrintedConcentration, Role, RotationKind, Sign, Stage, StatedExcess, StatedTemperature, Statement,
};
use std::collections::HashMap;

/// What loading the starter entries came to. Loaded and refused rows add up to the rows of the files.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct StarterReport {
    /// Entries loaded.
    pub loaded: usize,
    /// Rows that could not be loaded.
    pub refused: Vec<RefusedRow>,
    /// Rows by file.
    pub files: Vec<FileCount>,
    /// Specifications whose substance matched no compound, so that a compound was made of which only the name is known.
    pub name_only: usize,
}

/// How many rows of a file were loaded.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FileCount {
    /// The file.
    pub file: String,
    /// Rows it holds.
    pub rows: usize,
    /// Rows loaded.
    pub loaded: usize,
}

/// A row that could not be loaded.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RefusedRow {
    /// The file.
    pub file: String,
    /// The line in it; the heading is line 1.
    pub line: usize,
    /// Why.
    pub reason: String,
}

/// Loads the starter entries into a library, in one transaction. `progress` is called with rows done and rows in all.
pub fn load_starter(
    library: &mut Library,
    progress: &mut dyn FnMut(usize, usize),
) -> Result<StarterReport, LibraryError> {
    let tables = Tables::unpack()?;
    let change = Change::now("biot", "starter entries of this version");
    let (report, _) = library.load("starter", &change, |loader| {
        let mut starter = Starter {
            loader,
            structures: Structures::read(&tables.structures)?,
            marks: Marks::read(&tables.marks),
            values: &tables.values,
            compounds: HashMap::new(),
            named: HashMap::new(),
            report: StarterReport::default(),
            progress,
            n_done: 0,
            n_rows: tables.n_rows(),
        };
        starter.each(&tables.compounds, Starter::compound)?;
        starter.each(&tables.entries, Starter::compiled_entry)?;
        starter.each(&tables.values, Starter::published_value)?;
        starter.each(&tables.limits, Starter::limit)?;
        Ok(starter.report)
    })?;
    Ok(report)
}

/// One loading of the tables.
struct Starter<'a, 'tx> {
    loader: &'a mut Loader<'tx>,
    structures: Structures,
    marks: Marks,
    /// Rows whose structure may stand for that of a compound.
    values: &'a Table,
    /// Compounds of `compounds.csv` by their number there.
    compounds: HashMap<String, CompoundId>,
    /// Compounds of which only the name is known.
    named: HashMap<String, CompoundId>,
    report: StarterReport,
    progress: &'a mut dyn FnMut(usize, usize),
    n_done: usize,
    n_rows: usize,
}

/// Why a row is not loaded: what is wrong with it, or that the library failed, which ends the load.
enum RowError {
    Refused(String),
    Library(LibraryError),
}

impl From<LibraryError> for RowError {
    fn from(error: LibraryError) -> Self {
        Self::Library(error)
    }
}

impl From<String> for RowError {
    fn from(reason: String) -> Self {
        Self::Refused(reason)
    }
}

impl Starter<'_, '_> {
    fn each(
        &mut self,
        table: &Table,
        load: impl Fn(&mut Self, &Row<'_>) -> Result<(), RowError>,
    ) -> Result<(), LibraryError> {
        let mut loaded = 0;
        for row in table.rows() {
            match load(self, &row) {
                Ok(()) => loaded += 1,
                Err(RowError::Refused(reason)) => self.report.refused.push(RefusedRow {
                    file: table.file.to_owned(),
                    line: row.line,
                    reason,
                }),
                Err(RowError::Library(error)) => return Err(error),
            }
            self.n_done += 1;
            (self.progress)(self.n_done, self.n_rows);
        }
        self.report.files.push(FileCount {
            file: table.file.to_owned(),
            rows: table.records.len(),
            loaded,
        });
        Ok(())
    }

    /// A row of `compounds.csv`.
    fn compound(&mut self, row: &Row<'_>) -> Result<(), RowError> {
        let name = row.required("name")?;
        let mut other_names = names_in_brackets(name);
        other_names.extend(
            row.optional("other_names")
                .into_iter()
                .flat_map(|names| names.split('|'))
                .map(ToOwned::to_owned),
        );
        let number = row.required("compound")?;
        let not_its_own = self.marks.value(number, "not_named");
        other_names.retain(|name| not_its_own.as_ref() != Some(name));
        // Some records list a CAS number among the names.
        let (cas, other_names) = other_names
            .into_iter()
            .partition(|name| name.parse::<CasNumber>().is_ok());
        let descriptor = self.marks.value(number, "descriptor");
        let drawn = match self.marks.value(number, "structure") {
            Some(record) => self
                .values
                .rows()
                .find(|row| row.optional("id") == Some(&record))
                .ok_or_else(|| format!("marks.csv: record \"{record}\" is not known"))?,
            None => row.clone(),
        };
        let new = NewCompound {
            cas,
            ..structured(&self.structures, &drawn, name, other_names, descriptor)?
        };
        let id = self.loader.compound(&new)?;
        self.compounds.insert(number.to_owned(), id);
        Ok(())
    }

    /// A row of `starter_entries.csv`: all come from one compilation, which prints no sources of its own.
    fn compiled_entry(&mut self, row: &Row<'_>) -> Result<(), RowError> {
        let record = row.required("entry")?;
        let number = row.required("compound")?;
        let compound = *self
            .compounds
            .get(number)
            .ok_or_else(|| format!("compound {number} is not in compounds.csv"))?;
        let mut statement = statement(row)?;
        statement.role = Some(Role::Compiled);
        statement.sign = match row.optional("sign_stated") {
            Some("False") => Sign::NotStated,
            _ => Sign::Stated,
        };
        statement.form = row.text("form_printed");
        statement.time_note = row.text("time_note");
        statement.place = row.optional("pubchem_cid").map(|cid| format!("CID {cid}"));
        if let Some(suspect) = row.optional("suspect") {
            statement
                .doubts
                .push(format!("The printed text looks wrong: {suspect}."));
        }
        let source = self.loader.source(&NewSource {
            kind: SourceKind::Compilation,
            citation: row.required("source")?.to_owned(),
            doi: None,
            year: None,
            url: None,
        })?;
        self.entry(record, compound, source, statement, row)
    }

    /// A row of `multi_source_values.csv`: one source for each distinct citation.
    fn published_value(&mut self, row: &Row<'_>) -> Result<(), RowError> {
        let record = row.required("id")?;
        let name = row.required("name")?;
        let compound = if row.optional("inchikey").is_some() {
            let own = self.marks.value(record, "name");
            let name = own.as_deref().unwrap_or(name);
            let new = structured(&self.structures, row, name, Vec::new(), None)?;
            self.loader.compound(&new)?
        } else {
            // Without structure on purpose (mixtures, unknown isomers, undefined salts): never joined to a compound
            // that has one.
            let name = match row.optional("form") {
                Some(form) => format!("{name}, {form}"),
                None => name.to_owned(),
            };
            self.named(&name)?
        };
        let mut statement = statement(row)?;
        statement.role = match row.optional("role") {
            None => None,
            Some("measured") => Some(Role::Measured),
            Some("lit") => Some(Role::Lit),
            Some("compiled") => Some(Role::Compiled),
            Some(other) => return Err(format!("role \"{other}\" is not known").into()),
        };
        statement.form = row.text("form");
        statement.ee = excess(row)?;
        let comment = row.optional("comment").unwrap_or_default();
        if comment.contains("without sign") {
            statement.sign = Sign::NotStated;
        }
        let source = self.source(row, "citation", row.required("source_kind")?)?;
        self.entry(record, compound, source, statement, row)
    }

    /// A row of `spec_ranges.csv`.
    fn limit(&mut self, row: &Row<'_>) -> Result<(), RowError> {
        let substance = row.required("substance")?;
        let cas: Vec<String> = row.text("cas").into_iter().collect();
        let (compound, identity) = self.compound_of_limit(substance, &cas)?;
        let source = self.source(row, "source", "standard")?;
        let (statement, method) = limit_statement(row)?;
        let record = format!("spec:{}", row.line);
        let key = format!(
            "starter|{substance}|{}|{}|{}",
            row.required("source")?,
            row.optional("low").unwrap_or_default(),
            row.optional("high").unwrap_or_default()
        );
        let content = EntryContent {
            compound,
            source,
            kind: EntryKind::Specification,
            statement,
            identity,
            hand: Hand::Independent,
            state: ReviewState::Confirmed,
            kept_out: None,
            substance: Some(substance.to_owned()),
            seen: row.text("seen"),
            comment: None,
            method: (method != LimitMethod::default()).then_some(method),
        };
        self.add(content, &record, &key)
    }

    /// The compound of a limit: by CAS number, or by a name that one compound owns; else one of which only the name is
    /// known. Nothing is guessed. The name as the limit prints it, that before a bracket and a number of an additive in it
    /// lead to the compound too.
    fn compound_of_limit(&mut self, substance: &str, cas: &[String]) -> Result<(CompoundId, Identity), LibraryError> {
        if let Some(number) = cas.first()
            && let [compound] = self.loader.by_cas(number)?[..]
        {
            // A plain name beside a number may be that of a family, "ephedrine": it is not made this compound's own.
            let printed = Some(substance.to_owned()).filter(|name| name.ends_with(')'));
            self.loader.names(compound, &printed, cas)?;
            return Ok((compound, Identity::Sure));
        }
        let names = limit_names(substance);
        for name in &names {
            if let [compound] = self.loader.by_name(name)?[..] {
                self.loader.names(compound, &names, cas)?;
                return Ok((compound, Identity::Likely));
            }
        }
        self.report.name_only += 1;
        let compound = self.named(substance)?;
        self.loader.names(compound, &names, cas)?;
        Ok((compound, Identity::Sure))
    }

    /// The compound of which only this name is known, made when it is not there.
    fn named(&mut self, name: &str) -> Result<CompoundId, LibraryError> {
        if let Some(&id) = self.named.get(name) {
            return Ok(id);
        }
        let id = self.loader.named_compound(name)?;
        self.named.insert(name.to_owned(), id);
        Ok(id)
    }

    fn source(&mut self, row: &Row<'_>, citation: &str, kind: &str) -> Result<SourceId, RowError> {
        let citation = row.required(citation)?;
        let kind = SourceKind::from_word(kind).ok_or_else(|| format!("source kind \"{kind}\" is not known"))?;
        Ok(self.loader.source(&NewSource {
            kind,
            citation: citation.to_owned(),
            doi: row.text("doi"),
            year: year_in(citation),
            url: row.text("url"),
        })?)
    }

    /// An entry with the fields that both tables of values have.
    fn entry(
        &mut self,
        record: &str,
        compound: CompoundId,
        source: SourceId,
        statement: Statement,
        row: &Row<'_>,
    ) -> Result<(), RowError> {
        let identity = row.required("identity")?;
        let content = EntryContent {
            compound,
            source,
            kind: EntryKind::Value,
            statement,
            identity: Identity::from_word(identity).ok_or_else(|| format!("identity \"{identity}\" is not known"))?,
            hand: Hand::Independent,
            state: ReviewState::Confirmed,
            kept_out: None,
            substance: row.text("substance").or_else(|| row.text("name")),
            seen: row.text("seen"),
            comment: row.text("comment"),
            method: None,
        };
        self.add(content, record, &format!("starter|{record}"))
    }

    /// Puts the marks of a record on its entry and adds it.
    fn add(&mut self, mut content: EntryContent, record: &str, key: &str) -> Result<(), RowError> {
        for mark in self.marks.of(record) {
            match mark.kind.as_str() {
                "hand" => {
                    content.hand = Hand::from_word(&mark.value)
                        .ok_or_else(|| format!("marks.csv: hand \"{}\" is not known", mark.value))?;
                    content
                        .statement
                        .doubts
                        .push(format!("The hand is {}: {}.", mark.value, mark.reason));
                }
                "identity" => {
                    content.identity = Identity::from_word(&mark.value)
                        .ok_or_else(|| format!("marks.csv: identity \"{}\" is not known", mark.value))?;
                }
                // Of the compound, not of its entry.
                "name" => {}
                "kept_out" => content.kept_out = Some(mark.reason.clone()),
                "doubt" => content.statement.doubts.push(mark.reason.clone()),
                other => return Err(format!("marks.csv: mark \"{other}\" is not known").into()),
            }
        }
        self.loader.entry(&content, Some(key))?;
        self.report.loaded += 1;
        Ok(())
    }
}

/// A compound with the structure columns of a row; what follows from its InChI stands in `structures.csv`.
fn structured(
    structures: &Structures,
    row: &Row<'_>,
    name: &str,
    other_names: Vec<String>,
    descriptor: Option<String>,
) -> Result<NewCompound, String> {
    let mut compound = NewCompound {
        smiles: row.text("smiles"),
        inchi: row.text("inchi"),
        inchikey: row.text("inchikey"),
        descriptor,
        formula: row.text("formula"),
        molar_mass: row
            .printed("molar_mass")?
            .map(|mass| MolarMass::from_grams_per_mole(mass.value())),
        other_names,
        ..NewCompound::named(name)
    };
    if let Some(key) = &compound.inchikey {
        let derived = structures
            .by_key
            .get(key)
            .ok_or_else(|| format!("{key} is not in structures.csv"))?;
        compound.mirror_key.clone_from(&derived.mirror_key);
        compound.parent_key.clone_from(&derived.parent_key);
        // An own descriptor says what InChI cannot: such a structure is not achiral.
        if compound.descriptor.is_none() {
            compound.chirality = derived.chirality;
        }
    }
    Ok(compound)
}

/// What follows from the InChIs of the other tables, from `structures.csv`: it saves working it out at first use, and
/// a test works it out again.
struct Structures {
    by_key: HashMap<String, Derived>,
}

struct Derived {
    mirror_key: Option<String>,
    parent_key: Option<String>,
    chirality: Chirality,
}

impl Structures {
    fn read(table: &Table) -> Result<Self, LibraryError> {
        let mut by_key = HashMap::new();
        for row in table.rows() {
            let word = row.optional("chirality").unwrap_or_default();
            let chirality = Chirality::from_word(word).ok_or_else(|| {
                LibraryError::Refused(format!("structures.csv, line {}: chirality \"{word}\"", row.line))
            })?;
            let derived = Derived {
                mirror_key: row.text("mirror_key"),
                parent_key: row.text("parent_key"),
                chirality,
            };
            by_key.insert(row.text("inchikey").unwrap_or_default(), derived);
        }
        Ok(Self { by_key })
    }
}

/// The fields of a statement that both tables of values name alike.
fn statement(row: &Row<'_>) -> Result<Statement, String> {
    let kind = match row.required("kind")? {
        "specific" => RotationKind::Specific,
        "observed" => RotationKind::Observed,
        "molar" => RotationKind::Molar,
        other => return Err(format!("kind \"{other}\" is not known")),
    };
    let statement = Statement {
        kind,
        value: row.printed("value")?,
        low: row.printed("low")?,
        high: row.printed("high")?,
        plus_minus: row.printed("plus_minus")?,
        approx: row.optional("approx") == Some("True"),
        temperature: temperature(row)?,
        line: line(row)?,
        solvent: row.optional("solvent").map(solvent).transpose()?,
        concentration: concentration(row)?,
        path: path(row)?,
        basis: row.text("basis"),
        stage: match row.optional("stage") {
            None => None,
            Some("initial") => Some(Stage::Initial),
            Some("final" | "equilibrium") => Some(Stage::Final),
            Some(other) => return Err(format!("stage \"{other}\" is not known")),
        },
        as_printed: row.required("as_printed")?.to_owned(),
        ..Statement::default()
    };
    if statement.value.is_none() && statement.low.is_none() && statement.high.is_none() {
        return Err("there is no value".to_owned());
    }
    Ok(statement)
}

/// The statement of a limit, and what its method says beyond it.
fn limit_statement(row: &Row<'_>) -> Result<(Statement, LimitMethod), String> {
    let basis = row.optional("basis").unwrap_or_default();
    let mut statement = Statement {
        low: row.printed("low")?,
        high: row.printed("high")?,
        temperature: temperature(row)?,
        line: row
            .optional("line_nm")
            .map(|nm| parse_line(nm).map_err(|error| error.to_string()))
            .transpose()?,
        path: path(row)?,
        as_printed: ["low", "high", "concentration", "conc_unit", "solvent", "basis"]
            .iter()
            .filter_map(|column| row.optional(column).map(|text| format!("{column}: {text}")))
            .collect::<Vec<_>>()
            .join("; "),
        ..Statement::default()
    };
    if statement.low.is_none() && statement.high.is_none() {
        return Err("there is no limit".to_owned());
    }
    let mut method = LimitMethod::default();
    if basis.contains("observed") || row.required("substance")?.contains("observed") {
        statement.kind = RotationKind::Observed;
    }
    for part in basis.split(';').map(str::trim).filter(|part| !part.is_empty()) {
        if part.contains("min") {
            statement.time_note = Some(part.to_owned());
        } else if let Some(factor) = part.strip_prefix("divide by ") {
            method.divide_by = Some(
                factor
                    .parse()
                    .map_err(|_| format!("factor \"{factor}\" is no number"))?,
            );
        } else if part.contains("dr") || part.contains("anhydrous") {
            statement.basis = Some(part.to_owned());
        }
    }
    limit_concentration(row, &mut statement, &mut method)?;
    if let Some(printed) = row.optional("solvent") {
        limit_solvent(printed, &mut statement, &mut method)?;
    }
    Ok((statement, method))
}

/// A concentration with a number becomes one; a preparation in words stays words.
fn limit_concentration(row: &Row<'_>, statement: &mut Statement, method: &mut LimitMethod) -> Result<(), String> {
    match (row.optional("concentration"), row.optional("conc_unit")) {
        (None, _) => {}
        (Some("neat"), _) => statement.solvent = Some(Solvent::Neat),
        (Some(number), Some("1 in 10")) => {
            statement.concentration = Some(PrintedConcentration {
                low: number
                    .parse()
                    .map_err(|_| format!("concentration \"{number}\" is no number"))?,
                high: None,
                unit: ConcentrationUnit::GramsPer100Millilitres,
                unit_printed: false,
            });
            statement
                .doubts
                .push("The concentration is printed as \"1 in 10\", read as 10 g per 100 mL.".to_owned());
        }
        (Some(number), Some(unit)) => {
            let stated = parse_concentration(&format!("{number} {unit}")).map_err(|error| error.to_string())?;
            statement.concentration = Some(PrintedConcentration {
                low: stated.value,
                high: None,
                unit: stated.unit,
                unit_printed: true,
            });
        }
        (Some(words), None) => method.preparation = Some(words.to_owned()),
    }
    Ok(())
}

/// A solvent with a remark in brackets: "water (not printed; …)" is no printed solvent, other remarks belong to the
/// preparation.
fn limit_solvent(printed: &str, statement: &mut Statement, method: &mut LimitMethod) -> Result<(), String> {
    if let Ok(known) = Solvent::parse(printed) {
        statement.solvent = Some(known);
        return Ok(());
    }
    let (name, remark) = match printed.strip_suffix(')').and_then(|text| text.split_once(" (")) {
        Some((name, remark)) => (name, Some(remark)),
        None => (printed, None),
    };
    if let Some(remark) = remark {
        let note = format!("{name}: {remark}");
        method.preparation = Some(match method.preparation.take() {
            Some(before) => format!("{before}; {note}"),
            None => note,
        });
        if remark.contains("not printed") || remark.contains("not shown") {
            statement
                .doubts
                .push(format!("The solvent is not printed; it may be {name}."));
            return Ok(());
        }
    }
    statement.solvent = Some(solvent(name)?);
    Ok(())
}

fn solvent(text: &str) -> Result<Solvent, String> {
    Solvent::parse_lenient(text).map_err(|error| error.to_string())
}

fn temperature(row: &Row<'_>) -> Result<Option<StatedTemperature>, String> {
    let range = (row.printed("temperature_low")?, row.printed("temperature_high")?);
    Ok(match (row.printed("temperature_c")?, range) {
        (Some(at), _) => Some(StatedTemperature::At(at)),
        (None, (Some(low), Some(high))) => Some(StatedTemperature::Range(low, high)),
        _ => None,
    })
}

fn line(row: &Row<'_>) -> Result<Option<SpectralLine>, String> {
    row.optional("line")
        .or_else(|| row.optional("wavelength_nm"))
        .map(|text| parse_line(text).map_err(|error| error.to_string()))
        .transpose()
}

fn path(row: &Row<'_>) -> Result<Option<Length>, String> {
    row.optional("path_mm")
        .map(|text| parse_length(text).map_err(|error| error.to_string()))
        .transpose()
}

fn concentration(row: &Row<'_>) -> Result<Option<PrintedConcentration>, String> {
    let low = match row.printed("conc")? {
        Some(number) => Some(number),
        None => row.printed("conc_low")?,
    };
    let Some(low) = low else { return Ok(None) };
    let unit = match row.optional("conc_unit") {
        None => ConcentrationUnit::GramsPer100Millilitres,
        Some(name) => ConcentrationUnit::from_name(name)
            .ok_or_else(|| format!("unit of concentration \"{name}\" is not known"))?,
    };
    Ok(Some(PrintedConcentration {
        low,
        high: row.printed("conc_high")?,
        unit,
        unit_printed: row.optional("conc_unit_printed") != Some("False") && row.optional("conc_unit").is_some(),
    }))
}

/// The enantiomeric excess, with its method.
fn excess(row: &Row<'_>) -> Result<Option<StatedExcess>, String> {
    let Some(read) = row.optional("ee_percent").map(StatedExcess::read).transpose()? else {
        return Ok(None);
    };
    Ok(Some(read.by(row.optional("ee_method").unwrap_or_default())))
}

/// The year of a citation: a number from 1800 to 2099 in brackets or behind a comma. None when two of them differ.
fn year_in(citation: &str) -> Option<i32> {
    let mut years = citation.match_indices(['(', ',']).filter_map(|(at, _)| {
        let rest = citation[at + 1..].trim_start();
        let digits: String = rest.chars().take_while(char::is_ascii_digit).collect();
        let ends = rest[digits.len()..].starts_with([')', ',', ' ', ';']) || rest.len() == digits.len();
        let year: i32 = digits.parse().ok()?;
        (digits.len() == 4 && ends && (1800..2100).contains(&year)).then_some(year)
    });
    let first = years.next()?;
    years.all(|year| year == first).then_some(first)
}

/// The names in "paracetamol (acetaminophen)": the one before the bracket, and the one in it unless that is a remark.
fn names_in_brackets(name: &str) -> Vec<String> {
    let Some((before, inside)) = name.strip_suffix(')').and_then(|text| text.split_once(" (")) else {
        return Vec::new();
    };
    let is_remark = [
        "not stated",
        "mixture",
        "form",
        "adduct",
        "anomer of",
        "trans",
        "\"",
        "with water",
        ":",
        "record",
    ]
    .iter()
    .any(|word| inside.contains(word))
        || inside.chars().filter(|c| c.is_alphabetic()).count() < 3;
    let mut names = vec![before.to_owned()];
    if !is_remark {
        names.push(inside.to_owned());
    }
    names
}

/// The names a limit goes by: "L-ascorbic acid (E 300)" as printed, "L-ascorbic acid" and "E 300". What else stands in a
/// bracket is a remark.
fn limit_names(substance: &str) -> Vec<String> {
    let mut names = vec![substance.to_owned()];
    if let Some((plain, inside)) = substance.split_once(" (")
        && !plain.is_empty()
    {
        names.push(plain.to_owned());
        let number = inside.trim_end_matches(')');
        let digits = number.strip_prefix("E ").or_else(|| number.strip_prefix("INS "));
        if digits.is_some_and(|digits| digits.starts_with(|c: char| c.is_ascii_digit())) {
            names.push(number.to_owned());
        }
    }
    names
}

/// What was seen to be wrong with records, from `marks.csv`.
struct Marks {
    by_record: HashMap<String, Vec<Mark>>,
}

/// One mark.
struct Mark {
    kind: String,
    value: String,
    reason: String,
}

impl Marks {
    fn read(table: &Table) -> Self {
        let mut by_record: HashMap<String, Vec<Mark>> = HashMap::new();
        for row in table.rows() {
            let cell = |column| row.optional(column).unwrap_or_default().to_owned();
            by_record.entry(cell("record")).or_default().push(Mark {
                kind: cell("mark"),
                value: cell("value"),
                reason: cell("reason"),
            });
        }
        Self { by_record }
    }

    fn of(&self, record: &str) -> &[Mark] {
        self.by_record.get(record).map_or(&[], Vec::as_slice)
    }

    fn value(&self, record: &str, mark: &str) -> Option<String> {
        self.of(record)
            .iter()
            .find(|found| found.kind == mark)
            .map(|found| found.value.clone())
    }
}

/// The packed tables.
struct Tables {
    compounds: Table,
    entries: Table,
    values: Table,
    limits: Table,
    structures: Table,
    marks: Table,
}

/// Unpacks one of the tables that the build script packed.
macro_rules! table {
    ($file:literal) => {
        Table::unpack($file, include_bytes!(concat!(env!("OUT_DIR"), "/", $file, ".gz")))
    };
}

impl Tables {
    fn unpack() -> Result<Self, LibraryError> {
        Ok(Self {
            compounds: table!("compounds.csv")?,
            entries: table!("starter_entries.csv")?,
            values: table!("multi_source_values.csv")?,
            limits: table!("spec_ranges.csv")?,
            structures: table!("structures.csv")?,
            marks: table!("marks.csv")?,
        })
    }

    fn n_rows(&self) -> usize {
        [&self.compounds, &self.entries, &self.values, &self.limits]
            .iter()
            .map(|table| table.records.len())
            .sum()
    }
}

/// A table with a heading.
struct Table {
    file: &'static str,
    columns: HashMap<String, usize>,
    records: Vec<csv::StringRecord>,
}

impl Table {
    fn unpack(file: &'static str, packed: &[u8]) -> Result<Self, LibraryError> {
        let damaged =
            |error: csv::Error| LibraryError::Refused(format!("the starter table {file} is damaged: {error}"));
        let mut reader = csv::ReaderBuilder::new()
            .trim(csv::Trim::All)
            .from_reader(flate2::read::GzDecoder::new(packed));
        let columns = reader
            .headers()
            .map_err(damaged)?
            .iter()
            .enumerate()
            .map(|(at, name)| (name.to_owned(), at))
            .collect();
        let records = reader.records().collect::<Result<_, _>>().map_err(damaged)?;
        Ok(Self { file, columns, records })
    }

    fn rows(&self) -> impl Iterator<Item = Row<'_>> {
        self.records.iter().map(|record| Row {
            line: record.position().map_or(0, |position| position.line() as usize),
            columns: &self.columns,
            record,
        })
    }
}

/// A row of a table; an empty cell is a missing one.
#[derive(Clone)]
struct Row<'a> {
    line: usize,
    columns: &'a HashMap<String, usize>,
    record: &'a csv::StringRecord,
}

impl Row<'_> {
    fn optional(&self, column: &str) -> Option<&str> {
        let &at = self.columns.get(column)?;
        self.record.get(at).filter(|text| !text.is_empty())
    }

    fn text(&self, column: &str) -> Option<String> {
        self.optional(column).map(ToOwned::to_owned)
    }

    fn required(&self, column: &str) -> Result<&str, String> {
        self.optional(column)
            .ok_or_else(|| format!("the column \"{column}\" is empty"))
    }

    fn printed(&self, column: &str) -> Result<Option<Printed>, String> {
        self.optional(column)
            .map(|text| text.parse().map_err(|_| format!("{column} \"{text}\" is no number")))
            .transpose()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn years_are_taken_from_brackets_and_commas_only() {
        assert_eq!(
            year_in("Kim, M. et al., Carbohydrate Research 320 (1999) 244-249, p. 248"),
            Some(1999)
        );
        assert_eq!(
            year_in("Thatcher, R. W., The Chemistry of Plant Life, 1921 (Project Gutenberg 33394)"),
            Some(1921)
        );
        assert_eq!(
            year_in("Power, F. B.; Rogerson, H., 1910, p. 1951 (reprint)"),
            Some(1910)
        );
        assert_eq!(year_in("U.S. Patent 5,468,876 (procedure text)"), None);
    }

    #[test]
    fn remarks_in_brackets_are_no_names() {
        assert_eq!(
            names_in_brackets("(−)-scopolamine (hyoscine)"),
            ["(−)-scopolamine", "hyoscine"]
        );
        assert_eq!(names_in_brackets("amikacin sulfate (1:2)"), ["amikacin sulfate"]);
        assert_eq!(
            names_in_brackets("ethyl lactate (enantiomer not stated)"),
            ["ethyl lactate"]
        );
        assert!(names_in_brackets("(R)-(−)-gossypol").is_empty());
    }
}
