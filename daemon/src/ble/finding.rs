//! Which straps are on the air.

use super::radio::{Advert, Radio, RadioError, advert};
use super::setup::Setup;
use crate::config::same_id;
use btleplug::platform::Peripheral;
use peakorder_protocol::Role;
use serde::Serialize;
use std::collections::BTreeMap;
use std::time::Duration;

/// One device that was heard.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "openapi", schema(as = FoundStrap))]
pub struct Heard {
    /// Address; on macOS the id that the system gives.
    pub id: String,
    /// Name as advertised; may be empty.
    pub name: String,
    /// Signal strength, dBm.
    pub rssi_dbm: Option<i16>,
    /// Id of the profile that it fits; absent if it fits none.
    pub profile: Option<String>,
    /// Battery level, percent, where it is advertised.
    pub battery_percent: Option<u8>,
    /// Where it is worn, if it has its place already.
    pub worn_on: Option<Role>,
}

/// What is heard, by id.
pub type AllHeard = BTreeMap<String, (Heard, Peripheral)>;

impl Heard {
    fn of(advert: Advert, setup: &Setup) -> Self {
        let profile = setup.profiles.fitting(&advert).map(|s| s.profile.id().to_owned());
        let worn_on = setup.config.straps.iter().find(|(_, s)| same_id(&s.id, &advert.id)).map(|(r, _)| *r);
        Self {
            profile,
            worn_on,
            id: advert.id,
            name: advert.name,
            rssi_dbm: advert.rssi_dbm,
            battery_percent: advert.battery_percent,
        }
    }
}

/// Listens for `length` or until `stop`; `changed` is told after every look, with what is new in it.
pub async fn listen(
    radio: &Radio,
    setup: &Setup,
    length: Duration,
    stop: impl Future<Output = ()>,
    mut changed: impl FnMut(&AllHeard, &[Heard]),
) -> Result<AllHeard, RadioError> {
    radio.start_scan().await?;
    let mut all = AllHeard::new();
    let mut look = tokio::time::interval(Duration::from_millis(400));
    let end = tokio::time::sleep(length);
    tokio::pin!(end, stop);
    loop {
        tokio::select! {
            () = &mut end => break,
            () = &mut stop => break,
            _ = look.tick() => {}
        }
        let mut news = Vec::new();
        for peripheral in radio.known().await.unwrap_or_default() {
            let Some(advert) = advert(&peripheral).await else { continue };
            // Without a signal strength it is remembered, not heard.
            if advert.rssi_dbm.is_none() {
                continue;
            }
            let heard = Heard::of(advert, setup);
            let same = |a: &Heard| {
                Heard { rssi_dbm: None, ..a.clone() } == Heard { rssi_dbm: None, ..heard.clone() }
            };
            if !all.get(&heard.id).is_some_and(|(before, _)| same(before)) {
                news.push(heard.clone());
            }
            all.insert(heard.id.clone(), (heard, peripheral));
        }
        changed(&all, &news);
    }
    radio.stop_scan().await;
    Ok(all)
}
