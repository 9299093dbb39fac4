//! What a serial receiver hears if its rate differs from the sender's. Sends nothing, and handles only 8 data bits
//! without parity.

/// The bytes that a receiver at `theirs` baud makes of `bytes` sent at `ours`: it waits for a falling edge and looks
/// at the line in the middle of each of its own bits. A byte with a wrong stop bit is delivered anyway, as most
/// drivers do.
pub(super) fn heard(bytes: &[u8], ours: u32, theirs: u32) -> Vec<u8> {
    if ours == theirs || theirs == 0 {
        return bytes.to_vec();
    }
    // Times count in sixteenths of their bit, as receivers sample, times the sender's rate, so that all are whole.
    let bit = u64::from(ours) * 16;
    let step = u64::from(ours);
    let sent = u64::from(theirs) * 16;
    let end = sent * 10 * bytes.len() as u64;
    // Ten bits a byte: start (low), data from the lowest, stop (high). The line rests high.
    let level = |at: u64| {
        let place = at / sent;
        let byte = usize::try_from(place / 10).ok().and_then(|i| bytes.get(i));
        match (byte, place % 10) {
            (None, _) | (Some(_), 9) => true,
            (Some(_), 0) => false,
            (Some(byte), data) => byte >> (data - 1) & 1 == 1,
        }
    };
    let mut got = Vec::new();
    let mut at = 0;
    let mut was_high = true;
    while at < end {
        let high = level(at);
        let falls = was_high && !high;
        was_high = high;
        if !falls {
            at += step;
            continue;
        }
        got.push((0..8).fold(0_u8, |byte, n| byte | u8::from(level(at + bit * (3 + 2 * n) / 2)) << n));
        at += bit * 19 / 2;
        was_high = level(at);
    }
    got
}

#[cfg(test)]
mod tests {
    use super::heard;

    #[test]
    fn the_same_rate_hears_the_same() {
        let all: Vec<u8> = (0..=255).collect();
        assert_eq!(heard(&all, 9_600, 9_600), all);
        // A receiver tolerates a few percent (it samples 9.5 bits after the edge).
        assert_eq!(heard(&all, 9_600, 9_800), all);
        assert_eq!(heard(&all, 9_600, 9_400), all);
    }

    /// By hand: 0x00 is nine low bits; at twice the rate eighteen of theirs, so a byte of zeros ends in the middle of them.
    #[test]
    fn another_rate_hears_something_else() {
        assert_eq!(heard(&[0x00], 9_600, 19_200), [0x00]);
        // 0x55 is low and high in turn, ten bits; at half the rate each of their bits covers a high and a low one.
        assert_ne!(heard(&[0x55], 9_600, 4_800), [0x55]);
        // 0xFF is one low bit: at a fourth of the rate nobody sees more than an edge.
        assert_eq!(heard(&[0xFF], 9_600, 2_400), [0xFF]);
        // At eight times the rate each bit is eight of theirs: a start bit and seven zeros, then a one.
        assert_eq!(heard(&[0xFF], 9_600, 76_800), [0x80]);
    }
}
