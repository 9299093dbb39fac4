//! The loader's refusals: each damage to a good profile, the line it is reported at, and what the message says.

use alloc::string::ToString;

use super::*;
use crate::tests::{BINARY, COUNTED, LINE, MODBUS, SCPI, SEGMENT};
use crate::{Evidence, Parity, StopBits};
use quantity::{Decimal, Duration, Unit};

/// Replaces `from` once in the profile and expects an error on the line of `to`'s last line, containing `says`.
fn expect_error(profile: &str, from: &str, to: &str, says: &str) {
    let at = profile.find(from).unwrap_or_else(|| panic!("{from:?} is not in the profile"));
    let text = profile.replacen(from, to, 1);
    let line = profile[..at].matches('\n').count() + to.matches('\n').count() + 1;
    let error = Profile::parse(&text).err().unwrap_or_else(|| panic!("{to:?} was accepted"));
    assert_eq!(error.line, line, "{to:?}: {error}");
    assert!(error.message.contains(says), "{to:?}: {error}");
}

#[test]
fn refuses_what_is_wrong_in_a_line_profile_at_its_line() {
    for (from, to, says) in [
        ("profile = 1 ", "profile = 2 ", "format 2 is not known"),
        ("profile = 1 ", "profile = \"1\" ", "write a whole number"),
        ("id = \"generic-line-meter\"", "id = \"Generic\"", "lower case"),
        ("silence_ms", "silense_ms", "did you mean \"silence_ms\""),
        ("silence_ms = 1500", "silence_ms = 1", "from 50 to"),
        ("conversion_s = 0.1", "conversion_s = 0", "seconds above 0"),
        ("conversion_s = 0.1", "conversion_s = \"1\"", "for example 0.5"),
        ("conversion_s = 0.1", "conversions = 1", "did you mean \"conversion_s\""),
        ("spec = \"1.8% + 3\"", "spec = \"1.8% + 3\"\nresponse_s = 4000.0", "up to 3600"),
        ("agree = 2", "agree = 1", "no checksum"),
        ("agree = 2", "agree = 9", "from 1 to 8"),
        ("baud = 9600", "bauds = 9600", "did you mean \"baud\""),
        ("baud = 9600", "baud = 0", "from 50"),
        ("data_bits = 8", "data_bits = 9", "from 5 to 8"),
        ("parity = \"none\"", "parity = \"odd?\"", "did you mean \"odd\""),
        ("stop_bits = 1", "stop_bits = 1.5", "whole number"),
        ("kind = \"serial\"", "kind = \"cereal\"", "did you mean \"serial\""),
        ("kind = \"line\"", "kind = \"lines\"", "did you mean \"line\""),
        ("# check = \"xor8\"", "check = \"crc16\"", "not known here"),
        ("# check = \"xor8\"", "max_bytes = 5", "from 22"),
        ("kind = \"pattern\"", "kind = \"fields\"", "frames of one length"),
        ("kind = \"pattern\"", "kind = \"pattern\"\nseparator = \".\"", "a separator is one of"),
        ("kind = \"pattern\"", "kind = \"pattern\"\nseparater = \",\"", "did you mean \"separator\""),
        ("{mode:3} {value:7}", "{mode:3} {valeu:7}", "did you mean \"value\""),
        ("{mode:3} {value:7}", "{mode:3} {value}", "has no width"),
        ("{mode:3} {value:7}", "{mode:3} {value:0}", "1 to 64"),
        ("{mode:3} {value:7}", "{mode:3} {value:7}}", "without its {"),
        ("{mode:3} {value:7}", "{mode:3} {mode:7}", "no {value}"),
        ("{mode:3} {value:7}", "{mode:3} {value:7} {value:7}", "stands twice"),
        ("{mode:3} {value:7}", "{mode.4:3} {value:7}", "belongs to no value"),
        ("{mode:3} {value:7}", "{mode:3} {channel:2} {value:7}", "channels"),
        ("[\"OL\", \"-OL\"]", "[\"OL\", \"OL\"]", "stands twice"),
        ("CAP = \"capacitance\"", "CAP = \"capacitence\"", "did you mean \"capacitance\""),
        ("CAP = \"capacitance\"", "CAP = \"capacitance ac\"", "is not ac"),
        ("FRQ = \"frequency\"", "VAC = \"frequency\"", "duplicate"),
        ("uF = \"uF\"", "uF = \"uf\"", "did you mean \"uF\""),
        ("ohm = \"ohm\"", "ohm = \"ohm dc\"", "is not dc"),
        ("H = \"hold\"", "HO = \"hold\"", "one letter"),
        ("H = \"hold\"", "H = \"held\"", "did you mean \"hold\""),
        ("quantity = \"voltage ac\"", "quantity = \"volts\"", "unknown quantity"),
        ("up_to = \"60uF\"", "up_to = \"60V\"", "unit of voltage"),
        ("up_to = \"60uF\"", "up_to = \"60\"", "give the unit"),
        ("spec = \"1.8% + 3\"", "spec = \"1.8%% + 3\"", "not understood"),
        ("spec = \"1.8% + 3\"", "spec = \"1.8 + 3%\"", "no whole number of counts; write \"1.8%\""),
        ("resolution = \"0.01uF\"", "resolution = \"0.01V\"", "unit of voltage"),
        ("resolution = \"0.01uF\"", "resolution = \"0.01\"", "give the unit"),
        ("resolution = \"0.01uF\"", "resolution = \"0uF\"", "greater than zero"),
        ("spec = \"1.8% + 3\"", "spec = \"1.8% + 3 V\"", "voltage"),
    ] {
        expect_error(LINE, from, to, says);
    }
}

#[test]
fn refuses_what_is_wrong_in_a_binary_profile_at_its_line() {
    for (from, to, says) in [
        ("length = 12", "lenght = 12", "did you mean \"length\""),
        ("length = 12", "length = 1", "from 2 to 256"),
        ("sync = [0xD7, 0x2B]", "sync = [0xD7, 0x22B]", "from 0 to 255"),
        ("sync = [0xD7, 0x2B]", "sync = []", "1 to 11 bytes"),
        (
            "check = { kind = \"crc16modbus\", from = 2, to = 10, at = 10 }",
            "check = { kind = \"crc16\", from = 2, to = 10, at = 10 }",
            "crc16modbus",
        ),
        ("to = 10, at = 10 }", "to = 2, at = 10 }", "covers nothing"),
        ("to = 10, at = 10 }", "to = 10, at = 11 }", "runs past"),
        ("to = 10, at = 10 }", "to = 11, at = 10 }", "inside the bytes it covers"),
        ("to = 10, at = 10 }", "to = 13, at = 10 }", "from 0 to 12"),
        ("kind = \"fields\"", "kind = \"pattern\"", "lines of text"),
        ("number = 0", "numero = 0", "did you mean \"number\""),
        ("number = 1", "number = 0", "stands twice"),
        ("value = { at = 4, type = \"i24le\" }", "value = { at = 4, type = \"i23le\" }", "not known here"),
        ("value = { at = 4, type = \"i24le\" }", "value = { at = 10, type = \"i24le\" }", "run past"),
        ("value = { at = 4, type = \"i24le\" }", "value = { at = 8, type = \"i24le\" }", "in the checksum"),
        ("value = { at = 4, type = \"i24le\" }", "value = { at = 1, type = \"i24le\" }", "sync"),
        (
            "value = { at = 4, type = \"i24le\" }",
            "value = { at = 4, typ = \"i24le\" }",
            "did you mean \"type\"",
        ),
        ("exponent = { at = 3, type = \"i8\" }", "exponent = 99", "from -24 to 24"),
        ("1 = \"V ac\"", "40 = \"V ac\"", "never be sent"),
        ("1 = \"V ac\"", "one = \"V ac\"", "no function code"),
        ("1 = \"V ac\"", "1 = \"W ac hot\"", "unknown unit"),
        ("1 = \"V ac\"", "1 = { unit = \"V ac\", quantity = \"current\" }", "unit of voltage"),
        ("hold = \"7.1\"", "hold = \"7.8\"", "is no bit"),
        ("hold = \"7.1\"", "hold = \"7.0\"", "has a meaning already"),
        ("hold = \"7.1\"", "hold = \"0.1\"", "sync"),
        ("hold = \"7.1\"", "held = \"7.1\"", "did you mean \"hold\""),
        ("counts = 60000", "counts = 0", "from 1"),
        ("unit = \"°C\"", "unit = \"C\"", "did you mean \"°C\""),
        ("hold = \"7.1\"", "ignore = \"7.0\"", "has a meaning already"),
        ("hold = \"7.1\"", "ignore = \"7.*\"", "the bit 7.0 has a meaning already"),
        ("hold = \"7.1\"", "ignore = \"x.*\"", "is no byte"),
        ("length = 12", "length = 12\nmust = { 12 = 1 }", "run past the frame's 12"),
        ("length = 12", "length = 12\nmust = { 1 = 0x2B }", "sync"),
        ("length = 12", "length = 12\nmust = { 11 = 0 }", "in the checksum"),
        ("length = 12", "length = 12\nmust = { 0x07 = 0, 7 = 1 }", "byte 7 stands twice"),
        ("length = 12", "length = 12\nmust = { seven = 0 }", "no place of a byte"),
        ("length = 12", "length = 12\nmust = { 7 = 256 }", "from 0 to 255"),
        ("length = 12", "length = 12\nmust = { 7 = \"AA\" }", "a whole number"),
        ("length = 12", "length = 12\nmust = {}", "no byte is demanded"),
        ("length = 12", "length = 12\nmusst = { 7 = 0 }", "did you mean \"must\""),
    ] {
        expect_error(BINARY, from, to, says);
    }
    // The second of two equal codes is named, however it is written.
    expect_error(BINARY, "3 = \"ohm\"", "0x02 = \"ohm\"", "function code 2 stands twice");
}

#[test]
fn what_is_missing_is_said_with_an_example() {
    for (profile, missing, says) in [
        ("", "profile", "profile = 1"),
        ("profile = 1", "id", "id = "),
        ("profile = 1\nid = \"a\"", "frame", "[frame]"),
        ("profile = 1\nid = \"a\"\n[frame]\nkind = \"line\"", "decode", "[decode]"),
        ("profile = 1\nid = \"a\"\n[frame]\n[decode]", "kind", "kind = "),
    ] {
        let error = Profile::parse(profile).unwrap_err();
        assert!(error.message.contains(missing) && error.message.contains(says), "{error}");
    }
    // The table's own line is named.
    assert_eq!(Profile::parse("profile = 1\nid = \"a\"\n[frame]\n[decode]\n").unwrap_err().line, 3);
}

#[test]
fn every_channel_needs_a_unit_and_every_table_its_field() {
    let text = "profile = 1\nid = \"a\"\n[frame]\nkind = \"line\"\n[decode]\nkind = \"pattern\"\npattern = \"{value:7}\"\n";
    let error = Profile::parse(text).unwrap_err();
    assert!(error.line == 7 && error.message.contains("channel 0 has no unit"), "{error}");
    let error = Profile::parse(&[text, "[decode.units]\nuF = \"uF\"\n"].concat()).unwrap_err();
    assert!(error.line == 8 && error.message.contains("no field in the pattern"), "{error}");
    assert!(Profile::parse(&[text, "[decode.fixed_units]\n0 = \"uF\"\n"].concat()).is_ok());
}

#[test]
fn broken_toml_keeps_its_line() {
    let error = Profile::parse("profile = 1\nid = \"a\n").unwrap_err();
    assert_eq!(error.line, 2);
    let twice = Profile::parse("profile = 1\nid = \"a\"\nid = \"b\"\n").unwrap_err();
    assert_eq!(twice.line, 3);
    let nested = alloc::format!("profile = 1\nid = {}\n", "[".repeat(5_000));
    assert_eq!(Profile::parse(&nested).unwrap_err().line, 2);
    let long = "#".repeat(PROFILE_BYTES_MAX + 1);
    assert!(Profile::parse(&long).unwrap_err().message.contains("at most"));
}

#[test]
fn says_what_it_loaded() {
    let line = Profile::parse(LINE).unwrap();
    assert_eq!((line.id(), line.agree(), line.frame_bytes_max()), ("generic-line-meter", 2, 22));
    assert_eq!(line.evidence(), Evidence::Agreement { frames: 2 });
    assert_eq!(line.silence(), Duration::from_millis(1500));
    let link = line.link().unwrap();
    assert_eq!(
        (link.baud, link.data_bits, link.parity, link.stop_bits),
        (9600, 8, Parity::None, StopBits::One)
    );
    let binary = Profile::parse(BINARY).unwrap();
    assert_eq!((binary.agree(), binary.evidence()), (1, Evidence::Checksum));
}

#[test]
fn a_field_outside_the_checksum_needs_agreement() {
    let text = BINARY.replace("from = 2, to = 10", "from = 3, to = 10");
    let profile = Profile::parse(&text).unwrap();
    assert_eq!(profile.evidence(), Evidence::ChecksumAndAgreement { frames: 2 });
    let error = Profile::parse(&text.replace("silence_ms", "agree = 1\nsilence_ms")).unwrap_err();
    assert!(error.message.contains("outside the bytes"), "{error}");
}

#[test]
fn refuses_what_is_wrong_in_a_counted_profile_at_its_line() {
    for (from, to, says) in [
        ("kind = \"counted\"", "kind = \"countd\"", "did you mean \"counted\""),
        ("max_bytes = 24", "max_byte = 24", "did you mean \"max_bytes\""),
        ("max_bytes = 24", "max_bytes = 5000", "from 3 to 1024"),
        ("max_bytes = 24", "max_bytes = 6", "needs 7 bytes at least"),
        ("min_bytes = 9 ", "min_bytes = 6 ", "from 7 to 24"),
        ("min_bytes = 9 ", "min_bytes = 25 ", "from 7 to 24"),
        ("sync = [0x3C, 0xB1, 0x01]", "sync = []", "1 to 22 bytes"),
        ("at = 3, type = \"u8\"", "at = 2, type = \"u8\"", "in the sync bytes"),
        ("at = 3, type = \"u8\"", "at = 3, type = \"i8\"", "\"u8\", \"u16le\" or \"u16be\""),
        ("at = 3, type = \"u8\"", "at = 3, typ = \"u8\"", "did you mean \"type\""),
        ("counts = \"payload\" }", "counts = \"pay\" }", "\"pay\" is not known here"),
        (
            "check = { kind = \"sum16be\", from = 3 }",
            "check = { kind = \"sum16be\", from = 5 }",
            "from 0 to 4",
        ),
        (
            "check = { kind = \"sum16be\", from = 3 }",
            "check = { kind = \"sum16be\", from = 3, at = 9 }",
            "at",
        ),
        (
            "value = { at = 5, type = \"i16be\" }",
            "value = { at = 3, type = \"i16be\" }",
            "stands in the length",
        ),
        ("value = { at = 5, type = \"i16be\" }", "value = { at = 2, type = \"u8\" }", "in the sync bytes"),
        (
            "value = { at = 7, type = \"i16be\" }",
            "value = { at = 21, type = \"i16be\" }",
            "longest frame's 22",
        ),
        ("max_bytes = 24", "max_bytes = 24\nmust = { 7 = 0 }", "shortest frame's 7"),
        ("max_bytes = 24", "max_bytes = 24\nmust = { 3 = 0 }", "stands in the length"),
        ("kind = \"fields\"", "kind = \"pattern\"", "lines of text"),
    ] {
        expect_error(COUNTED, from, to, says);
    }
}

#[test]
fn refuses_what_is_wrong_in_a_segment_profile_at_its_line() {
    for (from, to, says) in [
        ("kind = \"indexed\"", "kind = \"indexd\"", "did you mean \"indexed\""),
        ("length = 13", "length = 16", "from 2 to 15"),
        ("length = 13", "length = 13\nsync = [1]", "unknown key \"sync\""),
        ("agree = 2", "agree = 1", "no checksum"),
        ("kind = \"segments\"", "kind = \"segment\"", "did you mean \"segments\""),
        ("kind = \"segments\"", "kind = \"fields\"", "use decode \"segments\""),
        ("kind = \"segments\"", "kind = \"pattern\"", "use frame kind \"line\""),
        ("kind = \"segments\"", "kind = \"gatt\"", "use frame kind \"packet\""),
        ("g = \"1.2\" }", "g = \"1.4\" }", "counts its place here"),
        ("g = \"1.2\" }", "g = \"13.2\" }", "run past the frame's 13"),
        ("g = \"1.2\" }", "g = \"1.8\" }", "is no bit"),
        ("g = \"1.2\" }", "g = \"0.2\" }", "0.2 has a meaning already"),
        ("g = \"1.2\" }", "h = \"1.2\" }", "unknown key \"h\""),
        ("f = \"1.1\", g = \"1.2\" }", "f = \"1.1\" }", "has seven segments"),
        ("g = \"1.2\" }", "g = \"1.2\", point_after = \"8.3\" }", "a point at this place already"),
        ("minus = \"1.3\"", "minus = \"13\"", "write byte.bit"),
        ("F = \"11.1\"", "Fa = \"11.1\"", "unknown unit"),
        ("F = \"11.1\"", "F = \"11.0\"", "has a meaning already"),
        ("n = \"10.0\"", "x = \"10.0\"", "unknown prefix \"x\""),
        ("n = \"10.0\"", "p = \"10.0\"\nn = \"10.0\"", "has a meaning already"),
        ("ac = \"8.0\"", "acdc = \"8.0\"", "unknown word \"acdc\" in [decode.modes]"),
        ("ignore = \"8.3\"", "ignored = \"8.3\"", "did you mean \"ignore\""),
        ("ignore = \"8.3\"", "ignore = \"x.*\"", "is no byte"),
        ("ignore = \"8.3\"", "ignore = \"20.*\"", "run past"),
        ("ignore = \"8.3\"", "ignore = \"8.*\"", "has a meaning already"),
        ("# unit = \"uF\"", "unit = \"uF\"", "one of unit = \"uF\", [decode.units]"),
    ] {
        expect_error_anywhere(SEGMENT, from, to, says);
    }
    let line = LINE.replacen("kind = \"pattern\"", "kind = \"segments\"", 1);
    assert!(Profile::parse(&line).unwrap_err().message.contains("needs binary frames"));
}

#[test]
fn refuses_functions_of_a_display_that_cannot_be() {
    let head = SEGMENT.split("# unit = ").next().unwrap().replace(", point_before = \"3.3\"", "");
    let head = head.replace(", point_before = \"5.3\"", "").replace(", point_before = \"7.3\"", "");
    let parsed = |functions: &str| {
        Profile::parse(&alloc::format!("{head}{functions}\n[decode.flags]\nhold = \"9.0\"\n"))
    };
    let good = "functions = [{ unit = \"uF\", decimals = 2, lit = [\"5.3\", \"11.1\"] }, { unit = \"V ac\", lit = [] }]";
    assert!(parsed(good).is_ok());
    for (functions, says) in [
        ("functions = []", "no function is listed"),
        ("unit = \"uF\"\nfunctions = [{ unit = \"uF\", lit = [] }]", "not beside it"),
        ("functions = [{ unit = \"uf\", lit = [] }]", "did you mean \"uF\""),
        ("functions = [{ unit = \"uF\" }]", "has no \"lit\""),
        ("functions = [{ unit = \"uF\", decimals = 9, lit = [] }]", "from 0 to 8"),
        ("functions = [{ unit = \"uF\", decimal = 2, lit = [] }]", "did you mean \"decimals\""),
        ("functions = [{ unit = \"uF\", lit = [\"0.0\"] }]", "0.0 has a meaning already"),
        ("functions = [{ unit = \"uF\", lit = [\"9.0\"] }]", "9.0 has a meaning already"),
        ("functions = [{ unit = \"uF\", lit = [\"9.1\", \"9.1\"] }]", "9.1 has a meaning already"),
        ("functions = [{ unit = \"uF\", lit = [\"9.4\"] }]", "counts its place"),
        (
            "functions = [{ unit = \"uF\", lit = [\"9.1\"] }, { unit = \"nF\", lit = [\"9.1\"] }]",
            "stand twice",
        ),
    ] {
        let error = parsed(functions).err().unwrap_or_else(|| panic!("{functions} was accepted"));
        assert!(error.line >= 26 && error.message.contains(says), "{functions}: {error}");
    }
    let pointed = SEGMENT.replacen("# unit = \"uF\"", "functions = [{ unit = \"uF\", lit = [] }]\n# ", 1);
    let pointed = pointed.split("[decode.units]").next().unwrap();
    assert!(Profile::parse(pointed).unwrap_err().message.contains("names no point of its own"));
}

#[test]
fn a_counted_frame_agrees_as_its_checksum_allows() {
    let agree = |from: &str, to: &str| Profile::parse(&COUNTED.replacen(from, to, 1)).unwrap().agree();
    let check = "check = { kind = \"sum16be\", from = 3 }";
    assert_eq!(agree("", ""), 1);
    assert_eq!(agree(check, "check = { kind = \"sum8\", from = 3 }"), 2);
    assert_eq!(agree(check, ""), 2);
    let unchecked = COUNTED.replacen(check, "", 1).replacen("profile = 1", "profile = 1\nagree = 1", 1);
    let error = Profile::parse(&unchecked).unwrap_err();
    assert!(error.to_string().starts_with("line 3, column 9: agree = 1 is too few"), "{error}");
}

#[test]
fn refuses_what_is_wrong_in_a_modbus_profile_at_its_line() {
    for (from, to, says) in [
        ("unit = 17 ", "unit = 0 ", "from 1 to 247"),
        ("unit = 17 ", "units = 17 ", "did you mean \"unit\""),
        ("kind = \"modbus\"", "kind = \"modbas\"", "did you mean \"modbus\""),
        ("kind = \"registers\"", "kind = \"fields\"", "known here: registers"),
        ("marker = \"diagnostics\"", "marker = \"diagnostic\"", "did you mean \"diagnostics\""),
        ("poll_ms = 500 ", "poll_ms = 5 ", "from 20 to"),
        ("timeout_ms = 300 ", "timeout_ms = 300000 ", "from 10 to 60000"),
        ("entity = \"holding\"", "entity = \"holdings\"", "did you mean \"holding\""),
        ("address = 0\n", "address = 65535\n", "past the last address"),
        ("address = 0\n", "address = 200\n", "addresses apart"),
        ("type = \"f32\"", "type = \"f64\"", "known here: u16"),
        ("type = \"f32\"", "type = \"bit\"", "registers any other"),
        ("word_order = \"big\"", "word_order = \"bigg\"", "did you mean \"big\""),
        ("exponent = -2 ", "divisor = 4 ", "goes with whole numbers"),
        ("divisor = 16 ", "divisor = 0 ", "from 1 to"),
        ("hold = \"4.0\"", "hold = \"4.16\"", "is no bit here"),
        ("hold = \"4.0\"", "held = \"4.0\"", "did you mean \"hold\""),
        ("low_battery = \"4.1\"", "low_battery = \"4.0\"", "has a meaning already"),
        ("no_value = [-32768]", "no_value = [-32769]", "from -32768"),
        ("number = 1\n", "number = 1\nreg = 1\n", "unknown key"),
    ] {
        expect_error_anywhere(MODBUS, from, to, says);
    }
    let silent = MODBUS.replacen("[link]", "silence_ms = 900\n\n[link]", 1);
    let error = Profile::parse(&silent).unwrap_err();
    assert!(error.message.contains("write 6900 or more"), "{error}");
    let framed = MODBUS.replacen("[poll] ", "[frame]\nkind = \"line\"\n[poll] ", 1);
    assert!(Profile::parse(&framed).unwrap_err().message.contains("has no [frame]"));
    let twice = MODBUS.replacen("number = 1", "number = 0", 1);
    assert!(Profile::parse(&twice).unwrap_err().message.contains("stands twice"));
    // Reads of one length need the marker.
    let alike = MODBUS.replacen("type = \"i32\"", "type = \"i32\"\njoin = false", 1).replacen(
        "entity = \"input\"",
        "entity = \"holding\"\nregisters = 5",
        1,
    );
    assert!(Profile::parse(&alike).is_ok());
    let alike = alike.replacen("marker = \"diagnostics\"", "marker = \"none\"", 1);
    let error = Profile::parse(&alike).unwrap_err();
    assert!(error.message.contains("the reads at 0 and 10 are of one length"), "{error}");
}

/// As `expect_error`, for changes that make the error stand at another line of the same table.
fn expect_error_anywhere(profile: &str, from: &str, to: &str, says: &str) {
    let text = profile.replacen(from, to, 1);
    assert_ne!(text, profile, "{from:?} is not in the profile");
    let error = Profile::parse(&text).err().unwrap_or_else(|| panic!("{to:?} was accepted"));
    assert!(error.line > 1 && error.message.contains(says), "{to:?}: {error}");
}

#[test]
fn refuses_what_is_wrong_in_a_scpi_profile() {
    for (from, to, says) in [
        ("kind = \"scpi\"", "kind = \"scip\"", "did you mean \"scpi\""),
        ("kind = \"answers\"", "kind = \"answer\"", "did you mean \"answers\""),
        ("agree = 2", "agree = 1", "no checksum"),
        ("init = [", "innit = [", "did you mean \"init\""),
        ("\"*CLS\"", "\"*CLS\\n\"", "letters and signs"),
        ("\"*CLS\"", "\"\"", "letters and signs"),
        ("marker = \"SYST:ERR?\"", "marker = \"SYST:ERR\"", "no question mark"),
        ("marker = \"SYST:ERR?\"", "marker = \"MEAS:FREQ?\"", "must look like no reading"),
        ("marker = \"SYST:ERR?\"", "error = \"SYST:ERR?\"", "unknown key"),
        ("query = \"MEAS:CAP?\"", "query = \"MEAS:CAP?;MEAS:FREQ?\"", "one query at a time"),
        ("query = \"MEAS:CAP?\"", "query = \"SYST:ERR?\"", "this is the marker"),
        ("query = \"MEAS:CAP?\"", "querry = \"MEAS:CAP?\"", "did you mean \"query\""),
        ("part = 1\n", "part = 32\n", "from 0 to 31"),
        ("part = 1\n", "part = 1\nparts = 1\n", "from 2 to"),
        ("part = 1\n", "part = 1\ntimeout_ms = 100\n", "at another pace"),
        ("scale = 6 ", "scale = 60 ", "from -24 to 24"),
        ("number = 2", "number = 1", "stands twice"),
        ("unit = \"uF\"", "unit = \"uf\"", "did you mean \"uF\""),
    ] {
        expect_error_anywhere(SCPI, from, to, says);
    }
}

/// What is read off with fewer digits than the display has gets the counts of the display.
#[test]
fn digits_left_out_make_no_larger_counts() {
    let profile = Profile::parse(LINE).unwrap();
    let read_off = |digits: &str, unit| {
        let digits = Decimal::parse(digits).unwrap();
        profile.accuracy_read_off(unit, None, digits).map(|accuracy| accuracy.to_string())
    };
    assert_eq!(read_off("7.4", Unit::MICROFARAD).as_deref(), Some("1.8% + 3 x 0.01uF"));
    assert_eq!(read_off("7", Unit::MICROFARAD).as_deref(), Some("1.8% + 3 x 0.01uF"));
    // All digits, a finer range, and a unit or range whose step is not stated: as it stands in the row.
    assert_eq!(read_off("7.40", Unit::MICROFARAD).as_deref(), Some("1.8% + 3"));
    assert_eq!(read_off("0.412", Unit::MICROFARAD).as_deref(), Some("1.8% + 3"));
    assert_eq!(read_off("412", Unit::NANOFARAD).as_deref(), Some("1.8% + 3"));
    assert_eq!(read_off("75", Unit::MICROFARAD).as_deref(), Some("2.5% + 5"));
}

/// A demanded byte and a field in it: the field is named, at its line and column.
#[test]
fn no_field_stands_in_a_demanded_byte() {
    for byte in [7, 8] {
        let text = BINARY.replacen("length = 12", &alloc::format!("length = 12\nmust = {{ {byte} = 0 }}"), 1);
        let error = Profile::parse(&text).unwrap_err();
        assert!(error.message.contains(&alloc::format!("byte {byte} is the same in every frame")), "{error}");
        let line = text.lines().nth(error.line - 1).unwrap();
        let field = if byte == 7 { "\"7.0\"" } else { "8" };
        assert!(line.get(error.column - 1..).unwrap().starts_with(field), "{error}");
    }
    let text = BINARY.replacen("{ at = 8, type = \"i16le\" }", "{ at = 7, type = \"u8\" }", 1);
    assert!(
        Profile::parse(&text.replacen("length = 12", "length = 12\nmust = { 8 = 0x11, 0x09 = 0 }", 1))
            .is_ok()
    );
}

/// The pace of a range goes before that of the whole device; what is not stated is not known.
#[test]
fn a_profile_states_how_fast_its_display_follows() {
    let with = |text: &str, from: &str, to: &str| text.replacen(from, to, 1);
    let text = with(LINE, "conversion_s = 0.1", "conversion_s = 0.25");
    let text = with(&text, "up_to = \"60uF\"\n", "up_to = \"60uF\"\nconversion_s = 1\n");
    let text = with(&text, "quantity = \"temperature\"\n", "quantity = \"temperature\"\nresponse_s = 12.5\n");
    let profile = Profile::parse(&text).unwrap();
    let of = |profile: &Profile, unit, value| {
        let timing = profile.timing(unit, None, value);
        (timing.conversion_s, timing.response_s)
    };
    assert_eq!(of(&profile, Unit::MICROFARAD, 40.0), (Some(1.0), None));
    assert_eq!(of(&profile, Unit::MICROFARAD, 80.0), (Some(0.25), None));
    assert_eq!(of(&profile, Unit::CELSIUS, 40.0), (Some(0.25), Some(12.5)));
    assert_eq!(
        of(&Profile::parse(&with(LINE, "conversion_s", "# conversion_s")).unwrap(), Unit::MICROFARAD, 40.0),
        (None, None)
    );
}
