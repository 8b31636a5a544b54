//! One measured value against published references: the statistical model. Pure: plain data in, plain data out.
//!
//! [`pool`] turns references into what is known of M, the specific rotation of the enantiopure compound at the
//! conditions of the measurement; [`judge`] sets a measured value against that. They are apart so that many
//! measurements at the same conditions share one pooling.
//!
//! Start reading at `pool.rs` (the model; `lines.rs` takes references from line to line), then `filter.rs` (how its
//! posterior is computed), `judge.rs` (optical purity) and `verdict.rs`; `causes` holds the slips that may explain a value that does not fit. `estimators.rs` holds the classical estimators that serve as a cross-check.
//!
//! The model, for each usable reference i with value `y_i`, hand `s_i` (−1 for an entry of the mirror image) and
//! enantiomeric excess `e_i` of its sample:
//!
//! `s_i y_i = e_i (M + Σ_a δ_{a,g(i)} + η_{source(i)}) + ε_i`
//!
//! with probability 1 − π, and a wide component of both signs with probability π (a gross error of the library: lost
//! minus, factor of ten, wrong salt). `δ` is one draw per aspect and group of references that share a condition, `η` one
//! draw per source, `ε` the reference's own uncertainty.

mod causes;
mod conditions;
mod copies;
mod effects;
pub mod estimators;
mod excess;
mod filter;
mod judge;
mod learned;
mod left_out;
pub mod limits;
mod lines;
mod mixture;
mod pool;
mod reference;
mod verdict;

pub use causes::{
    Cause, CauseCode, CauseContext, CauseSetting, CauseTable, CauseTableError, CommonForm, Isomer, KnownForm, causes,
    values_of_isomer,
};
pub use conditions::{Aspect, Conditions, Difference, FormLink, Size};
pub use effects::{Case, Effect, EffectTable, EffectTableError};
pub use excess::{Agreement, ExcessCheck, ExcessMeaning, ImpliedValue, MethodExcess};
pub use judge::{
    Fieller, FiellerShape, Judgement, Measured, OpticalPurity, PurityDensity, fieller, judge, purity_density,
};
pub use learned::{EffectEstimate, PairTally, PublishedValue};
pub use left_out::{Prediction, SHARES, predict, staying, wilson95};
pub use lines::{LineConversion, LineMethod, OwnLine, own_lines};
pub use mixture::{Component, Mixture};
pub use pool::{Options, PooledValue, Pooling, ReferenceOutcome, pool};
pub use reference::{HandKnown, ReadingWorth, Reference, SampleExcess, ValueError, value_of};
pub use verdict::{Probabilities, Thresholds, ThresholdsError, Verdict, VerdictCode};
