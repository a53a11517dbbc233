//! Helpers of the tests in `tests/`, which look at the product from outside: its programs,
//! its files, and its computations against published values and reference libraries.

#[cfg(target_os = "linux")]
pub mod bluez;
pub mod csv;
pub mod files;
pub mod made;
pub mod programs;
pub mod served;
#[cfg(target_os = "linux")]
pub mod vm;
