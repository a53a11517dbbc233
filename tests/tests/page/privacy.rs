//! Consent with its date, its withdrawal, and forgetting a player.

use crate::access::{axe, findings};
use crate::common::{SOON, address};
use peakorder_tests::browser::{Browser, TABLET};
use peakorder_tests::test_server::TestServer;
use serde_json::json;

#[test]
fn consent_is_withdrawn_and_a_player_forgotten_by_name() {
    let Some(browser) = Browser::open(TABLET) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let server = TestServer::virtual_lessons(home.path(), "max");
    let session = server.whole_lesson("Invented Player");
    server.player("Somebody Else");
    let folder = home.path().join("sessions").join(&session);
    assert!(folder.is_dir());
    browser.goto(&address(&server, "lesson"));
    browser.sees("Whose lesson?", SOON);
    browser.run("[...document.querySelectorAll('.people .choice')].find((b) => b.innerText === 'Invented Player').click(); return true");
    browser.sees("agreed to on", SOON);

    browser.tap("[data-key=withdraw]");
    browser.sees("agreement withdrawn on", SOON);
    browser.sees("what was recorded stays until you forget the player", SOON);
    assert_eq!(browser.run("return document.querySelector('[data-key=start]').disabled"), json!(true));
    assert!(folder.is_dir(), "what was recorded stays");

    browser.tap("[data-key=forget-player]");
    browser.sees("Forget Invented Player?", SOON);
    browser.sees("The card and 1 lesson go for good", SOON);
    browser.sees("backups", SOON);
    if let Some(axe) = axe() {
        assert_eq!(findings(&browser, &axe), Vec::<String>::new());
    }
    let disabled = || browser.run("return document.querySelector('[data-key=forget-now]').disabled");
    assert_eq!(disabled(), json!(true), "nothing goes before the name is typed");
    browser.type_into("#forget-name", "Invented");
    assert_eq!(disabled(), json!(true));
    browser.type_into("#forget-name", "Invented Player");
    browser.until(
        "the name to be taken",
        "return document.querySelector('[data-key=forget-now]').disabled === false",
        SOON,
    );
    browser.tap("[data-key=forget-now]");
    browser.until("the dialog to close", "return document.querySelector('dialog') === null", SOON);
    let gone = "return !document.querySelector('.people').innerText.includes('Invented Player')";
    browser.until("the player to be gone", gone, SOON);
    assert!(!folder.exists());
    assert_eq!(server.get("/api/v1/players").expect(200)[0]["name"], "Somebody Else");
}
