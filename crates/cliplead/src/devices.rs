//! `cliplead devices list|watch`: what is attached, and bytes, readings and drops as they arrive. Does not diagnose;
//! `doctor` does.

use std::path::Path;
use std::time::Instant as Clock;

use anyhow::Context as _;
use link::{LinkEvent, Registry};
use quantity::{Instant, Reading};
use record::{plain, plain_lines};
use site::Device;
use wire::poll::{PollCounters, PollReason};
use wire::{Decoder, Item};

use crate::cli::{DevicesCommand, DevicesOptions, Format, WatchOptions};
use crate::config;
use crate::daemon;
use crate::learn;
use crate::links::{self, Stop};
use crate::output::{Exit, data, talk};
use crate::sys;

/// Runs the command.
///
/// # Errors
/// When the device, its file or its profile cannot be used.
pub(crate) fn run(options: &DevicesOptions) -> anyhow::Result<Exit> {
    match &options.command {
        DevicesCommand::List { scan, format } => list(scan.as_deref(), *format),
        DevicesCommand::Watch(watch) => {
            links::run(&daemon::registry(), async |registry, stop| follow(watch, registry, stop).await)
        }
        DevicesCommand::Doctor(doctor) => crate::doctor::run(doctor),
        DevicesCommand::Learn(options) => learn::run(options),
    }
}

#[derive(serde::Serialize)]
struct FoundJson {
    selector: Option<String>,
    description: String,
    hindrance: Option<String>,
}

/// Devices of this scheme that only a scan finds. A radio sends nothing unless this is requested.
fn scan(scheme: &str) -> anyhow::Result<Vec<link::Found>> {
    links::run(&daemon::registry(), async |registry, stop| {
        let Some(scan) = registry.named(scheme)?.scan() else {
            anyhow::bail!("{scheme}: needs no scan; `cliplead devices list` shows what is attached");
        };
        tokio::select! {
            biased;
            asked = stop.asked() => {
                asked?;
                anyhow::bail!("stopped; the scan was not over")
            }
            found = scan => Ok(found.unwrap_or_else(|absence| {
                talk(&format!("no Bluetooth scan: {absence}"));
                Vec::new()
            })),
        }
    })
}

fn list(scanned: Option<&str>, format: Format) -> anyhow::Result<Exit> {
    let registry = daemon::registry();
    let mut found = registry.list();
    if let Some(scheme) = scanned {
        found.extend(scan(scheme)?);
    }
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
                data(&plain(&format!("{selector:<60} {}", json.description)))?;
                if let Some(hindrance) = &json.hindrance {
                    data(&plain(&format!("    cannot be used now: {hindrance}")))?;
                }
            }
        }
    }
    // Typed values need nothing attached, so they do not count.
    if found.iter().all(is_manual) {
        for line in nothing_attached(&registry.schemes()) {
            talk(&line);
        }
    }
    if found.iter().all(|device| device.selector.is_none() || device.hindrance.is_some() || is_manual(device))
    {
        talk("If a meter is plugged in or switched on, `cliplead devices doctor` says what is in the way.");
    }
    Ok(Exit::Fine)
}

fn is_manual(device: &link::Found) -> bool {
    device.selector.as_ref().is_some_and(|name| name.scheme() == "manual")
}

/// What was searched, if nothing was found.
fn nothing_attached(schemes: &[&str]) -> Vec<String> {
    let mut lines = vec!["no meter is attached. Looked for:".to_owned()];
    for scheme in schemes {
        let note = match *scheme {
            "serial" => sys::SERIAL_LOOKED_FOR,
            "ble" | "ble+portable" => {
                "only with --scan, which listens for some seconds and switches no radio on"
            }
            "tcp" => "is never looked for; write tcp:HOST:PORT of your serial server",
            "file" => "is never looked for; write file:PATH of recorded bytes",
            "stdin" => "is whatever is piped in",
            "manual" => "values typed in by hand; needs no meter",
            _ => "none",
        };
        lines.push(format!("    {:<9} {note}", format!("{scheme}:")));
    }
    lines
}

/// The device by its name in the site's file, or by selector.
fn device(options: &WatchOptions) -> anyhow::Result<Device> {
    let mut device = match &options.config {
        Some(path) => {
            let site = config::read(path)?;
            let names: Vec<String> = site.devices.iter().map(|device| device.name.clone()).collect();
            site.devices.into_iter().find(|device| device.name == options.name).with_context(|| {
                format!("{} names no device {:?}; it has: {}", path.display(), options.name, names.join(", "))
            })?
        }
        None => {
            Device { name: options.name.clone(), selector: options.name.clone(), profile: None, typed: true }
        }
    };
    if let Some(profile) = &options.profile {
        device.profile = Some(config::profile(profile, Path::new("."))?);
    }
    Ok(device)
}

async fn follow(options: &WatchOptions, registry: &Registry, stop: &mut Stop) -> anyhow::Result<Exit> {
    let device = device(options)?;
    let profile = device.profile.as_ref().map(|(profile, _)| profile);
    let mut link = registry.open_as(&device.selector, &config::open_options(profile)?, profile)?;
    let is_file = link.selector().scheme() == "file";
    let mut decoder = profile.map(if is_file { Decoder::of_recorded_bytes } else { Decoder::new });
    let start = Clock::now();
    let mut left = options.count.unwrap_or(u64::MAX);
    while left > 0 {
        let event = tokio::select! {
            biased;
            asked = stop.asked() => {
                asked?;
                None
            }
            event = link.next() => event,
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
    if let Some(counters) = link.poll_counters() {
        talk(&asked(&counters));
    }
    if let Some(decoder) = &decoder {
        let counters = decoder.counters();
        talk(&format!(
            "{} readings from {} frames; {} drops of {} bytes",
            counters.readings,
            counters.frames,
            counters.faults(),
            counters.dropped_bytes
        ));
        if counters.missed > 0 {
            talk(&format!("{} frames never came, by the numbers of those that did", counters.missed));
        }
    }
    Ok(Exit::Fine)
}

/// The result of polling, with the reasons for failures.
fn asked(counters: &PollCounters) -> String {
    let mut text = format!(
        "asked {} times ({} markers), {} answers, {} faults",
        counters.requests,
        counters.markers,
        counters.answers,
        counters.faults()
    );
    for reason in PollReason::ALL {
        let times = counters.of(reason);
        if times > 0 {
            text.push_str(&format!("\n    {times} times: {}", reason.words()));
        }
    }
    text
}

/// Shows one event; returns the number of readings (or chunks, without a profile) in it.
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
            talk(&plain(&format!("{:>9.3} s  gap: {why}", at.seconds())));
            return Ok(0);
        }
        LinkEvent::State(state) => {
            talk(&plain(&format!("{:>9.3} s  {state}", at.seconds())));
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
    let mut items = Vec::new();
    decoder.bytes(at, &bytes, &mut |item| items.push(item));
    let mut lines = Vec::new();
    let mut readings = 0;
    let mut failed = false;
    for item in items {
        match item {
            Item::Reading(reading) => {
                readings += 1;
                let label = decoder.label(reading.channel);
                lines.push(match format {
                    Format::Json => record::senml_reading(name, label, &reading),
                    Format::Text => format!("{:>9.3} s  reading  {}", at.seconds(), worded(&reading, label)),
                });
            }
            Item::Fault(fault) => {
                failed |= fault.reason == wire::Reason::Script;
                lines.push(match format {
                    Format::Json => format!("{{\"t\":{},\"dropped\":{:?}}}", at.micros(), fault.to_string()),
                    Format::Text => plain(&format!("{:>9.3} s  dropped  {fault}", at.seconds())).into_owned(),
                });
            }
        }
    }
    if let (true, Some(error)) = (failed, decoder.script_error()) {
        lines.push(match format {
            Format::Json => format!("{{\"t\":{},\"script\":{:?}}}", at.micros(), error.to_string()),
            Format::Text => plain_lines(&format!("{:>9.3} s  script   {error}", at.seconds()), "    "),
        });
    }
    for line in lines {
        data(&line)?;
    }
    Ok(readings)
}

/// A reading with its label, if it has one.
fn worded(reading: &Reading, label: Option<&str>) -> String {
    let mut notes = Vec::new();
    if reading.channel != 0 || label.is_some() {
        notes.push(format!("channel {}", reading.channel));
    }
    notes.extend(label.map(str::to_owned));
    if !reading.flags.is_live() {
        notes.push("not live".to_owned());
    }
    if notes.is_empty() { reading.to_string() } else { format!("{reading}  ({})", notes.join(", ")) }
}

/// Printable bytes as they are, others as escapes.
fn escaped(bytes: &[u8]) -> String {
    bytes.iter().flat_map(|byte| std::ascii::escape_default(*byte)).map(char::from).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_empty_place_says_what_was_looked_for() {
        let schemes = daemon::registry().schemes();
        let lines = nothing_attached(&schemes);
        assert_eq!(lines.len(), schemes.len() + 1);
        for scheme in schemes {
            let mark = format!("{scheme}:");
            let note = lines.iter().find_map(|line| line.trim_start().strip_prefix(&mark)).map(str::trim);
            assert!(
                note.is_some_and(|note| note != "none"),
                "{scheme} has no sentence of its own: {lines:?}"
            );
        }
    }
}
