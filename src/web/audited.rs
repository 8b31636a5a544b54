//! What the audit found, kept for as long as the library stays as it is: an audit goes over every entry.

use super::app::{App, broken};
use crate::audit::Settings;
use crate::library::HistoryHead;
use crate::report::audit::AuditJson;
use crate::report::failure::Failure;
use crate::tasks;
use std::sync::Arc;
use tokio::sync::Mutex;

/// The newest audit, and the end of the history it was made at. Every change of the library adds a line there, and the
/// lines are chained, so that another file with as many lines is known as another.
#[derive(Default)]
pub(super) struct Audited(Mutex<Option<(Option<HistoryHead>, Arc<AuditJson>)>>);

impl App {
    /// The audit of the whole library as it is now.
    ///
    /// # Errors
    /// When the library cannot be read.
    pub(super) async fn audit(self: &Arc<Self>) -> Result<Arc<AuditJson>, Failure> {
        let app = Arc::clone(self);
        // On its own: when whoever asked gives up, the next one has it.
        tokio::spawn(async move { app.audit_now().await })
            .await
            .map_err(|_| broken())?
    }

    /// Whoever asks while an audit runs waits for that one.
    async fn audit_now(self: &Arc<Self>) -> Result<Arc<AuditJson>, Failure> {
        let mut kept = self.audited.0.lock().await;
        let before = kept.clone();
        let now = self
            .read(move |library| {
                library.in_snapshot(|library| {
                    let head = library.history_head()?;
                    if let Some((kept_at, audit)) = before
                        && kept_at == head
                    {
                        return Ok((head, audit));
                    }
                    let mut found = Vec::new();
                    let scope =
                        tasks::audit::of_library(library, &Settings::default(), &mut |flagged| found.push(flagged))?;
                    Ok((head, Arc::new(AuditJson::new(scope, found, false))))
                })
            })
            .await?;
        *kept = Some(now.clone());
        Ok(now.1)
    }
}
