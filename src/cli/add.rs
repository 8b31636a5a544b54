//! `biot add`: one printed value or one specification into the library.

use super::args;
use super::change::ChangeOptions;
use super::statement::{self, StatementOptions};
use super::{Failure, Outcome, Session};
use crate::library::{Access, EntryKind, Hand, Identity, LimitMethod, NewSource, SourceKind};
use crate::quantity::Printed;
use crate::report::{self, json::AddedJson};
use crate::tasks::curate::{self, AddRequest, CompoundRequest};
use clap::Args;

/// Arguments of `biot add`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    biot add \"(R)-carvone\" --text \"[α]D20 −61 (c 1.0, EtOH)\" --citation \"J. Invented Chem. 1 (2020) 12\"\n  \
    biot add 6485-40-1 --value -61.2 --temperature 20 --line D --solvent neat --citation \"…\" --doi 10.1000/xyz\n  \
    biot add \"acid A\" --new-compound --smiles \"C[C@H](N)C(O)=O\" --value +2.4 --solvent H2O --citation \"…\"\n  \
    biot add \"(R)-carvone\" --specification --low -62 --high -58 --solvent neat --citation \"…\" --source-kind standard\n\n\
    A field that is not printed stays missing: nothing is filled in. The entry is a draft until biot confirm.")]
pub struct AddArguments {
    /// Compound: name, CAS number, InChIKey, or number in this library
    #[arg(value_name = "COMPOUND")]
    pub compound: String,
    /// The compound is not in the library yet: add it under this name
    #[arg(long)]
    pub new_compound: bool,
    /// CAS number of the compound
    #[arg(long, value_name = "NUMBER")]
    pub cas: Option<String>,
    /// Structure of the compound as SMILES
    #[arg(long, value_name = "SMILES")]
    pub smiles: Option<String>,
    /// Structure of the compound as standard InChI
    #[arg(long, value_name = "INCHI")]
    pub inchi: Option<String>,
    /// Label of the configuration where InChI cannot tell: an axis, a polymer
    #[arg(long, value_name = "TEXT")]
    pub descriptor: Option<String>,
    /// Further name of the compound; may be given several times
    #[arg(long, value_name = "NAME")]
    pub also_named: Vec<String>,

    /// Printed text; it is read, and the options below overrule what is read
    #[arg(long, value_name = "TEXT", help_heading = "What is printed")]
    pub text: Option<String>,
    /// The fields of the statement
    #[command(flatten)]
    pub statement: StatementOptions,
    /// The entry is a specification: limits with their method
    #[arg(long, help_heading = "What is printed")]
    pub specification: bool,
    /// How the solution of a specification's method is prepared, in words
    #[arg(
        long,
        requires = "specification",
        value_name = "TEXT",
        help_heading = "What is printed"
    )]
    pub preparation: Option<String>,
    /// Factor the specification's method divides the value found by
    #[arg(long, requires = "specification", value_parser = args::rotation, value_name = "NUMBER", help_heading = "What is printed")]
    pub divide_by: Option<Printed>,

    /// Citation of the source
    #[arg(long, required = true, value_name = "TEXT", help_heading = "Where it is printed")]
    pub citation: String,
    /// DOI of the source
    #[arg(long, value_name = "DOI", help_heading = "Where it is printed")]
    pub doi: Option<String>,
    /// Year of the source
    #[arg(long, value_name = "YEAR", help_heading = "Where it is printed")]
    pub year: Option<i32>,
    /// Where the text was read
    #[arg(long, value_name = "URL", help_heading = "Where it is printed")]
    pub url: Option<String>,
    /// Kind of the source
    #[arg(long, value_parser = args::words(&args::SOURCE_KINDS, SourceKind::from_word), default_value = "paper",
          value_name = "KIND", help_heading = "Where it is printed")]
    pub source_kind: SourceKind,

    /// How sure it is that the value belongs to the compound
    #[arg(long, value_parser = args::words(&args::IDENTITIES, Identity::from_word), default_value = "sure",
          value_name = "WORD", help_heading = "How sure it is")]
    pub identity: Identity,
    /// How it is known which mirror image it is: independently, or from the printed sign
    #[arg(long, value_parser = args::words(&args::HANDS, Hand::from_word), default_value = "unclear",
          value_name = "WORD", help_heading = "How sure it is")]
    pub hand: Hand,
    /// Substance name as the source gives it
    #[arg(long, value_name = "TEXT", help_heading = "How sure it is")]
    pub substance: Option<String>,
    /// How the figure was seen: yes, partly with what was repaired, no
    #[arg(long, value_name = "TEXT", help_heading = "How sure it is")]
    pub seen: Option<String>,
    /// Remark
    #[arg(long, value_name = "TEXT", help_heading = "How sure it is")]
    pub comment: Option<String>,

    /// Who and why
    #[command(flatten)]
    pub change: ChangeOptions,
}

/// Adds the entry.
pub fn run(arguments: &AddArguments, session: &mut Session) -> Result<Outcome, Failure> {
    let statement = statement::read(arguments.text.as_deref(), &arguments.statement)?;
    let typed = arguments.compound.trim();
    let is_number = !typed.is_empty() && typed.bytes().all(|b| b.is_ascii_digit());
    let method = LimitMethod {
        preparation: arguments.preparation.clone(),
        divide_by: arguments.divide_by,
    };
    let request = AddRequest {
        compound: CompoundRequest {
            name: Some(if is_number {
                format!("#{typed}")
            } else {
                typed.to_owned()
            }),
            other_names: arguments.also_named.clone(),
            cas: arguments.cas.clone(),
            smiles: arguments.smiles.clone(),
            inchi: arguments.inchi.clone(),
            descriptor: arguments.descriptor.clone(),
        },
        may_add_compound: arguments.new_compound,
        source: NewSource {
            kind: arguments.source_kind,
            citation: arguments.citation.clone(),
            doi: arguments.doi.clone(),
            year: arguments.year,
            url: arguments.url.clone(),
        },
        kind: if arguments.specification {
            EntryKind::Specification
        } else {
            EntryKind::Value
        },
        statement,
        identity: arguments.identity,
        hand: arguments.hand,
        substance: arguments.substance.clone(),
        seen: arguments.seen.clone(),
        comment: arguments.comment.clone(),
        method: (method != LimitMethod::default()).then_some(method),
        kept_out: None,
    };
    let mut library = session.library(Access::Write)?;
    let added = curate::add(&mut library, &request, &arguments.change.change())?;
    if arguments.new_compound && !added.compound_is_new {
        session.notice(&format!(
            "The compound is in the library already, as {} (compound {}); no new one was added.",
            added.compound.name, added.compound.id
        ));
    }
    session.answer(&AddedJson::from(&added), |page| {
        let new = if added.compound_is_new { "new " } else { "" };
        page.paragraph(&format!(
            "Added entry {} as a draft: {}",
            added.entry.id,
            report::entry::sentence(&added.entry)
        ));
        page.field(
            "compound",
            &format!("{new}{} (compound {})", added.compound.name, added.compound.id),
        );
        for doubt in &added.entry.statement.doubts {
            page.field("doubt", doubt);
        }
    })?;
    Ok(Outcome::Answered)
}
