//! The render.
