//! From what a person types to one compound: an ambiguous text is answered with the candidates, and a person at a
//! terminal may pick one.

use super::session::Session;
use crate::library::{CompoundId, Library};
use crate::report::failure::{self, Failure, write_candidates};
use crate::tasks::resolve::resolve;

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
    let (failure, notice) = match failure::one_compound(typed, resolve(library, typed)?) {
        Ok(compound) => return Ok(compound.id),
        Err(told) => *told,
    };
    if let Some(notice) = notice {
        session.warn(&notice);
    }
    pick(failure, session)
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
