//! Biot: a local reference library of published optical rotations and a checker of measured ones.
//!
//! The modules stand in the order in which they build on each other; nothing imports from a module below it
//! (`tests/it/architecture.rs` enforces this).
//!
//! | module | what it knows |
//! | --- | --- |
//! | [`quantity`] | numbers with units, spectral lines, printed digits |
//! | [`solvent`] | canonical solvents, mixtures, kinship |
//! | [`compound`] | names, formula, CAS number, structure, mirror images |
//! | [`statement`] | one printed value of rotation and its definition equations |
//! | [`notation`] | printed text to statements and back |
//! | [`measurement`] | an angle and how it was taken, to a specific rotation with its uncertainty |
//! | [`dispersion`] | rotation against wavelength: tables, fits, conversion between lines |
//! | [`instrument`] | control standards: the sugar scale and the rotation of quartz |
//! | [`compare`] | one measured value against references: the statistical model, pure |
//! | [`audit`] | what about the entries of a compound is probably wrong, pure |
//! | [`plan`] | what to measure, at which conditions, with how much sample |
//! | [`library`] | the store and the search index, the only place with SQL and tantivy |
//! | [`exchange`] | files to statements, statements to files |
//! | [`tasks`] | one function per thing a user does |
//! | [`report`] | results to text and JSON |
//! | [`web`] | the same in a browser |
//! | [`cli`] | one file per command |

pub mod quantity;
pub mod solvent;
pub mod compound;
pub mod statement;
pub mod notation;
pub mod measurement;
pub mod dispersion;
pub mod instrument;
pub mod compare;
pub mod audit;
pub mod plan;
pub mod library;
pub mod exchange;
pub mod tasks;
pub mod report;
pub mod web;
pub mod cli;
