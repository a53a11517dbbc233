//! The description that is served is the one that the handlers make.

use peakorder_tests::programs::workspace;

/// `UPDATE_EXPECT=1 cargo test -p peakorder-tests --test api served_description` writes it anew.
#[test]
fn the_served_description_is_what_the_handlers_say() {
    let made = serde_json::to_string_pretty(&peakorder_daemon::serve::api::openapi()).expect("JSON") + "\n";
    let file = workspace().join("daemon/src/serve/api/openapi.json");
    if std::env::var_os("UPDATE_EXPECT").is_some() {
        std::fs::write(&file, &made).expect("the description is written");
    }
    let served = std::fs::read_to_string(&file).expect("the description is there");
    let first = made.lines().zip(served.lines()).position(|(made, served)| made != served);
    assert!(made == served, "line {:?} differs; UPDATE_EXPECT=1 writes it anew", first.map(|line| line + 1));
}
