use unicode_width::UnicodeWidthStr;

/// On which side of its column a cell stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Align {
    /// Words.
    Left,
    /// Numbers.
    Right,
}

/// A table for a terminal: columns as wide as their widest cell, two blanks between.
#[derive(Clone, Debug)]
pub struct Table {
    columns: Vec<(String, Align)>,
    rows: Vec<Vec<String>>,
    indent: usize,
}

impl Table {
    /// A table with these headings.
    #[must_use]
    pub fn new(columns: &[(&str, Align)]) -> Self {
        Self {
            columns: columns.iter().map(|&(name, align)| (name.to_owned(), align)).collect(),
            rows: Vec::new(),
            indent: 2,
        }
    }

    /// Adds a row, a cell a column.
    pub fn row<I: IntoIterator<Item = String>>(&mut self, cells: I) {
        let mut row: Vec<String> = cells.into_iter().collect();
        row.resize(self.columns.len(), String::new());
        self.rows.push(row);
    }

    /// The table as lines, each ended, however wide.
    #[must_use]
    pub fn render(&self) -> String {
        self.render_within(usize::MAX)
    }

    /// The table as lines, each ended, in so many columns of a terminal: where it would be wider, cells go on in lines below; where
    /// not even single words fit beside each other, each row is a list of its cells.
    #[must_use]
    pub fn render_within(&self, room: usize) -> String {
        let headings: Vec<String> = self.columns.iter().map(|c| c.0.clone()).collect();
        let all = || std::iter::once(&headings).chain(&self.rows);
        let most = |of: fn(&str) -> usize| -> Vec<usize> {
            (0..self.columns.len()).map(|i| all().map(|row| of(&row[i])).max().unwrap_or(0)).collect()
        };
        let (mut widths, least) = (most(UnicodeWidthStr::width), most(longest_word));
        let between = self.indent + 2 * self.columns.len().saturating_sub(1);
        while widths.iter().sum::<usize>().saturating_add(between) > room {
            // The widest gives way first.
            let gives = (0..widths.len()).filter(|&i| widths[i] > least[i]).max_by_key(|&i| (widths[i], i));
            let Some(gives) = gives else { return self.listed(room) };
            widths[gives] -= 1;
        }
        let mut out = String::new();
        for row in all() {
            let cells: Vec<Vec<String>> = row.iter().zip(&widths).map(|(cell, &width)| wrapped(cell, width)).collect();
            for n in 0..cells.iter().map(Vec::len).max().unwrap_or(0) {
                let parts = cells.iter().map(|lines| lines.get(n).map_or("", String::as_str));
                self.line(&mut out, parts, &widths);
            }
        }
        out
    }

    fn line<'c>(&self, out: &mut String, cells: impl Iterator<Item = &'c str>, widths: &[usize]) {
        let mut line = " ".repeat(self.indent);
        for (i, cell) in cells.enumerate() {
            let pad = " ".repeat(widths[i].saturating_sub(cell.width()));
            match self.columns[i].1 {
                Align::Left => line.extend([cell, &pad]),
                Align::Right => line.extend([&pad, cell]),
            }
            line.push_str("  ");
        }
        out.push_str(line.trim_end());
        out.push('\n');
    }

    /// Each row by itself, a cell a line under its heading; empty ones are left out.
    fn listed(&self, room: usize) -> String {
        let mut out = String::new();
        let rows = self.rows.iter().map(|row| {
            let cells = self.columns.iter().zip(row).filter(|(_, cell)| !cell.is_empty());
            let said = cells.map(
                |((heading, _), cell)| if heading.is_empty() { cell.clone() } else { format!("{heading}: {cell}") },
            );
            let lines = said.flat_map(|said| {
                let lines = wrapped(&said, room.saturating_sub(2 * self.indent));
                // What goes on stands further in.
                lines
                    .into_iter()
                    .enumerate()
                    .map(|(n, line)| " ".repeat(self.indent * (1 + usize::from(n > 0))) + &line + "\n")
            });
            lines.collect::<String>()
        });
        out.push_str(&rows.collect::<Vec<_>>().join("\n"));
        out
    }
}

fn longest_word(text: &str) -> usize {
    text.split(' ').map(UnicodeWidthStr::width).max().unwrap_or(0)
}

/// A text in lines of so many columns, broken at blanks; a word that is wider has a line of its own.
fn wrapped(text: &str, width: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for (n, word) in text.split(' ').enumerate() {
        let last = lines.len() - 1;
        let line = &mut lines[last];
        if n == 0 {
            line.push_str(word);
        } else if line.width().saturating_add(1 + word.width()) <= width {
            line.extend([" ", word]);
        } else {
            lines.push(word.to_owned());
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn columns_are_as_wide_as_what_is_seen() {
        let mut table = Table::new(&[("n", Align::Right), ("word", Align::Left), ("x", Align::Left)]);
        table.row(["10".into(), "µs".into(), "a".into()]);
        table.row(["9".into(), "日本".into(), String::new()]);
        assert_eq!(table.render(), "   n  word  x\n  10  µs    a\n   9  日本\n");
    }

    #[test]
    fn what_is_too_wide_goes_on_below_and_at_last_stands_in_a_list() {
        let mut table = Table::new(&[("tempo", Align::Right), ("", Align::Left), ("heard as", Align::Left)]);
        table.row(["50".into(), "fails".into(), "a flam, order heard".into()]);
        assert_eq!(table.render_within(35), table.render());
        assert_eq!(
            table.render_within(28),
            "  tempo         heard as\n     50  fails  a flam,\n                order heard\n"
        );
        assert_eq!(table.render_within(18), "  tempo: 50\n  fails\n  heard as: a\n    flam, order\n    heard\n");
    }

    proptest! {
        /// Whatever the room, no line is wider than that or than its one word, and no word of a cell is lost.
        #[test]
        fn no_line_is_wider_than_the_room(
            cells in proptest::collection::vec("[a-z]{1,7}( [a-z]{1,7}){0,5}", 6),
            room in 1_usize..80,
        ) {
            let mut table = Table::new(&[("n", Align::Right), ("two words", Align::Left), ("", Align::Left)]);
            cells.chunks(3).for_each(|row| table.row(row.iter().cloned()));
            let text = table.render_within(room);
            for line in text.lines() {
                let words = line.split_whitespace().count();
                prop_assert!(line.width() <= room || words == 1, "{room}: {line:?}");
            }
            let mut words: Vec<&str> = text.split_whitespace().collect();
            for word in cells.iter().flat_map(|cell| cell.split(' ')) {
                let found = words.iter().position(|w| *w == word);
                prop_assert!(found.is_some(), "{word} in {text}");
                words.swap_remove(found.unwrap_or(0));
            }
        }
    }
}
