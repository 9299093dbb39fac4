//! `cliplead devices list|watch`: what is attached, and bytes, readings and drops as they come.

use std::path::Path;
use std::time::Instant as Clock;

use anyhow::Context as _;
use link::LinkEvent;
use quantity::Instant;
use wire::{Decoder, Item};

use crate::cli::{DevicesCommand, DevicesOptions, Format, WatchOptions};
use crate::config::{self, DeviceConfig};
use crate::daemon;
use crate::learn;
use crate::output::{Exit, data, talk};

/// Runs the command.
///
/// # Errors
/// When the device, its file or its profile cannot be used.
pub(crate) fn run(options: &DevicesOptions) -> anyhow::Result<Exit> {
    match &options.command {
        DevicesCommand::List { format } => list(*format),
        DevicesCommand::Watch(watch) => {
            let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
            runtime.block_on(follow(watch))
        }
        DevicesCommand::Learn(options) => learn::run(options),
    }
}

#[derive(serde::Serialize)]
struct FoundJson {
    selector: Option<String>,
    description: String,
    hindrance: Option<String>,
}

fn list(format: Format) -> anyhow::Result<Exit> {
    let registry = daemon::registry();
    let found = registry.list();
    for device in &found {
        let json = FoundJson {
            selector: device.selector.as_ref().map(ToString::to_string),
            description: device.description.clone(),
            hindrance: device.hindrance.as_ref().map(ToString::to_string),
        };
        match format {
            Format::Json => data(&record::to_line(&json))?,
            Format::Text => {
                let selector = json.selector.as_deref().unwrap_or("(no name that stays the same)");
                data(&format!("{selector:<60} {}", json.description))?;
                if let Some(hindrance) = &json.hindrance {
                    data(&format!("    cannot be used now: {hindrance}"))?;
                }
            }
        }
    }
    if found.is_empty() {
        talk("nothing is attached. Kinds of devices this build can open:");
        for scheme in registry.schemes() {
            talk(&format!("    {scheme}:"));
        }
    }
    Ok(Exit::Fine)
}

/// The device by its name in the site's file, or by selector.
fn device(options: &WatchOptions) -> anyhow::Result<DeviceConfig> {
    let mut device = match &options.config {
        Some(path) => {
            let config = config::read(path)?;
            let names: Vec<String> = config.devices.iter().map(|device| device.name.clone()).collect();
            config.devices.into_iter().find(|device| device.name == options.name).with_context(|| {
                format!("{} names no device {:?}; it has: {}", path.display(), options.name, names.join(", "))
            })?
        }
        None => DeviceConfig {
            name: options.name.clone(),
            selector: options.name.clone(),
            profile: None,
            typed: true,
        },
    };
    if let Some(profile) = &options.profile {
        device.profile = Some(config::profile(profile, Path::new("."))?);
    }
    Ok(device)
}

async fn follow(options: &WatchOptions) -> anyhow::Result<Exit> {
    let device = device(options)?;
    let profile = device.profile.as_ref().map(|(profile, _)| profile);
    let registry = daemon::registry();
    let mut link = registry.open(&device.selector, &config::open_options(profile)?)?;
    let mut decoder = profile.map(Decoder::new);
    let start = Clock::now();
    let mut left = options.count.unwrap_or(u64::MAX);
    while left > 0 {
        let event = tokio::select! {
            event = link.next() => event,
            asked = daemon::stop_asked() => {
                asked?;
                None
            }
        };
        let Some(event) = event else { break };
        let us = i64::try_from(start.elapsed().as_micros()).unwrap_or(i64::MAX);
        left = left.saturating_sub(show(
            event,
            decoder.as_mut(),
            Instant::from_micros(us),
            &device.name,
            options.format,
        )?);
    }
    let counters = link.counters();
    talk(&format!(
        "{} bytes received, {} dropped, {} gaps",
        counters.received_bytes, counters.dropped_bytes, counters.gaps
    ));
    if let Some(decoder) = &decoder {
        let counters = decoder.counters();
        talk(&format!(
            "{} readings from {} frames; {} drops of {} bytes",
            counters.readings,
            counters.frames,
            counters.faults(),
            counters.dropped_bytes
        ));
    }
    Ok(Exit::Fine)
}

/// Shows one event; gives how many readings (or chunks, without a profile) it held.
fn show(
    event: LinkEvent,
    decoder: Option<&mut Decoder>,
    at: Instant,
    name: &str,
    format: Format,
) -> anyhow::Result<u64> {
    let bytes = match event {
        LinkEvent::Bytes(bytes) => bytes,
        LinkEvent::Gap(why) => {
            if let Some(decoder) = decoder {
                decoder.gap(at);
            }
            talk(&format!("{:>9.3} s  gap: {why}", at.seconds()));
            return Ok(0);
        }
        LinkEvent::State(state) => {
            talk(&format!("{:>9.3} s  {state}", at.seconds()));
            return Ok(0);
        }
        _ => return Ok(0),
    };
    if format == Format::Text {
        data(&format!("{:>9.3} s  bytes    {}", at.seconds(), escaped(&bytes)))?;
    }
    let Some(decoder) = decoder else {
        if format == Format::Json {
            data(&record::to_line(&record::LineEvent::bytes(at.micros(), name, &bytes)))?;
        }
        return Ok(1);
    };
    let mut lines = Vec::new();
    let mut readings = 0;
    decoder.bytes(at, &bytes, &mut |item| match item {
        Item::Reading(reading) => {
            readings += 1;
            lines.push(match format {
                Format::Json => record::senml_reading(name, &reading),
                Format::Text => {
                    let held = if reading.flags.is_live() { "" } else { "  (not live)" };
                    format!("{:>9.3} s  reading  {reading}{held}", at.seconds())
                }
            });
        }
        Item::Fault(fault) => lines.push(match format {
            Format::Json => format!("{{\"t\":{},\"dropped\":{:?}}}", at.micros(), fault.to_string()),
            Format::Text => format!("{:>9.3} s  dropped  {fault}", at.seconds()),
        }),
    });
    for line in lines {
        data(&line)?;
    }
    Ok(readings)
}

/// Printable bytes as they are, others as escapes.
fn escaped(bytes: &[u8]) -> String {
    bytes.iter().flat_map(|byte| std::ascii::escape_default(*byte)).map(char::from).collect()
}
