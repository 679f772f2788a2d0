//! The report.
