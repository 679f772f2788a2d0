//! What people and programs are shown: words, tables, JSON and CSV (`report`), the figures of pictures (`scene`), the pictures
//! (`picture`) and the pages (`page`); and how much of all that there may be (`workload`).

pub mod album;
pub mod page;
pub mod picture;
pub mod report;
pub mod scene;
pub mod sentence;
pub mod workload;
