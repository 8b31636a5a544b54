//! One function per thing a user does: the only layer that sees both the library and the engines. Results are plain
//! structs with public fields; nothing here prints.

pub mod accounts;
pub mod audit;
pub mod batch;
pub mod calibrate;
pub mod care;
pub mod check;
pub mod composition;
pub mod control;
pub mod curate;
pub mod identify;
pub mod dispersion;
pub mod import;
pub mod limits;
pub mod measurements;
pub mod register;
pub mod reduce;
pub mod measured;
pub mod plan;
pub mod report;
pub mod resolve;
pub mod review;
pub mod search;
pub mod selfcheck;
pub mod share;
pub mod show;
pub mod timecourse;
pub mod typed;
pub mod use_log;
