//! How much flash an image takes. Reads the few fields of an ELF file of 32 bits that say so (System V ABI, "Program Header").

/// `p_type` of what is loaded.
const LOADED: u32 = 1;

/// Bytes that are written to the board: code, constants, and the first values of variables. `None` if it is no such file.
pub(super) fn flash_bytes(elf: &[u8]) -> Option<u64> {
    // Class 1 is 32 bits, data 1 is little-endian.
    if elf.get(..6)? != b"\x7fELF\x01\x01" {
        return None;
    }
    let half = |at: usize| Some(u16::from_le_bytes(elf.get(at..at + 2)?.try_into().ok()?));
    let word = |at: usize| Some(u32::from_le_bytes(elf.get(at..at + 4)?.try_into().ok()?));
    let (table, size, count) =
        (usize::try_from(word(28)?).ok()?, usize::from(half(42)?), usize::from(half(44)?));
    let mut bytes = 0;
    for header in (0..count).map(|number| table + number * size) {
        if word(header)? == LOADED {
            bytes += u64::from(word(header + 16)?);
        }
    }
    (bytes > 0).then_some(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A header, and a program header for each type and size in the file.
    fn elf(parts: &[(u32, u32)]) -> Vec<u8> {
        let mut bytes = b"\x7fELF\x01\x01".to_vec();
        bytes.resize(52, 0);
        bytes[28..32].copy_from_slice(&52_u32.to_le_bytes());
        bytes[42..44].copy_from_slice(&32_u16.to_le_bytes());
        bytes[44..46].copy_from_slice(&u16::try_from(parts.len()).unwrap().to_le_bytes());
        for (kind, size) in parts {
            let mut header = vec![0; 32];
            header[..4].copy_from_slice(&kind.to_le_bytes());
            header[16..20].copy_from_slice(&size.to_le_bytes());
            bytes.extend(header);
        }
        bytes
    }

    #[test]
    fn what_is_loaded_counts() {
        assert_eq!(flash_bytes(&elf(&[(1, 1000), (1, 24), (0x6474_e551, 7), (1, 0)])), Some(1024));
        assert_eq!(flash_bytes(&elf(&[(1, 0)])), None);
        assert_eq!(flash_bytes(b"#!/bin/sh"), None);
        assert_eq!(flash_bytes(&elf(&[(1, 1000)])[..60]), None);
    }
}
