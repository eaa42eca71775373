//! media
