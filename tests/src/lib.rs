//! Helpers of the tests in `tests/`, which look at the product from outside: its programs,
//! its files, and its computations against published values and reference libraries.

#[cfg(target_os = "linux")]
pub mod avahi;
#[cfg(target_os = "linux")]
pub mod bluez;
pub mod browser;
pub mod csv;
pub mod files;
pub mod made_dataset;
pub mod programs;
pub mod python;
#[cfg(unix)]
pub mod service_manager;
pub mod synthetic;
pub mod test_server;
#[cfg(target_os = "linux")]
pub mod vm;
