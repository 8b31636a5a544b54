//! Files to statements, statements to files.
//!
//! To import, [`rows`] reads a file of any format into rows of cells, [`mapping`] says which column holds which
//! [`field`], and [`record`] turns a row into what the library holds, or into the reason why not.
//!
//! To export, [`export`] writes entries as CSV, XLSX, CIF or JSON Lines; [`bundle`] writes what another library can [`take`] in.

pub mod bundle;
pub mod cell;
mod cell_in;
mod cif_in;
pub mod cif_out;
mod cif_text;
mod csv_out;
pub mod decode;
pub mod export;
pub mod field;
pub mod fields;
pub mod jcamp;
mod json_out;
mod jsonl_in;
pub mod mapping;
pub mod record;
pub mod references;
pub mod rejects;
pub mod rows;
pub mod series;
pub mod spreadsheet_bounds;
pub mod starter;
mod table_in;
pub mod table_out;
pub mod take;
mod text_in;
mod xlsx_in;
mod xlsx_out;
