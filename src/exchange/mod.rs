//! Files to statements, statements to files.
//!
//! To import, [`rows`] reads a file of any format into rows of cells, [`mapping`] says which column holds which
//! [`field`], and [`record`] turns a row into what the library holds, or into the reason why not.

mod cif_in;
mod decode;
pub mod field;
mod jsonl_in;
pub mod mapping;
pub mod record;
pub mod references;
pub mod rejects;
pub mod rows;
pub mod starter;
mod table_in;
mod text_in;
mod xlsx_in;
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
