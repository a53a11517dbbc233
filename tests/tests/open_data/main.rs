//! Open data: what leaves the product, read by other programs.

mod export;
mod export_for_import;
mod fixture;
