//! From what a person types to one compound: an ambiguous text is answered with the candidates, and a person at a
//! terminal may pick one.

use super::failure::{Candidate, Failure, Fault, write_candidates};
use super::session::Session;
use crate::library::{CompoundId, Library};
use crate::report::json;
use crate::tasks::resolve::{self, Resolution, resolve};

/// The one compound a text means; a bare number is a compound's number, as the tables list it.
///
/// # Errors
/// Exit code 3 with the candidates when it means several or none, and what the library says.
pub fn compound(library: &Library, text: &str, session: &mut Session) -> Result<CompoundId, Failure> {
    let typed = text.trim();
    if typed.bytes().all(|b| b.is_ascii_digit())
        && let Ok(number) = typed.parse()
    {
        return Ok(library.compound(CompoundId(number))?.id);
    }
    let failure = match resolve(library, typed)? {
        Resolution::One(resolved) => return Ok(resolved.compound.id),
        Resolution::Ambiguous { reason, candidates } => ambiguous(&reason, &candidates),
        Resolution::Unknown {
            reason,
            nearest,
            notice,
        } => {
            if let Some(notice) = notice {
                session.warn(&notice);
            }
            unknown(typed, &reason, &nearest)
        }
    };
    pick(failure, session)
}

/// The failure of a text that means several compounds.
pub fn ambiguous(reason: &str, candidates: &[resolve::Candidate]) -> Failure {
    Failure {
        candidates: candidates.iter().map(Into::into).collect(),
        ..Failure::new(Fault::Compound, "ambiguous-compound", sentence(reason))
    }
    .hint(match candidates {
        [only] => format!("if this is the one, say so: biot show {}", only.compound.id),
        _ => "name one of them, or give its number, CAS number or InChIKey".to_owned(),
    })
}

/// The failure of a text that means no compound.
pub fn unknown(text: &str, reason: &str, nearest: &[resolve::Candidate]) -> Failure {
    let hint = if nearest.is_empty() && text.contains(char::is_alphabetic) {
        format!("biot search \"{text}\" looks for parts of the name")
    } else if nearest.is_empty() {
        "biot search looks for parts of a name".to_owned()
    } else {
        "the nearest names are listed; give one of them, its number or its CAS number".to_owned()
    };
    Failure {
        candidates: nearest.iter().map(Into::into).collect(),
        ..Failure::new(Fault::Compound, "unknown-compound", sentence(reason))
    }
    .hint(hint)
}

/// Lets a person at a terminal pick a candidate; anything but a listed number leaves the failure as it is.
fn pick(failure: Failure, session: &mut Session) -> Result<CompoundId, Failure> {
    if !session.can_ask() || failure.candidates.is_empty() {
        return Err(failure);
    }
    session.tell(|page| {
        page.paragraph(&format!("{}:", failure.message));
        write_candidates(&failure.candidates, page);
    });
    let answer = session.ask("Which one? Its number, or Enter to stop:");
    let chosen = answer.and_then(|answer| answer.trim_start_matches('#').parse::<i64>().ok());
    match chosen {
        Some(number) if failure.candidates.iter().any(|candidate| candidate.compound == number) => {
            Ok(CompoundId(number))
        }
        _ => Err(Failure {
            candidates: Vec::new(),
            ..failure
        }),
    }
}

/// A reason as the message of a failure: without the full stop of a sentence.
fn sentence(reason: &str) -> String {
    reason.trim_end_matches('.').to_owned()
}

impl From<&resolve::Candidate> for Candidate {
    fn from(candidate: &resolve::Candidate) -> Self {
        let signs = candidate.signs;
        Self {
            compound: candidate.compound.id.0,
            name: candidate.compound.name.clone(),
            matched: candidate.matched.clone(),
            descriptors: candidate.descriptors.clone(),
            signs: json::signs(signs),
            values: signs.plus + signs.minus + signs.unsigned,
        }
    }
}
