//! The format as others wrote it down, against the library both ways; and our own files read again.
