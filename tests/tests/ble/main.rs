//! Straps over Bluetooth: the built program and its unmodified Bluetooth library against a
//! stand-in for the system's Bluetooth service, each test on a message bus of its own.
//! Real radios, pairing, macOS and Windows are not tested here.
#![cfg(target_os = "linux")]

mod common;
mod served;
mod session;
mod setup;
mod trouble;
