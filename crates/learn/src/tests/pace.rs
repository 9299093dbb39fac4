//! The conversion time of invented meters that send their display more often than they convert.

use super::{Dice, HEAD, ms, note, profile_of, readings, see};
use crate::{Conclusion, Observation, learn};
use wire::stream::Recording;
use wire::{Profile, simulate};

/// What the part does under the leads, by seconds.
#[derive(Clone, Copy)]
enum Part {
    /// Stands at so many hundredths, and a person says so.
    Stands(i64),
    /// Moves from the first to the second, in hundredths.
    Moves(i64, i64),
    /// Flickers by a count or two around it, unsaid.
    Flickers(i64),
    /// Nothing comes.
    Silent,
}

/// A display that converts every `conversion_ms` and is sent every `frame_ms`.
struct Display {
    truth: Profile,
    frame_ms: i64,
    conversion_ms: i64,
    /// Frames that come in one piece, with one time.
    together: usize,
    second: Option<&'static str>,
}

impl Display {
    fn records(&self, parts: &[(Part, i64)]) -> (Recording, Vec<Observation>) {
        let (mut recording, mut seen, mut from) = (Recording::new(), Vec::new(), 0);
        let mut piece: Vec<u8> = Vec::new();
        let mut pieces = 0;
        let mut dice = Dice(7);
        let mut at = 0;
        for (part, seconds) in parts {
            let to = from + seconds * 1000;
            while at < to {
                // What was measured when the last conversion ended.
                let converted = (at / self.conversion_ms * self.conversion_ms).max(from) - from;
                let counts = match *part {
                    Part::Stands(counts) => Some(counts),
                    Part::Moves(a, b) => Some(a + (b - a) * converted / (seconds * 1000)),
                    Part::Flickers(counts) => Some(counts + i64::try_from(dice.next() % 2).unwrap()),
                    Part::Silent => None,
                };
                if let Some(counts) = counts {
                    let text = format!("{}.{:02} uF", counts / 100, counts % 100);
                    piece.extend(simulate::encode(&self.truth, &readings(&text, self.second)).unwrap());
                    pieces += 1;
                    if pieces == self.together {
                        recording.push(ms(at), &piece);
                        (piece, pieces) = (Vec::new(), 0);
                    }
                }
                at += self.frame_ms;
            }
            if let Part::Stands(counts) = part {
                seen.push(see(from + 1500, to - 1, &format!("{}.{:02} uF", counts / 100, counts % 100)));
            }
            from = to;
        }
        (recording, seen)
    }
}

/// Stands, rises, stands, falls, stands: what the words of `devices learn` ask for.
fn lesson() -> [(Part, i64); 5] {
    [
        (Part::Stands(1246), 6),
        (Part::Moves(1246, 4471), 9),
        (Part::Stands(4471), 6),
        (Part::Moves(4471, 2360), 9),
        (Part::Stands(2360), 6),
    ]
}

fn display(class: &str, frame_ms: i64, conversion_ms: i64) -> Display {
    let second = (class == "generic-binary-meter").then_some("23.1 °C");
    Display { truth: note(class).0, frame_ms, conversion_ms, together: 1, second }
}

/// The conversion time that the learned profile states, and its remarks.
fn learned(display: &Display, parts: &[(Part, i64)]) -> (Option<f64>, Vec<String>) {
    let (recording, seen) = display.records(parts);
    let learned = learn(HEAD, &recording, &seen);
    let (profile, toml) = profile_of(&learned);
    let readings = super::decoded(&profile, &recording);
    let stated = readings.first().unwrap().timing.conversion_s;
    assert_eq!(stated.is_some(), toml.contains("# measured: the longest of "), "{toml}");
    let Conclusion::Profile { remarks, .. } = learned.outcome else { panic!("no profile") };
    (stated, remarks)
}

#[test]
fn the_longest_run_of_equal_readings_while_the_value_moves_is_the_conversion_time() {
    for class in ["generic-line-meter", "generic-binary-meter"] {
        for (frame_ms, conversion_ms) in
            [(100, 500), (100, 300), (50, 330), (125, 400), (250, 250), (40, 1000), (25, 120), (200, 200)]
        {
            let (stated, remarks) = learned(&display(class, frame_ms, conversion_ms), &lesson());
            let stated = stated.unwrap_or_else(|| panic!("{class} {frame_ms} {conversion_ms}: {remarks:?}"));
            let (least, most) = (conversion_ms, conversion_ms + frame_ms + 10);
            #[allow(clippy::cast_precision_loss)]
            let within = stated * 1000.0 >= least as f64 - 0.5 && stated * 1000.0 <= most as f64 + 0.5;
            assert!(within, "{class}: {stated} s for {conversion_ms} ms at a frame each {frame_ms} ms");
            assert!(!remarks.iter().any(|remark| remark.contains("conversion time")), "{remarks:?}");
        }
    }
}

/// Nothing is measured on values that stand, jump and stand, flicker by a count, or move for too short a time.
#[test]
fn a_value_that_did_not_move_long_enough_tells_no_conversion_time() {
    let of = display("generic-line-meter", 100, 500);
    let jumps = [(Part::Stands(1246), 6), (Part::Stands(4471), 6), (Part::Stands(2360), 6)];
    let flickers = [
        (Part::Stands(1246), 6),
        (Part::Flickers(2360), 12),
        (Part::Stands(2360), 6),
        (Part::Stands(4471), 6),
    ];
    let short = [
        (Part::Stands(1246), 6),
        (Part::Moves(1246, 2360), 2),
        (Part::Stands(2360), 6),
        (Part::Stands(4471), 6),
    ];
    for parts in [&jumps[..], &flickers[..], &short[..]] {
        let (stated, remarks) = learned(&of, parts);
        assert_eq!(stated, None, "{remarks:?}");
        let said =
            remarks.iter().filter(|remark| remark.contains("the conversion time of the display")).count();
        assert_eq!(said, 1, "{remarks:?}");
    }
}

/// Holds that nobody spoke of, and frames that were lost, make no conversion longer than it is.
#[test]
fn holds_and_lost_frames_are_no_conversions() {
    let of = display("generic-line-meter", 100, 500);
    let parts = [
        (Part::Stands(1246), 6),
        (Part::Moves(1246, 2360), 6),
        (Part::Silent, 2),
        (Part::Moves(2360, 4471), 6),
        (Part::Stands(4471), 6),
        (Part::Moves(4471, 3471), 4),
        (Part::Moves(3471, 3471), 5),
        (Part::Moves(3471, 2360), 4),
        (Part::Stands(2360), 6),
    ];
    let (stated, _) = learned(&of, &parts);
    assert!(stated.is_some_and(|stated| (0.5..=0.61).contains(&stated)), "{stated:?}");
}

/// Frames that arrive in pieces of three have one time each; the time is never too short.
#[test]
fn frames_that_come_in_pieces_give_no_shorter_time() {
    let of = Display { together: 3, ..display("generic-line-meter", 100, 500) };
    let (stated, remarks) = learned(&of, &lesson());
    assert!(stated.is_some_and(|stated| (0.5..=0.91).contains(&stated)), "{stated:?} {remarks:?}");
}
