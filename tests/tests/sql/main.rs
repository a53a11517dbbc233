//! The SQL questions of `analysis/sql/` as a reader asks them: on two engines of one machine and on a Spark
//! cluster of a master and two workers, against each other and against the product's own numbers.

mod ask;
mod bad_input;
mod bays;
mod engines;
mod product;
