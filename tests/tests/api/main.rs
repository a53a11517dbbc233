//! The API of `peakorderd serve`, asked from outside as a browser or an attacker would.

mod attacks;
mod description;
mod encrypted;
mod interrupted;
mod lesson;
mod pairing;
mod playing;
mod privacy;
mod remarks;
mod running;
mod size;
