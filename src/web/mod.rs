//! The same in a browser, and for programs over HTTP: pages and a JSON interface over [`crate::tasks`].
//!
//! Start reading at `server`, which binds and runs. `guard` decides what may come in and what every answer carries
//! (`permissions` says what each route needs), `app` holds the connections to the library, `fields` reads what was typed, `check` and `pages` draw, `api`
//! answers programs. Pages are made on the server and work without scripts; nothing comes from outside.

mod api;
mod app;
mod audited;
mod batch;
mod check;
mod connections;
mod curation;
mod dispersion;
mod equipment;
mod equipment_fields;
mod fields;
mod guard;
mod instruments;
mod limits;
mod measurements;
mod openapi;
mod pages;
mod permissions;
mod plan;
mod plots;
mod reduce;
mod report;
mod sent;
mod server;
mod sign_in;
mod upload;
mod use_log;
mod views;

pub use server::{Options, ServeError, Started, Transport, serve};
