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

    /// The table as lines, each ended.
    #[must_use]
    pub fn render(&self) -> String {
        let headings: Vec<String> = self.columns.iter().map(|c| c.0.clone()).collect();
        let width = |i: usize| std::iter::once(&headings).chain(&self.rows).map(|r| r[i].width()).max().unwrap_or(0);
        let widths: Vec<usize> = (0..self.columns.len()).map(width).collect();
        let mut out = String::new();
        for row in std::iter::once(&headings).chain(&self.rows) {
            let mut line = " ".repeat(self.indent);
            for (i, cell) in row.iter().enumerate() {
                let pad = " ".repeat(widths[i] - cell.width());
                match self.columns[i].1 {
                    Align::Left => line.extend([cell.as_str(), &pad]),
                    Align::Right => line.extend([pad.as_str(), cell]),
                }
                line.push_str("  ");
            }
            out.push_str(line.trim_end());
            out.push('\n');
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_are_as_wide_as_what_is_seen() {
        let mut table = Table::new(&[("n", Align::Right), ("word", Align::Left), ("x", Align::Left)]);
        table.row(["10".into(), "µs".into(), "a".into()]);
        table.row(["9".into(), "日本".into(), String::new()]);
        assert_eq!(table.render(), "   n  word  x\n  10  µs    a\n   9  日本\n");
    }
}
