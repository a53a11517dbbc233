//! What a packet of a strap says: its bytes by a profile, as samples with units.
//!
//! ```text
//! cargo run -p peakorder-protocol --example decode_packet -- PROFILE HEX [CHANNEL]
//! ```
//!
//! PROFILE is the id of a built-in profile or a TOML file (`protocol/profiles/README.md` has the schema), HEX the bytes of one
//! notification, CHANNEL the place of its characteristic in the profile, from 0.

use peakorder_protocol::profile::{Decoded, Decoder, Profile};
use std::error::Error;
use std::process::ExitCode;

fn main() -> ExitCode {
    match run() {
        Ok(()) => ExitCode::SUCCESS,
        Err(e) => {
            eprintln!("decode_packet: {e}");
            ExitCode::FAILURE
        }
    }
}

fn run() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [profile, hex, channel @ ..] = arguments.as_slice() else {
        let ids: Vec<&str> = Profile::builtin_ids().collect();
        return Err(
            format!("usage: decode_packet PROFILE HEX [CHANNEL]; built in are {}", ids.join(", ")).into()
        );
    };
    let text = match Profile::builtin(profile) {
        Some(text) => text.to_owned(),
        None => std::fs::read_to_string(profile).map_err(|e| format!("{profile}: {e}"))?,
    };
    let profile = Profile::from_toml(&text)?;
    let digits: String = hex.chars().filter(char::is_ascii_hexdigit).collect();
    let bytes: Vec<u8> = (0..digits.len() / 2)
        .map(|i| u8::from_str_radix(&digits[2 * i..2 * i + 2], 16))
        .collect::<Result<_, _>>()?;
    let channel = channel.first().map_or(Ok(0), |c| c.parse())?;

    let mut decoded = Decoded::default();
    Decoder::new(&profile).decode(channel, &bytes, &mut decoded)?;
    println!("{}: {} bytes, {} packets", profile.name(), bytes.len(), decoded.packets.len());
    for packet in &decoded.packets {
        println!("packet, number {}, device time in ticks {}", shown(packet.seq), shown(packet.t_raw));
        for s in decoded.samples_of(packet) {
            let [x, y, z] = s.gyro.map(f64::to_degrees);
            let [ax, ay, az] = s.acc;
            println!("  gyro {x:.2} {y:.2} {z:.2} deg/s, acceleration {ax:.3} {ay:.3} {az:.3} m/s²");
        }
    }
    Ok(())
}

fn shown<T: ToString>(value: Option<T>) -> String {
    value.map_or_else(|| "not sent".into(), |v| v.to_string())
}
