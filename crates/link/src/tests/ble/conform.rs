//! The adapter contract, with a bus and a service of our own as the device.

use super::fake::Fake;
use super::*;
use crate::conformance::{Fixture, verify};

struct BleFixture(both::Tested, std::sync::Arc<Fake>);

/// Three values; each makes one packet.
const VALUES: [[u8; 2]; 3] = [[0x65, 0x08], [0x66, 0x08], [0xCE, 0xFF]];

impl Fixture for BleFixture {
    fn adapter(&self) -> &dyn Adapter {
        &self.0
    }
    fn selector(&self) -> String {
        format!("ble:{FIRST}")
    }
    fn sample(&self) -> Vec<u8> {
        let packet = |value: &[u8; 2]| {
            let message = wire::gatt::packet::Message {
                service: wire::gatt::Uuid::from_short(0x181A),
                characteristic: wire::gatt::Uuid::from_short(0x2A6E),
                instance: 1,
                presentations: vec![],
                label: Some(b"supply air"),
                range: None,
                value,
            };
            wire::packet::wrap(wire::packet::PacketKind::Gatt, 0, &message.write().unwrap()).unwrap()
        };
        VALUES.iter().flat_map(packet).collect()
    }
    fn feed(&mut self, _sample: &[u8]) {
        let (fake, path) = (std::sync::Arc::clone(&self.1), meter(FIRST).part_path(0));
        tokio::spawn(async move {
            fake.until(|world| world.subscribed(&path)).await;
            for value in VALUES {
                assert!(fake.notify(&path, value.to_vec()).await);
            }
        });
    }
    fn lose(&mut self) -> bool {
        let fake = std::sync::Arc::clone(&self.1);
        tokio::spawn(async move { fake.disconnect(0).await });
        true
    }
}

#[tokio::test]
async fn ble() {
    let device = Device { parts: vec![part(0x2A6E, &["notify"], "supply air")], ..meter(FIRST) };
    let fake = std::sync::Arc::new(Fake::new(vec![device]));
    // The task that takes connections is there before the contract's count of tasks.
    fake.until(|world| world.radio).await;
    verify(&mut BleFixture(adapter(&fake), fake)).await.unwrap();
}
