//! How quick a library of ten thousand sessions is.

mod made;

use made::Size;
use std::path::PathBuf;

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).filter(|a| a != "--bench").collect();
    let into = PathBuf::from(&arguments[0]);
    let number = |at: usize| arguments[at].parse::<usize>().expect("a number");
    let size =
        Size { players: number(1), sessions_each: number(2), regular: number(3), swings: number(4) as u32 };
    made::make(&into, size, 1);
    println!("{} sessions", size.sessions());
}
