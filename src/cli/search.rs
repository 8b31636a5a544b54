//! `biot search`: compounds by a text.

use super::args;
use super::statement::KindWord;
use super::{Failure, Outcome, Session};
use crate::library::{Access, Dextro, Filter};
use crate::quantity::{self, SpectralLine};
use crate::report::{self, json};
use crate::solvent::Solvent;
use crate::tasks;
use clap::Args;

/// Arguments of `biot search`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    biot search menthol                       every stereoisomer, with the signs of its values\n  \
    biot search \"(1R,2S,5R)-menthol\"          by name; dashes, Greek letters and case do not matter\n  \
    biot search chol                          by the beginning of a word, three letters or more\n  \
    biot search 89-78-1                       by CAS number; an InChIKey, formula or DOI will do too\n  \
    biot search C10H20O --solvent EtOH --sign -\n  \
    biot search camphor --line 546 --json")]
pub struct SearchArguments {
    /// Name, CAS number, InChIKey, formula, or DOI of a source
    #[arg(required = true, value_name = "TEXT")]
    pub text: Vec<String>,
    /// Only compounds with a value in this solvent
    #[arg(long, value_parser = args::solvent, value_name = "SOLVENT")]
    pub solvent: Option<Solvent>,
    /// Only compounds with a value at this light: D, 546 nm, or a line's letter
    #[arg(long, value_parser = quantity::parse_line, value_name = "LINE")]
    pub line: Option<SpectralLine>,
    /// Only compounds with a value of this sign: + or -
    #[arg(long, allow_hyphen_values = true, value_parser = args::sign, value_name = "SIGN")]
    pub sign: Option<Dextro>,
    /// Only compounds with a value of this kind
    #[arg(long, value_name = "KIND")]
    pub kind: Option<KindWord>,
    /// Most compounds listed
    #[arg(long, default_value_t = 20, value_name = "NUMBER")]
    pub limit: usize,
}

/// Searches and lists.
pub fn run(arguments: &SearchArguments, session: &mut Session) -> Result<Outcome, Failure> {
    let text = arguments.text.join(" ");
    let filter = Filter {
        solvent: arguments.solvent.clone(),
        line: arguments.line.clone(),
        sign: arguments.sign,
        rotation: arguments.kind.map(Into::into),
        kind: None,
    };
    let library = session.library(Access::Read)?;
    let search = tasks::search::search(&library, &text, &filter, arguments.limit)?;
    if let Some(notice) = &search.notice {
        session.warn(notice);
    }
    let is_filtered = filter != Filter::default();
    session.answer(&json::SearchJson::new(&text, &search), |page| {
        report::search::list(&text, &search, arguments.limit, is_filtered, page);
    })?;
    Ok(Outcome::Answered)
}
