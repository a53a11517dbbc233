//! Links and QR codes in the terminal.

use super::pairing::PairingLinks;
use qrcode::QrCode;
use qrcode::render::unicode::Dense1x2;
use std::fmt::Write as _;
use std::net::{IpAddr, Ipv4Addr, SocketAddr, UdpSocket};

/// The address that other devices reach us by when we listen on `listening`.
pub fn reachable(listening: SocketAddr) -> SocketAddr {
    if !listening.ip().is_unspecified() {
        return listening;
    }
    // Asks the system which of our addresses leads outward; nothing is sent.
    let outward = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0))
        .and_then(|s| s.connect((Ipv4Addr::new(192, 0, 2, 1), 9)).map(|()| s))
        .and_then(|s| s.local_addr())
        .map_or(IpAddr::V4(Ipv4Addr::LOCALHOST), |a| a.ip());
    SocketAddr::new(outward, listening.port())
}

/// What is shown when devices have to pair with the page at `page`; with `codes`, also to be photographed.
pub fn links(page: &str, links: &PairingLinks, codes: bool) -> String {
    let mut text = String::new();
    for (whom, token) in [
        ("The coach's device (works once)", &links.coach),
        ("Viewers (look only; the link is good until peakorderd ends)", &links.viewer),
    ] {
        let link = format!("{page}/pair/{token}");
        let _ = writeln!(text, "{whom}:\n  {link}");
        // A link of this length always fits.
        if codes && let Ok(code) = QrCode::new(link.as_bytes()) {
            let _ = writeln!(text, "{}", code.render::<Dense1x2>().quiet_zone(true).build());
        }
    }
    text
}
