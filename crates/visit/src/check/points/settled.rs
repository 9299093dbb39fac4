//! A point that has its value: from the settler, typed, or an open circuit, with the settler that goes on with the leads.
//! Does not judge the value, nor say when it is taken.

use alloc::boxed::Box;
use alloc::format;
use alloc::string::ToString;

use quantity::{Decimal, Instant, Quantity};

use super::after::After;
use super::settling::SettlingPoint;
use super::since::Since;
use crate::verdict::{Drift, PointReading};
use judge::evaluate::Input;
use judge::rule::Point;
use judge::settle::Settled;

/// A settled point.
#[derive(Clone, Debug)]
pub(crate) struct SettledPoint {
    /// Value and uncertainty in the rule's unit.
    pub(crate) input: Input,
    /// As stored with the verdict.
    pub(crate) reading: PointReading,
    /// The newest time at which the leads still showed it; the time of typing for a typed value.
    pub(crate) until: Instant,
    /// The channel of the device; 0 for a typed value.
    pub(crate) channel: u8,
    /// The digits, when a person typed them.
    pub(crate) typed: Option<Decimal>,
    /// Whether they are all that the display showed.
    pub(crate) left_out: LeftOut,
    /// Goes on with the leads after settling.
    pub(crate) after: Option<Box<After>>,
    /// What was seen since the word.
    pub(crate) since: Since,
}

/// Whether a person typed fewer digits than the display showed.
#[derive(Clone, Debug)]
pub(crate) enum LeftOut {
    /// No, or nothing was typed.
    No,
    /// The display's step is not known, and the counts of the meter's accuracy are taken at the last digit typed.
    Perhaps,
    /// The meter shows finer steps here; this is the value with zeros for the digits that were left out.
    Digits(Box<AsShown>),
}

/// A typed value as the display would have shown it, had the digits left out been zeros.
#[derive(Clone, Debug)]
pub(crate) struct AsShown {
    pub(crate) digits: Decimal,
    /// The step of the display, in the unit typed.
    pub(crate) step: f64,
    pub(crate) input: Input,
    pub(crate) quantity: Quantity,
}

impl SettledPoint {
    /// The point as settled. A value that is not at rest carries its interval in its uncertainty, evenly spread (JCGM 100,
    /// 4.3.7), so that value and uncertainty say nothing that is not known; what the word rests on is the interval.
    pub(crate) fn of_settled(
        settling: &SettlingPoint,
        point: &Point,
        settled: &Settled,
        at: Instant,
    ) -> Option<Self> {
        let mut done =
            Self::of_display(settling, point, settled.value, settled.standard_uncertainty, settled.n, at)?;
        let spread = settled.half_width / libm::sqrt(3.0);
        let u = libm::hypot(done.input.standard_uncertainty, spread);
        let shown = |value: f64| point.display.unit.convert(value, settling.display.unit).ok();
        let bounds = (shown(settled.low)?, shown(settled.high)?);
        done.reading.quantity =
            Quantity::new(settled.value, u, point.display.unit).ok()?.to_unit(settling.display.unit).ok()?;
        done.reading.settled = settled.at_rest;
        done.reading.drift = settled.drift_per_s.zip(point.drift.as_ref()).and_then(|(rate, drift)| {
            let per_minute = point.display.unit.convert_span(60.0 * rate, settling.display.unit).ok()?;
            Some(Drift { name: drift.name.clone(), per_minute })
        });
        done.reading.at_least = Some(bounds.0.min(bounds.1));
        done.reading.at_most = Some(bounds.0.max(bounds.1));
        Some(done)
    }

    /// The settled point in the rule's unit, with instrument and repeatability uncertainty combined.
    pub(crate) fn of_display(
        settling: &SettlingPoint,
        point: &Point,
        value: f64,
        type_a: f64,
        count: u32,
        at: Instant,
    ) -> Option<Self> {
        let u = libm::hypot(settling.instrument_uncertainty(value, point.display.unit)?, type_a);
        let shown = settling.last_shown?;
        let displayed =
            Quantity::new(value, u, point.display.unit).ok()?.to_unit(settling.display.unit).ok()?;
        Some(Self {
            input: Input { value, standard_uncertainty: u },
            reading: PointReading {
                point: point.name.clone(),
                label: point.label.clone(),
                device: settling.from.device.clone(),
                quantity: displayed,
                shown,
                open: false,
                display: settling.display,
                accuracy_known: settling.accuracy.is_some(),
                count,
                settled: true,
                at_least: None,
                at_most: None,
                drift: None,
                at,
            },
            until: at,
            channel: settling.from.channel,
            typed: None,
            left_out: LeftOut::No,
            after: Some(Box::new(After::new(settling.clone()))),
            since: Since::default(),
        })
    }

    /// Whether its value comes from this channel of this device.
    pub(crate) fn is_from(&self, device: &str, channel: u8) -> bool {
        self.channel == channel && self.reading.device == device
    }

    /// The settler that watches whether the leads still show the value; `None` once they do not.
    pub(crate) fn watch(&self) -> Option<&SettlingPoint> {
        self.after.as_ref()?.watch()
    }

    /// The leads show the value no longer.
    pub(crate) fn ends_watch(&mut self) {
        self.after.iter_mut().for_each(|after| after.ends_watch());
        self.after = self.after.take().filter(|after| !after.is_over());
    }

    /// The contact is over.
    pub(crate) fn ends_follow(&mut self) {
        self.after.iter_mut().for_each(|after| after.ends_follow());
        self.after = self.after.take().filter(|after| !after.is_over());
    }

    /// The digits that were left out are zeros: the display showed the value as far as its own step.
    pub(crate) fn take_as_shown(&mut self) {
        let LeftOut::Digits(as_shown) = core::mem::replace(&mut self.left_out, LeftOut::No) else { return };
        self.input = as_shown.input;
        self.typed = Some(as_shown.digits);
        self.reading.shown = as_shown.digits;
        self.reading.quantity = as_shown.quantity;
    }

    /// The value with zeros for the digits that a person left out, if any.
    pub(crate) fn as_shown(&self) -> Option<&AsShown> {
        match &self.left_out {
            LeftOut::Digits(as_shown) => Some(as_shown),
            LeftOut::No | LeftOut::Perhaps => None,
        }
    }
}

/// The settled point of an open circuit; `None` where the rule has no use for one.
pub(crate) fn open_point(point: &Point, device: &str, at: Instant) -> Option<SettledPoint> {
    let value = point.open_counts_as?;
    let shown = Decimal::parse(&format!("{value}")).ok()?;
    let reading = PointReading {
        point: point.name.clone(),
        label: point.label.clone(),
        device: device.to_string(),
        quantity: Quantity::exact(value, point.display.unit).ok()?,
        shown,
        open: true,
        display: point.display,
        accuracy_known: true,
        count: 1,
        settled: true,
        at_least: None,
        at_most: None,
        drift: None,
        at,
    };
    let input = Input { value, standard_uncertainty: 0.0 };
    let (typed, left_out) = (None, LeftOut::No);
    Some(SettledPoint {
        input,
        reading,
        until: at,
        channel: 0,
        typed,
        left_out,
        after: None,
        since: Since::default(),
    })
}
