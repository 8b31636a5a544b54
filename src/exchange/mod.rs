//! Files to statements, statements to files.
//!
//! To import, [`rows`] reads a file of any format into rows of cells, [`mapping`] says which column holds which
//! [`field`], and [`record`] turns a row into what the library holds, or into the reason why not.

mod cell_in;
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
