//! Values typed in by hand: a meter without a radio gets the same verdict. Checks unit and coupling, binds to a point.
//! Does not judge.

use alloc::format;
use alloc::string::{String, ToString};

use quantity::{Accuracy, Decimal, Instant, Quantity, Typed};

use super::Round;
use super::check::{About, Phase};
use super::point::SettledPoint;
use crate::evaluate::Input;
use crate::rule::Point;
use crate::verdict::PointReading;

impl Round {
    pub(super) fn typed(&mut self, name: &str, value: Typed, accuracy: Option<Accuracy>) {
        match self.typed_point(name, value, accuracy) {
            Ok((index, done)) => {
                let Some(check) = &mut self.check else { return };
                check.premature |= check.phase == Phase::HoldPoints;
                if check.phase == Phase::Asking {
                    // The question was about the values before this one; what is still odd is asked again.
                    check.question = None;
                    check.phase = Phase::Measuring;
                }
                check.accepted.retain(|about| match about {
                    About::Implausible(of) | About::SwappedReading(of) | About::OpenPart(of) => *of != index,
                    About::SwappedPlate(_) | About::ProofLeads(..) => true,
                });
                self.point_settled(index, done);
            }
            Err(why) => self.refuse(why),
        }
    }

    /// The meter shows overload with both leads on: the point's value is what an open circuit counts as.
    pub(super) fn typed_open(&mut self, name: &str) {
        let found = self.check.as_ref().and_then(|check| {
            let (index, point) = check.point(name)?;
            Some((index, point.clone(), check.phase))
        });
        let Some((index, point, phase)) = found else {
            return self.refuse(format!("{name:?} was not taken as open: no such reading is awaited"));
        };
        if phase == Phase::Done {
            return self.refuse("this check has its verdict; take it again to enter a new value".to_string());
        }
        match open_point(&point, "typed", self.now) {
            Some(done) => {
                let Some(check) = &mut self.check else { return };
                check.premature |= check.phase == Phase::HoldPoints;
                if check.phase == Phase::Asking {
                    check.question = None;
                    check.phase = Phase::Measuring;
                }
                check.accepted.retain(|about| *about != About::OpenPart(index));
                self.point_settled(index, done);
            }
            None => self.refuse(format!("{name}: an open circuit is no reading for this rule; type a value")),
        }
    }

    fn typed_point(
        &self,
        name: &str,
        value: Typed,
        accuracy: Option<Accuracy>,
    ) -> Result<(usize, SettledPoint), String> {
        let check = self.check.as_ref().ok_or("no check is armed")?;
        if check.phase == Phase::Done {
            return Err("this check has its verdict; take it again to enter a new value".to_string());
        }
        let header = check.header().ok_or_else(|| format!("no rule {:?}", check.plan.rule))?;
        let (index, point) = check.point(name).ok_or_else(|| {
            let known: alloc::vec::Vec<&str> = header.points.iter().map(|p| p.name.as_str()).collect();
            format!("this check has no reading {name:?}; it wants {}", known.join(", "))
        })?;
        let unit = value.unit.unwrap_or(point.unit);
        if let (Some(wanted), Some(given)) = (point.coupling, value.coupling)
            && wanted != given
        {
            return Err(format!("{name} is wanted as {} {wanted}, not {given}", point.unit));
        }
        let (number, resolution) = (value.number.to_f64(), value.number.resolution());
        let u = accuracy.map_or_else(
            || Ok(Accuracy::of_resolution(resolution)),
            |accuracy| accuracy.standard_uncertainty(number, resolution, unit),
        );
        let u = u.map_err(|e| format!("{name}: the accuracy does not fit: {e}"))?;
        let shown = Quantity::new(value.number.to_f64(), u, unit).map_err(|e| format!("{name}: {e}"))?;
        let in_rule = shown.to_unit(point.unit).map_err(|e| format!("{name}: {e}"))?;
        let reading = PointReading {
            point: point.name.clone(),
            label: point.label.clone(),
            device: "typed".to_string(),
            quantity: shown,
            shown: value.number,
            open: false,
            unit,
            coupling: value.coupling.or(point.coupling),
            accuracy_known: accuracy.is_some(),
            count: 1,
            at: self.now,
        };
        if !(in_rule.value().is_finite() && in_rule.standard_uncertainty().is_finite()) {
            return Err(format!("{name}: the value or its uncertainty is out of this world"));
        }
        let input = Input { value: in_rule.value(), standard_uncertainty: in_rule.standard_uncertainty() };
        let (until, typed) = (self.now, Some(value.number));
        Ok((index, SettledPoint { input, reading, until, channel: 0, typed, watch: None }))
    }
}

/// The settled point of an open circuit; `None` where the rule has no use for one.
pub(super) fn open_point(point: &Point, device: &str, at: Instant) -> Option<SettledPoint> {
    let value = point.open_counts_as?;
    let shown = Decimal::parse(&format!("{value}")).ok()?;
    let reading = PointReading {
        point: point.name.clone(),
        label: point.label.clone(),
        device: device.to_string(),
        quantity: Quantity::exact(value, point.unit).ok()?,
        shown,
        open: true,
        unit: point.unit,
        coupling: point.coupling,
        accuracy_known: true,
        count: 1,
        at,
    };
    let input = Input { value, standard_uncertainty: 0.0 };
    Some(SettledPoint { input, reading, until: at, channel: 0, typed: None, watch: None })
}
