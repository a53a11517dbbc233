//! The description that is served is the one that the handlers make.

use expect_test::expect_file;
use peakorder_tests::programs::workspace;

/// `UPDATE_EXPECT=1 cargo test -p peakorder-tests --test api description` writes it anew.
#[test]
fn the_served_description_is_what_the_handlers_say() {
    let made = serde_json::to_string_pretty(&peakorder_daemon::serve::api::openapi()).expect("JSON");
    expect_file![workspace().join("daemon/src/serve/api/openapi.json")].assert_eq(&(made + "\n"));
}
