//! What of a text may be printed where: one set of characters that none may show as they are, for terminals, pictures, pages,
//! JSON and the names of files alike. Each spells or marks them in its own way. And numbers: exact decimals as they are
//! written, and numbers of things as people read them.

mod count;
mod decimal;
mod json;
mod paste;
mod piece;
mod show;
mod unfit;
mod unsafe_chars;

pub use count::{counted, plural};
pub use decimal::{Decimal, DecimalFault, MOST_DIGITS, Notation, decimal, nine_places, rounded, without_noughts};
pub use json::TamedJson;
pub use paste::{commands, quoted};
pub use show::{marked, message, plain, shown, spelled, tamed, tamed_json, within};
pub use unfit::{Unfit, unfit};
pub use unsafe_chars::is_unsafe;
