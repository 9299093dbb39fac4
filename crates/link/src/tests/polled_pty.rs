//! A hostile Modbus device on a real pseudo-terminal: late beyond the time-out, doubled, damaged, cut short, from another
//! unit, byte by byte. The same in virtual time, many thousand times: `wire`, `poll::tests::hostile`.

use std::os::unix::fs::symlink;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio_serial::{SerialPort as _, SerialStream};
use wire::{Decoder, Item, Profile};

use crate::tests::polled::crc;
use crate::tests::{TestDir, next};
use crate::{
    LinkEvent, LinkState, OpenOptions, Registry, SerialAdapter, TcpAdapter, Traced, TracedAdapter,
    Unavailable,
};

/// Three registers, each in a read of its own, all of one form.
fn profile() -> Profile {
    let channel = |number: u8| {
        format!(
            "[[decode.channel]]\nnumber = {number}\nentity = \"holding\"\naddress = {}\ntype = \"u16\"\nunit = \"1\"\n\
             exponent = 0\n",
            10 * number
        )
    };
    let text = format!(
        "profile = 1\nid = \"hostile\"\n[link]\nkind = \"serial\"\nbaud = 115200\n[poll]\nkind = \"modbus\"\nunit = 1\n\
         poll_ms = 20\ntimeout_ms = 30\n[decode]\nkind = \"registers\"\n{}{}{}",
        channel(0),
        channel(1),
        channel(2)
    );
    Profile::parse(&text).unwrap_or_else(|error| panic!("{error}"))
}

fn sealed(mut frame: Vec<u8>) -> Vec<u8> {
    frame.extend(crc(&frame).to_le_bytes());
    frame
}

/// Answers in order. A register holds the number of the read, from 1.
async fn misbehave(mut line: SerialStream) {
    let mut state = 1_u32;
    let mut percent = move || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 16) % 100
    };
    let mut held: Vec<u8> = Vec::new();
    let mut reads = 0_u16;
    let mut buffer = [0_u8; 256];
    while let Ok(n) = line.read(&mut buffer).await {
        held.extend_from_slice(&buffer[..n]);
        while held.len() >= 8 {
            let request: Vec<u8> = held.drain(..8).collect();
            let mut answer = if request[1] == 8 {
                request
            } else {
                reads += 1;
                let [high, low] = reads.to_be_bytes();
                sealed(vec![1, 3, 2, high, low])
            };
            match percent() {
                // tidy: allow-sleep the device is late on a real line; no check depends on how late
                0..20 => tokio::time::sleep(Duration::from_millis(u64::from(35 + percent()))).await,
                20..24 => answer[3] ^= 0x10,
                24..27 => answer.truncate(4),
                27..30 => {
                    answer[0] = 2;
                    answer.truncate(answer.len() - 2);
                    answer = sealed(answer);
                }
                30..33 => continue,
                33..40 => answer = answer.repeat(2),
                40..60 => {
                    for byte in &answer[..answer.len() - 1] {
                        line.write_all(&[*byte]).await.unwrap();
                        tokio::task::yield_now().await;
                    }
                    answer = vec![answer[answer.len() - 1]];
                }
                _ => {}
            }
            line.write_all(&answer).await.unwrap();
        }
    }
}

#[tokio::test]
async fn no_wrong_value_on_a_real_terminal() {
    let dir = TestDir::new();
    let (near, far) = SerialStream::pair().unwrap();
    symlink(far.name().unwrap(), dir.join("meter")).unwrap();
    let device = tokio::spawn(misbehave(near));
    // Addresses of the reads, in the order in which they were sent.
    let asked: Arc<Mutex<Vec<u8>>> = Arc::default();
    let seen = Arc::clone(&asked);
    let adapter = TracedAdapter::new(SerialAdapter::new(), move |_, traced| {
        if let Traced::Out([_, 3, _, address, ..]) = traced {
            seen.lock().unwrap().push(*address);
        }
    });
    let profile = profile();
    let selector = format!("serial:{}", dir.join("meter").display());
    let options = OpenOptions { line: "115200 8N1".parse().unwrap(), ..OpenOptions::default() };
    let mut link = Registry::new().with(adapter).open_as(&selector, &options, Some(&profile)).unwrap();
    let mut decoder = Decoder::new(&profile);
    let mut readings: Vec<(u8, usize)> = Vec::new();
    while readings.len() < 60 {
        let LinkEvent::Bytes(bytes) = next(&mut *link).await else { continue };
        decoder.bytes(quantity::Instant::ZERO, &bytes, &mut |item| match item {
            Item::Reading(reading) => {
                let quantity::State::Value(number) = reading.state else { panic!("{reading}") };
                readings.push((reading.channel, usize::try_from(number.mantissa()).unwrap()));
            }
            Item::Fault(fault) => panic!("a packet that does not decode: {fault}"),
        });
    }
    let asked = asked.lock().unwrap();
    for (channel, number) in &readings {
        assert_eq!(asked[number - 1], 10 * channel, "read {number} was of another register");
    }
    assert!(
        readings.windows(2).all(|pair| pair[0].1 < pair[1].1),
        "each read is answered once: {readings:?}"
    );
    let counters = link.poll_counters().unwrap();
    println!("{counters:?}");
    assert!(counters.faults() > 10, "{counters:?}");
    drop(far);
    device.abort();
}

/// A device that gives no answer: what is to be looked at is what there is. A network has no parity and no wires of ours.
#[tokio::test]
async fn what_mends_a_mute_device_fits_its_line() {
    let dir = TestDir::new();
    let (_near, far) = SerialStream::pair().unwrap();
    symlink(far.name().unwrap(), dir.join("meter")).unwrap();
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let registry = Registry::new().with(SerialAdapter::new()).with(TcpAdapter::new());
    let places = [
        (format!("serial:{}", dir.join("meter").display()), true),
        (format!("tcp:{}", listener.local_addr().unwrap()), false),
    ];
    for (selector, want) in places {
        let options = OpenOptions { silence: Some(Duration::from_millis(100)), ..OpenOptions::default() };
        let mut link = registry.open_as(&selector, &options, Some(&profile())).unwrap();
        let absence = loop {
            if let LinkEvent::State(LinkState::Absent(absence @ Unavailable::Mute { .. })) =
                next(&mut *link).await
            {
                break absence;
            }
        };
        assert!(
            matches!(absence, Unavailable::Mute { serial, .. } if serial == want),
            "{selector}: {absence}"
        );
        let words = absence.to_string();
        assert_eq!(words.contains("parity") && words.contains("wires"), want, "{words}");
        assert_eq!(words.contains("the line settings of that server"), !want, "{words}");
    }
}
