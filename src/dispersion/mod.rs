//! Rotation against wavelength: tables, fits, conversion between lines. Pure.
