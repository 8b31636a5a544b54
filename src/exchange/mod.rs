//! Files to statements, statements to files.

pub mod bundle;
pub mod cell;
pub mod cif_out;
mod csv_out;
pub mod export;
pub mod fields;
mod json_out;
pub mod starter;
pub mod take;
mod xlsx_out;
