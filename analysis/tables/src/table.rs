//! Columns of a row type.

use crate::{Cell, Column, Schema};

type Read<R> = Box<dyn for<'a> Fn(&'a R) -> Cell<'a> + Send + Sync>;

/// The columns of rows `R`, each with the cell that a row has there.
pub struct Table<R> {
    schema: Schema,
    cells: Vec<Read<R>>,
}

impl<R> Table<R> {
    /// A table without columns: its stable name with version, and what a row is.
    pub fn new(id: impl Into<String>, about: impl Into<String>) -> Self {
        Self { schema: Schema { id: id.into(), about: about.into(), columns: Vec::new() }, cells: Vec::new() }
    }

    /// The same with one more column.
    #[must_use]
    pub fn column<F>(mut self, column: Column, cell: F) -> Self
    where
        F: for<'a> Fn(&'a R) -> Cell<'a> + Send + Sync + 'static,
    {
        self.schema.columns.push(column);
        self.cells.push(Box::new(cell));
        self
    }

    /// The same columns, under that id, for rows that hold such a row: more can be added that need what the others hold.
    #[must_use]
    pub fn within<S: 'static>(self, id: impl Into<String>, part: fn(&S) -> &R) -> Table<S>
    where
        R: 'static,
    {
        let of = |cell: Read<R>| -> Read<S> { Box::new(move |row| cell(part(row))) };
        Table {
            schema: Schema { id: id.into(), ..self.schema },
            cells: self.cells.into_iter().map(of).collect(),
        }
    }

    /// Its columns.
    pub const fn schema(&self) -> &Schema {
        &self.schema
    }

    /// The cells of a row, in the order of the columns; what `cells` held is replaced.
    pub fn row<'a>(&self, row: &'a R, cells: &mut Vec<Cell<'a>>) {
        cells.clear();
        cells.extend(self.cells.iter().map(|cell| cell(row)));
    }
}
