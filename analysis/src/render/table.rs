//! Aligned columns that fold into panels where the terminal is narrow.

use super::Style;
use std::fmt::Write as _;
use unicode_width::UnicodeWidthStr as _;

/// Where a cell's text stands in its column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Align {
    Left,
    Right,
}

/// One column.
#[derive(Debug, Clone)]
struct Column {
    header: String,
    align: Align,
    cells: Vec<String>,
}

impl Column {
    fn width(&self) -> usize {
        self.cells.iter().chain([&self.header]).map(|c| c.width()).max().unwrap_or(0)
    }
}

/// Neighbouring columns under one title that are never parted.
#[derive(Debug, Clone)]
struct Group {
    title: String,
    columns: Vec<Column>,
    /// Stays in one panel with the group before it.
    glued: bool,
}

/// Between columns of one group, and between groups.
const NARROW: usize = 1;
const WIDE: usize = 2;

impl Group {
    /// Width, and by how much the last column grows to make room for the title.
    fn width(&self) -> usize {
        let columns: usize = self.columns.iter().map(Column::width).sum();
        let inner = columns + NARROW * self.columns.len().saturating_sub(1);
        inner.max(self.title.width())
    }
}

/// A table under construction: add groups and columns, then rows cell by cell.
#[derive(Debug, Clone, Default)]
pub(super) struct Table {
    groups: Vec<Group>,
}

impl Table {
    /// Adds a group of columns, `(header, alignment, cells)` each. The first group is
    /// repeated in every panel.
    pub(super) fn group(&mut self, title: &str, columns: Vec<(&str, Align, Vec<String>)>) {
        self.groups.push(Group {
            title: title.to_owned(),
            columns: columns
                .into_iter()
                .map(|(header, align, cells)| Column { header: header.to_owned(), align, cells })
                .collect(),
            glued: false,
        });
    }

    /// Keeps the group added last in one panel with the one before it.
    pub(super) fn glue(&mut self) {
        if let Some(group) = self.groups.last_mut() {
            group.glued = true;
        }
    }

    /// Width when everything stands side by side.
    pub(super) fn natural_width(&self) -> usize {
        width_of(&self.groups.iter().collect::<Vec<_>>())
    }

    /// The lines, without colour; panels are parted by an empty line.
    pub(super) fn lines(&self, width: usize) -> Vec<String> {
        let Some((first, rest)) = self.groups.split_first() else {
            return Vec::new();
        };
        let mut panels: Vec<Vec<&Group>> = vec![vec![first]];
        for together in rest.chunk_by(|_, next| next.glued) {
            let together: Vec<&Group> = together.iter().collect();
            let fits = panels
                .last()
                .is_some_and(|p| p.len() == 1 || width_of(&[p.as_slice(), &together].concat()) <= width);
            if !fits {
                panels.push(vec![first]);
            }
            if let Some(panel) = panels.last_mut() {
                panel.extend(together);
            }
        }
        let mut lines = Vec::new();
        for (i, panel) in panels.iter().enumerate() {
            if i > 0 {
                lines.push(String::new());
            }
            panel_lines(panel, &mut lines);
        }
        lines
    }

    /// Appends the lines in `style`.
    pub(super) fn write(&self, out: &mut String, style: Style) {
        for line in self.lines(style.width()) {
            let _ = writeln!(out, "{}", style.marks(&line));
        }
    }
}

/// Rows in left-aligned columns, the first row as heading.
pub fn columns(rows: &[Vec<String>]) -> String {
    let mut table = Table::default();
    for i in 0..rows.iter().map(Vec::len).max().unwrap_or(0) {
        let mut cells = rows.iter().map(|row| row.get(i).cloned().unwrap_or_default());
        let heading = cells.next().unwrap_or_default();
        table.group("", vec![(&heading, Align::Left, cells.collect())]);
    }
    table.lines(usize::MAX).iter().flat_map(|line| [line.as_str(), "\n"]).collect()
}

fn width_of(groups: &[&Group]) -> usize {
    groups.iter().map(|g| g.width()).sum::<usize>() + WIDE * groups.len().saturating_sub(1)
}

fn panel_lines(groups: &[&Group], lines: &mut Vec<String>) {
    if groups.iter().any(|g| !g.title.is_empty()) {
        let titles = groups.iter().map(|g| {
            let align = g.columns.last().map_or(Align::Left, |c| c.align);
            pad(&g.title, g.width(), align)
        });
        lines.push(join(titles));
    }
    if groups.iter().flat_map(|g| &g.columns).any(|c| !c.header.is_empty()) {
        lines.push(join(groups.iter().map(|g| row_of(g, |c| &c.header))));
    }
    let rows = groups.iter().flat_map(|g| &g.columns).map(|c| c.cells.len()).max().unwrap_or(0);
    for row in 0..rows {
        lines.push(join(groups.iter().map(|g| row_of(g, |c| c.cells.get(row).map_or("", String::as_str)))));
    }
}

/// A group's part of a line; room that only the title needs goes to the first column.
fn row_of<'a>(group: &'a Group, cell: impl Fn(&'a Column) -> &'a str) -> String {
    let columns: usize = group.columns.iter().map(Column::width).sum();
    let inner = columns + NARROW * group.columns.len().saturating_sub(1);
    let spare = group.width() - inner;
    let cells: Vec<String> = group
        .columns
        .iter()
        .enumerate()
        .map(|(i, c)| pad(cell(c), c.width() + if i == 0 { spare } else { 0 }, c.align))
        .collect();
    cells.join(&" ".repeat(NARROW))
}

fn join(parts: impl Iterator<Item = String>) -> String {
    parts.collect::<Vec<_>>().join(&" ".repeat(WIDE)).trim_end().to_owned()
}

/// `text` filled with spaces to `width` columns of the terminal.
pub(super) fn pad(text: &str, width: usize, align: Align) -> String {
    let fill = " ".repeat(width.saturating_sub(text.width()));
    match align {
        Align::Left => format!("{text}{fill}"),
        Align::Right => format!("{fill}{text}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table() -> Table {
        let mut t = Table::default();
        t.group("", vec![("no", Align::Right, vec!["1".into(), "12".into()])]);
        t.group(
            "turn, °",
            vec![
                ("top", Align::Right, vec!["−45".into(), "−9".into()]),
                ("impact", Align::Right, vec!["+21".into(), "+3".into()]),
            ],
        );
        t.group("", vec![("kind", Align::Left, vec!["strike".into(), "rehearsal".into()])]);
        t
    }

    #[test]
    fn columns_line_up() {
        assert_eq!(
            table().lines(80),
            ["       turn, °", "no  top impact  kind", " 1  −45    +21  strike", "12   −9     +3  rehearsal",]
        );
    }

    #[test]
    fn narrow_tables_fold_and_repeat_the_first_column() {
        let lines = table().lines(16);
        assert!(lines.iter().all(|l| l.chars().count() <= 16), "{lines:#?}");
        assert_eq!(lines.iter().filter(|l| l.starts_with("no")).count(), 2);
    }
}
