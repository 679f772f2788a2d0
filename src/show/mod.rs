//! What people and programs are shown: words, tables, JSON and CSV (`report`), the figures of pictures (`scene`), the pictures
//! (`picture`) and the pages (`page`).

pub mod album;
pub mod page;
pub mod picture;
pub mod report;
pub mod scene;
