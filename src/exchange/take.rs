//! Taking a bundle into a library: new records are added under their stable ids, equal ones skipped, and those that
//! differ are conflicts, shown field by field and never overwritten without a decision.
//!
//! Everything happens in one transaction of the library, which is kept only when the whole bundle was sound and every
//! conflict decided. A dry run is the same work, not kept. Start reading at [`take`].

use super::bundle::{BundleError, BundleReader, Item};
use super::fields::{self, Record, compound_content, compound_record, entry_record, source_content, source_record};
use crate::library::{
    Change, Compound, CompoundId, Entry, EntryContent, Library, LibraryError, Loader, NewCompound, NewSource, Source,
    SourceId,
};
use serde::{Deserialize, Serialize};
use std::collections::HashMap;
use std::io::BufRead;

/// Which of two records that differ is kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Keep {
    /// The one of this library.
    Ours,
    /// The one of the bundle.
    Theirs,
}

/// What kind of record a conflict is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum RecordKind {
    /// A compound.
    Compound,
    /// A source.
    Source,
    /// An entry.
    Entry,
}

impl RecordKind {
    /// The word for it.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Compound => "compound",
            Self::Source => "source",
            Self::Entry => "entry",
        }
    }
}

/// A field that differs.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Difference {
    /// The field.
    pub field: String,
    /// What it holds here; None where it is not there.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub ours: Option<String>,
    /// What it holds in the bundle.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub theirs: Option<String>,
}

/// A record that is in the library and in the bundle, and differs.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Conflict {
    /// What it is.
    pub record: RecordKind,
    /// Its stable id in the bundle.
    pub uid: String,
    /// What it is about, for a person.
    pub about: String,
    /// The line of the bundle.
    pub line: u64,
    /// The fields that differ.
    pub differences: Vec<Difference>,
    /// What was decided.
    pub keep: Option<Keep>,
}

/// A decision on one conflict.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Decision {
    /// What is kept.
    pub keep: Keep,
    /// The differences it was made on; another conflict of the same record is not decided by it.
    pub differences: Vec<Difference>,
}

/// How conflicts are resolved: by their decision, else by the preference, else not.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Resolution {
    /// For all conflicts without a decision.
    pub prefer: Option<Keep>,
    /// For single records.
    pub decisions: HashMap<(RecordKind, String), Decision>,
}

/// How many compounds, sources and entries.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Counts {
    /// Compounds.
    pub compounds: u64,
    /// Sources.
    pub sources: u64,
    /// Entries.
    pub entries: u64,
}

/// What taking a bundle in comes to.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Taken {
    /// Records that are new here.
    pub new: Counts,
    /// Records that are here already and equal.
    pub equal: Counts,
    /// Compounds that get further names or CAS numbers.
    pub completed: u64,
    /// Records that differ.
    pub conflicts: Vec<Conflict>,
    /// Whether the library was changed.
    pub changed: bool,
}

impl Taken {
    /// How many conflicts are not decided.
    pub fn n_open(&self) -> usize {
        self.conflicts.iter().filter(|conflict| conflict.keep.is_none()).count()
    }

    /// Whether the library would change, were the work kept.
    fn has_changes(&self) -> bool {
        self.new != Counts::default()
            || self.completed > 0
            || self
                .conflicts
                .iter()
                .any(|conflict| conflict.keep == Some(Keep::Theirs))
    }
}

/// Whether what is found is done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Run {
    /// Only found out.
    Dry,
    /// Done, unless a conflict is open.
    Real,
}

/// Why a bundle was not taken in. The library is as it was.
#[derive(Debug, thiserror::Error)]
pub enum TakeError {
    /// The bundle is refused.
    #[error(transparent)]
    Bundle(#[from] BundleError),
    /// The library refuses.
    #[error(transparent)]
    Library(#[from] LibraryError),
}

/// Takes a bundle in. Nothing is kept of a dry run, when a conflict is open, or when there is nothing to do; then the
/// history gets no line either. `name` is how the history calls the bundle; `progress` is called with lines read.
///
/// # Errors
/// When the bundle is newer, damaged or cut off, and when the library cannot be changed.
pub fn take(
    library: &mut Library,
    bundle: impl BufRead,
    name: &str,
    resolution: &Resolution,
    run: Run,
    change: &Change,
    progress: &mut dyn FnMut(u64),
) -> Result<Taken, TakeError> {
    let mut reader = BundleReader::new(bundle)?;
    let mut result = None;
    let kept = library.load(name, change, |loader| {
        let mut taker = Taker {
            loader,
            change,
            resolution,
            compounds: HashMap::new(),
            sources: HashMap::new(),
            taken: Taken::default(),
        };
        let taken = taker.all(&mut reader, progress).map(|()| taker.taken);
        let keep = taken
            .as_ref()
            .is_ok_and(|taken| run == Run::Real && taken.n_open() == 0 && taken.has_changes());
        result = Some(taken);
        if keep {
            Ok(())
        } else {
            // Takes back everything; not shown to anybody.
            Err(LibraryError::Refused("not kept".to_owned()))
        }
    });
    match (result, kept) {
        (Some(Ok(mut taken)), Ok(_)) => {
            taken.changed = true;
            Ok(taken)
        }
        (Some(Ok(taken)), Err(LibraryError::Refused(_))) => Ok(taken),
        (Some(Err(error)), _) => Err(error),
        (_, Err(error)) => Err(error.into()),
        (None, Ok(_)) => Ok(Taken::default()),
    }
}

/// One bundle on its way in.
struct Taker<'a, 'l> {
    loader: &'a mut Loader<'l>,
    change: &'a Change,
    resolution: &'a Resolution,
    /// The compounds here that stand for the stable ids of the bundle: number, stable id and name here.
    compounds: HashMap<String, (CompoundId, String, String)>,
    /// The sources here that stand for the stable ids of the bundle: number and stable id here.
    sources: HashMap<String, (SourceId, String)>,
    taken: Taken,
}

impl Taker<'_, '_> {
    fn all<R: BufRead>(
        &mut self,
        reader: &mut BundleReader<R>,
        progress: &mut dyn FnMut(u64),
    ) -> Result<(), TakeError> {
        while let Some(item) = reader.next_item()? {
            let line = reader.line();
            match item {
                Item::Compound { uid, compound } => self.compound(uid, &compound, line)?,
                Item::Source { uid, source } => self.source(uid, &source, line)?,
                Item::Entry {
                    uid,
                    compound,
                    source,
                    fields,
                } => {
                    let missing = || reader.damaged("its compound or source does not stand before it");
                    let (compound_id, compound_uid, name) =
                        self.compounds.get(&compound).cloned().ok_or_else(missing)?;
                    let (source_id, source_uid) = self.sources.get(&source).cloned().ok_or_else(missing)?;
                    let content =
                        fields::entry_from(fields, compound_id, source_id).map_err(|error| reader.field(&error))?;
                    self.entry(uid, &content, (&compound_uid, &source_uid), &name, line)?;
                }
            }
            progress(line);
        }
        Ok(())
    }

    fn compound(&mut self, uid: String, theirs: &NewCompound, line: u64) -> Result<(), LibraryError> {
        let by_uid = self.loader.compound_by_uid(&uid)?;
        // A compound that was merged here is another one now; what theirs holds says nothing about that.
        let was_merged = by_uid.as_ref().is_some_and(|ours| ours.uid != uid);
        let found = match by_uid {
            Some(ours) => Some(ours),
            None => self.loader.compound_like(theirs)?,
        };
        let Some(ours) = found else {
            let id = self.loader.keep_compound(&uid, theirs)?;
            self.taken.new.compounds += 1;
            self.compounds.insert(uid.clone(), (id, uid, theirs.name.clone()));
            return Ok(());
        };
        self.compounds
            .insert(uid.clone(), (ours.id, ours.uid.clone(), ours.name.clone()));
        let differences = if was_merged {
            Vec::new()
        } else {
            let mut records = [compound_record(&compound_content(&ours)), compound_record(theirs)];
            for record in &mut records {
                // Names and CAS numbers are added, never taken away.
                record.remove("other_names");
                record.remove("cas");
            }
            differences(&records[0], &records[1])
        };
        let is_equal = differences.is_empty();
        let keep = self.settle(RecordKind::Compound, &uid, &ours.name, line, differences);
        if keep == Some(Keep::Theirs) {
            return self.loader.replace_compound(&ours, theirs, self.change);
        }
        let is_completed = !was_merged && self.complete(&ours, theirs)?;
        self.taken.completed += u64::from(is_completed);
        self.taken.equal.compounds += u64::from(is_equal && !is_completed);
        Ok(())
    }

    /// Adds the names and CAS numbers that a compound here lacks; whether there were any.
    fn complete(&mut self, ours: &Compound, theirs: &NewCompound) -> Result<bool, LibraryError> {
        let names: Vec<String> = theirs
            .other_names
            .iter()
            .map(|name| name.trim().to_owned())
            .filter(|name| !name.is_empty() && *name != ours.name && !ours.other_names.contains(name))
            .collect();
        let cas: Vec<String> = theirs
            .cas
            .iter()
            .map(|number| number.trim().to_owned())
            .filter(|number| !ours.cas.contains(number))
            .collect();
        if names.is_empty() && cas.is_empty() {
            return Ok(false);
        }
        self.loader.complete_compound(ours, &names, &cas, self.change)?;
        Ok(true)
    }

    fn source(&mut self, uid: String, theirs: &NewSource, line: u64) -> Result<(), LibraryError> {
        let by_uid: Option<Source> = self.loader.source_by_uid(&uid)?;
        let found = match by_uid {
            Some(ours) => Some(ours),
            None => self.loader.source_like(theirs)?,
        };
        let Some(ours) = found else {
            let id = self.loader.keep_source(&uid, theirs)?;
            self.taken.new.sources += 1;
            self.sources.insert(uid.clone(), (id, uid));
            return Ok(());
        };
        self.sources.insert(uid.clone(), (ours.id, ours.uid.clone()));
        let differences = differences(&source_record(&source_content(&ours)), &source_record(theirs));
        let is_equal = differences.is_empty();
        let keep = self.settle(RecordKind::Source, &uid, &ours.citation, line, differences);
        self.taken.equal.sources += u64::from(is_equal);
        if keep == Some(Keep::Theirs) {
            self.loader.replace_source(&ours, theirs, self.change)?;
        }
        Ok(())
    }

    fn entry(
        &mut self,
        uid: String,
        theirs: &EntryContent,
        (compound_uid, source_uid): (&str, &str),
        name: &str,
        line: u64,
    ) -> Result<(), LibraryError> {
        let ours: Option<Entry> = self.loader.entry_by_uid(&uid)?;
        let Some(ours) = ours else {
            self.loader.keep_entry(&uid, theirs)?;
            self.taken.new.entries += 1;
            return Ok(());
        };
        let content = EntryContent::from(ours.clone());
        let mut differences = differences(&entry_record(&content), &entry_record(theirs));
        if content.compound != theirs.compound {
            differences.push(Difference {
                field: "compound_uid".to_owned(),
                ours: Some(self.loader.compound_uid(content.compound)?),
                theirs: Some(compound_uid.to_owned()),
            });
        }
        if content.source != theirs.source {
            differences.push(Difference {
                field: "source_uid".to_owned(),
                ours: Some(self.loader.source_uid(content.source)?),
                theirs: Some(source_uid.to_owned()),
            });
        }
        let is_equal = differences.is_empty();
        let about = format!("{name}: {}", ours.statement.as_printed);
        let keep = self.settle(RecordKind::Entry, &uid, &about, line, differences);
        self.taken.equal.entries += u64::from(is_equal);
        if keep == Some(Keep::Theirs) {
            self.loader.replace_entry(&ours, theirs, self.change)?;
        }
        Ok(())
    }

    /// Notes a conflict, when there is one, and says what was decided on it.
    fn settle(
        &mut self,
        record: RecordKind,
        uid: &str,
        about: &str,
        line: u64,
        differences: Vec<Difference>,
    ) -> Option<Keep> {
        if differences.is_empty() {
            return None;
        }
        let decided = self
            .resolution
            .decisions
            .get(&(record, uid.to_owned()))
            .filter(|decision| decision.differences == differences)
            .map(|decision| decision.keep);
        let keep = decided.or(self.resolution.prefer);
        self.taken.conflicts.push(Conflict {
            record,
            uid: uid.to_owned(),
            about: about.chars().take(120).collect(),
            line,
            differences,
            keep,
        });
        keep
    }
}

/// The fields in which two records differ, in the order of their names.
fn differences(ours: &Record, theirs: &Record) -> Vec<Difference> {
    let mut fields: Vec<&String> = ours.keys().chain(theirs.keys()).collect();
    fields.sort();
    fields.dedup();
    fields
        .into_iter()
        .filter(|field| ours.get(*field) != theirs.get(*field))
        .map(|field| Difference {
            field: field.clone(),
            ours: ours.get(field).map(ToString::to_string),
            theirs: theirs.get(field).map(ToString::to_string),
        })
        .collect()
}
