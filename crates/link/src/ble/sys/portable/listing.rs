//! Compares what the library shows of a device with the system's own list: the characteristics in handle order, and
//! those that must be withheld because the library shows one of several. Pure; asks nothing.

use std::collections::{BTreeMap, BTreeSet};

use wire::gatt::Uuid;
use wire::gatt::packet::INSTANCE_UNKNOWN;

use super::super::library::api::{CharPropFlags, Characteristic, Service};
use super::attribute::{Attribute, Attributes, SystemCharacteristic};
use super::handle_order::READS_THEM_APART;
use crate::ble::central::{Characteristics, ListedCharacteristic};

/// The key of the characteristic with these UUIDs.
pub(super) fn key_of(parts: &Attributes, service: Uuid, uuid: Uuid) -> Option<String> {
    let is = |part: &Attribute| part.descriptor.is_none() && pair(&part.characteristic) == (service, uuid);
    parts.iter().find(|(_, part)| is(part)).map(|(key, _)| key.clone())
}

fn pair(of: &Characteristic) -> (Uuid, Uuid) {
    (Uuid(*of.service_uuid.as_bytes()), Uuid(*of.uuid.as_bytes()))
}

/// The characteristics and their attributes. `order`: the system's list by handle; `None`: the system cannot be
/// asked, so nobody knows whether what is shown is one of several.
pub(super) fn characteristics(
    services: &BTreeSet<Service>,
    order: Option<&[SystemCharacteristic]>,
) -> (Characteristics, Attributes) {
    let shown: BTreeMap<(Uuid, Uuid), &Characteristic> =
        services.iter().flat_map(|service| &service.characteristics).map(|c| (pair(c), c)).collect();
    let (mut characteristics, mut parts) = (Characteristics::default(), Attributes::new());
    let Some(order) = order else {
        for (place, characteristic) in shown.into_values().enumerate() {
            characteristics.listed.push(listed(place, characteristic, INSTANCE_UNKNOWN, &mut parts));
        }
        return (characteristics, parts);
    };
    let mut told = BTreeSet::new();
    for (place, ordered) in order.iter().enumerate() {
        let SystemCharacteristic { service, uuid, formats } = *ordered;
        let several = order.iter().filter(|other| (other.service, other.uuid) == (service, uuid)).count();
        let characteristic = shown.get(&(service, uuid)).copied();
        let why = match characteristic {
            _ if several > 1 => format!("it has {several} of them, and this way shows one and not which"),
            Some(_) if formats > 1 => {
                format!("{formats} formats describe it, and this way shows one of them")
            }
            None => "this way does not show it".to_owned(),
            Some(characteristic) => {
                characteristics.listed.push(listed(place, characteristic, 1, &mut parts));
                continue;
            }
        };
        // Nobody misses the values of what never gives any.
        let gives = characteristic.is_none_or(|shown| sends(shown) || reads(shown));
        if gives && told.insert((service, uuid)) {
            characteristics.withheld.push(format!(
                "characteristic {uuid} of service {service} is not read: {why}; {READS_THEM_APART}"
            ));
        }
    }
    (characteristics, parts)
}

fn sends(characteristic: &Characteristic) -> bool {
    characteristic.properties.intersects(CharPropFlags::NOTIFY | CharPropFlags::INDICATE)
}

fn reads(characteristic: &Characteristic) -> bool {
    characteristic.properties.contains(CharPropFlags::READ)
}

fn listed(
    place: usize,
    characteristic: &Characteristic,
    instance: u8,
    parts: &mut Attributes,
) -> ListedCharacteristic {
    let key = format!("{place:03}");
    let mut part = |key: &str, descriptor| {
        parts.insert(key.to_owned(), Attribute { characteristic: characteristic.clone(), descriptor });
    };
    part(&key, None);
    let mut descriptors = Vec::new();
    for descriptor in &characteristic.descriptors {
        let Some(kind) = Uuid(*descriptor.uuid.as_bytes()).short() else { continue };
        let own = format!("{key}/{kind:04x}");
        part(&own, Some(descriptor.clone()));
        descriptors.push((kind, own));
    }
    let (service, uuid) = pair(characteristic);
    ListedCharacteristic {
        key,
        place,
        service,
        uuid,
        instance,
        sends: sends(characteristic),
        readable: reads(characteristic),
        descriptors,
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::library::api::Descriptor;
    use super::*;

    fn short(uuid: u16) -> Uuid {
        Uuid::from_short(uuid)
    }

    /// One service of these characteristics, each with a label.
    fn service(uuid: u16, characteristics: &[u16]) -> Service {
        let foreign = |uuid: u16| {
            let text = format!("{uuid:08x}-0000-1000-8000-00805f9b34fb");
            text.parse().unwrap()
        };
        let one = |characteristic: &u16| Characteristic {
            uuid: foreign(*characteristic),
            service_uuid: foreign(uuid),
            properties: CharPropFlags::NOTIFY | CharPropFlags::READ,
            descriptors: BTreeSet::from([Descriptor {
                uuid: foreign(0x2901),
                service_uuid: foreign(uuid),
                characteristic_uuid: foreign(*characteristic),
            }]),
        };
        Service {
            uuid: foreign(uuid),
            primary: true,
            characteristics: characteristics.iter().map(one).collect(),
        }
    }

    fn order(of: &[(u16, u16, usize)]) -> Vec<SystemCharacteristic> {
        of.iter()
            .map(|(service, uuid, formats)| SystemCharacteristic {
                service: short(*service),
                uuid: short(*uuid),
                formats: *formats,
            })
            .collect()
    }

    fn places(characteristics: &Characteristics) -> Vec<(usize, Option<u16>, u8)> {
        characteristics
            .listed
            .iter()
            .map(|listed| (listed.place, listed.uuid.short(), listed.instance))
            .collect()
    }

    #[test]
    fn what_is_listed_keeps_the_place_of_its_handle() {
        let services = BTreeSet::from([service(0x181A, &[0x2A6F, 0x2A6E]), service(0x180F, &[0x2A19])]);
        let order = order(&[(0x181A, 0x2A6F, 0), (0x181A, 0x2A6E, 1), (0x180F, 0x2A19, 0)]);
        let (characteristics, parts) = characteristics(&services, Some(&order));
        assert_eq!(
            places(&characteristics),
            [(0, Some(0x2A6F), 1), (1, Some(0x2A6E), 1), (2, Some(0x2A19), 1)]
        );
        assert_eq!(characteristics.withheld, Vec::<String>::new());
        assert_eq!(key_of(&parts, short(0x181A), short(0x2A6E)).as_deref(), Some("001"));
        assert_eq!(key_of(&parts, short(0x180F), short(0x2A6E)), None);
        assert_eq!(characteristics.listed[1].descriptors, [(0x2901, "001/2901".to_owned())]);
        assert_eq!(
            parts["001/2901"].descriptor.as_ref().map(|d| Uuid(*d.uuid.as_bytes())),
            Some(short(0x2901))
        );
    }

    /// Twins in one service; a second service with the UUID of the first; several formats of one value.
    #[test]
    fn what_the_library_shows_one_of_is_withheld_and_said_once() {
        let shown = BTreeSet::from([service(0x181A, &[0x2A6E, 0x2A6F, 0x2A6D])]);
        for (of, listed, words) in [
            (
                vec![(0x181A, 0x2A6E, 0), (0x181A, 0x2A6E, 0), (0x181A, 0x2A6F, 0), (0x181A, 0x2A6D, 0)],
                vec![(2, Some(0x2A6F), 1), (3, Some(0x2A6D), 1)],
                "characteristic 0x2A6E of service 0x181A is not read: it has 2 of them",
            ),
            (
                vec![(0x181A, 0x2A6E, 2), (0x181A, 0x2A6F, 1), (0x181A, 0x2A6D, 0)],
                vec![(1, Some(0x2A6F), 1), (2, Some(0x2A6D), 1)],
                "2 formats describe it",
            ),
            (
                vec![(0x181A, 0x2A70, 0), (0x181A, 0x2A6E, 0), (0x181A, 0x2A6F, 0), (0x181A, 0x2A6D, 0)],
                vec![(1, Some(0x2A6E), 1), (2, Some(0x2A6F), 1), (3, Some(0x2A6D), 1)],
                "characteristic 0x2A70 of service 0x181A is not read: this way does not show it",
            ),
        ] {
            let (characteristics, _) = characteristics(&shown, Some(&order(&of)));
            assert_eq!(places(&characteristics), listed);
            assert_eq!(characteristics.withheld.len(), 1, "{:?}", characteristics.withheld);
            assert!(characteristics.withheld[0].contains(words), "{:?}", characteristics.withheld);
            assert!(characteristics.withheld[0].ends_with(READS_THEM_APART));
        }
    }

    /// A system that cannot be asked: no claim about which of several it is.
    #[test]
    fn without_an_order_no_instance_is_claimed() {
        let services = BTreeSet::from([service(0x181A, &[0x2A6F, 0x2A6E])]);
        let (characteristics, _) = characteristics(&services, None);
        assert_eq!(
            places(&characteristics),
            [(0, Some(0x2A6E), INSTANCE_UNKNOWN), (1, Some(0x2A6F), INSTANCE_UNKNOWN)]
        );
    }
}
