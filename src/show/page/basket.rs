//! The table of components to print for the shop.

use super::frame::escape;
use crate::show::report::{SHOP_COLUMNS, ShopRow};
use std::fmt::Write;

/// The table as a section of a page; `says` stands below it.
#[must_use]
pub fn shop_section(rows: &[ShopRow], on: &str, says: &[&str]) -> String {
    let heads: String = SHOP_COLUMNS.iter().map(|name| format!("<th scope=\"col\">{name}</th>")).collect();
    let mut body = String::new();
    for ShopRow { name, price, fit, delay, slack, usual, worst } in rows {
        let cells: String =
            [price, fit, delay, slack, usual, worst].iter().map(|cell| format!("<td>{}</td>", escape(cell))).collect();
        let _ = write!(body, "<tr><th scope=\"row\" dir=\"auto\">{}</th>{cells}</tr>", escape(name));
    }
    let mut out = format!(
        "<section id=\"basket\" aria-labelledby=\"basket-title\">\n<h2 id=\"basket-title\">For the shop</h2>\n\
         <p>What could go into {}, the best first. Print this page to take it with you.</p>\n\
         <div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"Components\">\
         <table><thead><tr>{heads}</tr></thead><tbody>{body}</tbody></table></div>\n",
        escape(on)
    );
    for line in says {
        let _ = writeln!(out, "<p class=\"small\">{}</p>", escape(line));
    }
    out.push_str("</section>\n");
    out
}
