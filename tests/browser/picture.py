"""The picture of the page in the README: `crates/dashboard/page.png`, made by the browser and kept true.

The picture carries in itself (a PNG text chunk) a digest of what was drawn: the page's style and the elements that a view became.
Pixels are not compared, since they differ from font to font. `python3 tests/browser/run.py --renew-picture` writes it anew.
"""

import hashlib
import struct
import zlib

PATH = "crates/dashboard/page.png"
BYTES_MAX = 120_000
SIGNATURE = b"\x89PNG\r\n\x1a\n"
KEYWORD = b"drawn"
DRAWN = """return [...document.querySelectorAll('style')].map(n => n.textContent).join('') + document.querySelector('main').outerHTML;"""


class Damaged(ValueError):
    """Not a PNG file, or one with a chunk whose sum does not hold."""


def digest(browser, size):
    """What the page draws now at this size, in 64 hex digits."""
    return hashlib.sha256((repr(size) + browser.run(DRAWN)).encode()).hexdigest()


def chunks(data):
    """Kind and content of each chunk of a PNG file."""
    if not data.startswith(SIGNATURE):
        raise Damaged("no PNG signature")
    at = len(SIGNATURE)
    while at < len(data):
        length, kind = struct.unpack_from(">I4s", data, at)
        content = data[at + 8:at + 8 + length]
        if struct.pack(">I", zlib.crc32(kind + content)) != data[at + 8 + length:at + 12 + length]:
            raise Damaged(f"chunk {kind!r}")
        yield kind, content
        at += 12 + length


def signed(data, drawn):
    """The same picture with the digest of what it shows."""
    out = SIGNATURE
    for kind, content in chunks(data):
        parts = [(kind, content)]
        if kind == b"IHDR":
            parts.append((b"tEXt", KEYWORD + b"\0" + drawn.encode()))
        for kind_, content_ in parts:
            out += struct.pack(">I", len(content_)) + kind_ + content_ + struct.pack(">I", zlib.crc32(kind_ + content_))
    return out


def shown_by(data):
    """The digest that a picture carries, or None."""
    texts = [content.split(b"\0", 1) for kind, content in chunks(data) if kind == b"tEXt"]
    return next((value.decode() for keyword, value in texts if keyword == KEYWORD), None)
