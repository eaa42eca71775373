//! prints
