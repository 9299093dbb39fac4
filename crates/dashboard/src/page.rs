//! The embedded page: joined from its parts at start, with a content security policy made from their hashes. The page
//! has no other source than this crate; nothing is fetched from anywhere.

use axum::body::Bytes;
use sha2::{Digest, Sha256};

/// Most bytes of the page, uncompressed, including script and style.
pub const PAGE_BUDGET_BYTES: usize = 80 * 1024;

const HTML: &str = include_str!("../page/page.html");
const CSS: &str = include_str!("../page/page.css");
const JS: &str = concat!(
    "\"use strict\";(() => {\n",
    include_str!("../page/dom.js"),
    include_str!("../page/glyph.js"),
    include_str!("../page/ruler.js"),
    include_str!("../page/press.js"),
    include_str!("../page/verdict.js"),
    include_str!("../page/entry.js"),
    include_str!("../page/action.js"),
    include_str!("../page/round.js"),
    include_str!("../page/work.js"),
    include_str!("../page/draw.js"),
    include_str!("../page/link.js"),
    "})();\n",
);
/// The icon; a file of its own because the policy allows no `data:` address.
pub(crate) const ICON: &str = include_str!("../page/icon.svg");

/// The page and the policy it is served with.
#[derive(Clone, Debug)]
pub(crate) struct Page {
    pub(crate) html: Bytes,
    pub(crate) policy: String,
}

impl Page {
    pub(crate) fn new() -> Self {
        let html = HTML.replace("/*css*/", CSS).replace("/*js*/", JS);
        // No inline text but the two hashed ones, no markup from strings (trusted types without any policy).
        let policy = format!(
            "default-src 'none'; script-src '{}'; style-src '{}'; connect-src 'self'; img-src 'self'; \
             base-uri 'none'; form-action 'none'; frame-ancestors 'none'; require-trusted-types-for 'script'; \
             trusted-types 'none'",
            hash_source(JS),
            hash_source(CSS)
        );
        Self { html: Bytes::from(html), policy }
    }
}

/// `sha256-<base64>` of a text, as the policy writes it.
fn hash_source(text: &str) -> String {
    format!("sha256-{}", base64(&Sha256::digest(text.as_bytes())))
}

/// Base64 with padding (RFC 4648, section 4).
fn base64(bytes: &[u8]) -> String {
    const ALPHABET: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::new();
    for three in bytes.chunks(3) {
        let at = |i: usize| u32::from(three.get(i).copied().unwrap_or(0));
        let word = at(0) << 16 | at(1) << 8 | at(2);
        for (place, shift) in [18, 12, 6, 0].into_iter().enumerate() {
            let six = (word >> shift & 63) as usize;
            match ALPHABET.get(six) {
                Some(&letter) if place <= three.len() => out.push(char::from(letter)),
                _ => out.push('='),
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn base64_as_in_rfc_4648_section_10() {
        for (plain, coded) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(plain.as_bytes()), coded);
        }
        // SHA-256 of the empty text: FIPS 180-4 example, in base64.
        assert_eq!(hash_source(""), "sha256-47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=");
    }

    #[test]
    fn the_page_is_whole_small_and_alone() {
        let page = Page::new();
        let html = std::str::from_utf8(&page.html).unwrap();
        assert!(html.len() <= PAGE_BUDGET_BYTES, "{} bytes", html.len());
        assert_eq!(html.matches("<script>").count(), 1);
        assert_eq!(html.matches("<style>").count(), 1);
        assert!(!html.contains("/*js*/") && !html.contains("/*css*/"));
        assert!(html.contains(&format!("<script>{JS}</script>")));
        assert!(html.contains(&format!("<style>{CSS}</style>")));
        for far in
            ["https://", "//cdn", "@import", "innerHTML", "insertAdjacentHTML", "document.write", "eval("]
        {
            assert!(!html.contains(far), "{far}");
        }
        let addresses = html.match_indices("http://").count();
        assert_eq!(
            addresses,
            html.matches("http://www.w3.org/2000/svg").count(),
            "an address besides the SVG name"
        );
    }
}
