"""Ways in which a plan, or any text file, can be spoiled. Each takes the bytes and a generator."""

from __future__ import annotations

import re
from collections.abc import Callable

import numpy as np

Spoiler = Callable[[bytes, np.random.Generator], bytes]

STRANGE = (
    "nan", "inf", "-inf", "1e400", "0x" + "f" * 6000, "9" * 300, "-0", "1979-05-27T07:32:00Z",
    "07:32:00", "true", "[]", "[[[]]]", "{}", "{ a = { b = { c = 1 } } }", '""', '"""\n\n"""',
    '"\\u202e\\u0000"', "'\x1b'", '"\\U0010FFFF"', '"' + "x" * 5000 + '"', "[" * 500 + "]" * 500,
    "2026-13-40", "0001-01-01", "9999-12-31", '"=1+1"', "1_000_000", "0b1", '["a", 1, true]',
    '"../../etc/passwd"', "-1", "0", "1e9", '"15 %%"', '"٤ %"', '"¼ %"', '"1e5 g"', "[1, 2]",
    '[2026-03-01, "x"]', "999999999999999999999", '"\\ud7ff"', "1.0",
)  # fmt: skip
LETTERS = (
    "\x00", "\x1b[31m", "\u202e", "\ufeff", "\u2028", "\x85", "\u00a0", "é", "ש", "🍄", '"', "'",
    "=", "#", "[", "]", "{", "}", "\\", "\r", "\n", "\t", ",", ";", ".", "-", "9", "²", "½", "٣",
)  # fmt: skip


def _some(rng: np.random.Generator, lines: list[bytes]) -> int:
    return int(rng.integers(len(lines)))


def truncated(raw: bytes, rng: np.random.Generator) -> bytes:
    return raw[: int(rng.integers(len(raw)))]


def beheaded(raw: bytes, rng: np.random.Generator) -> bytes:
    return raw[int(rng.integers(len(raw))) :]


def flipped(raw: bytes, rng: np.random.Generator) -> bytes:
    changed = bytearray(raw)
    for _ in range(int(rng.integers(1, 9))):
        changed[int(rng.integers(len(changed)))] = int(rng.integers(256))
    return bytes(changed)


def with_letters(raw: bytes, rng: np.random.Generator) -> bytes:
    for _ in range(int(rng.integers(1, 6))):
        place = int(rng.integers(len(raw) + 1))
        raw = raw[:place] + LETTERS[int(rng.integers(len(LETTERS)))].encode() + raw[place:]
    return raw


def without_letters(raw: bytes, rng: np.random.Generator) -> bytes:
    place = int(rng.integers(len(raw)))
    return raw[:place] + raw[place + int(rng.integers(1, 40)) :]


def recoded(raw: bytes, rng: np.random.Generator) -> bytes:
    text = raw.decode("utf-8", errors="replace") + "\n# é ש – “bran”\n"
    code = ("utf-16", "utf-16-le", "utf-16-be", "utf-32", "latin-1", "cp1252", "cp1255",
            "utf-8-sig", "utf-7", "mac-roman", "shift-jis", "cp037")  # fmt: skip
    return text.encode(code[int(rng.integers(len(code)))], errors="replace")


def marked(raw: bytes, rng: np.random.Generator) -> bytes:
    marks = (b"\xef\xbb\xbf", b"\xef\xbb\xbf" * 2, b"\xff\xfe", b"\xfe\xff", b"\xff\xfe\x00\x00")
    return marks[int(rng.integers(len(marks)))] + raw


def line_ends(raw: bytes, rng: np.random.Generator) -> bytes:
    ends = (b"\r\n", b"\r", b"\n\r", b"\n\n\n", "\u2028".encode(), b"\x0c")
    return raw.replace(b"\n", ends[int(rng.integers(len(ends)))])


def without_line(raw: bytes, rng: np.random.Generator) -> bytes:
    lines = raw.split(b"\n")
    del lines[_some(rng, lines)]
    return b"\n".join(lines)


def line_twice(raw: bytes, rng: np.random.Generator) -> bytes:
    lines = raw.split(b"\n")
    lines.insert(_some(rng, lines), lines[_some(rng, lines)])
    return b"\n".join(lines)


def lines_swapped(raw: bytes, rng: np.random.Generator) -> bytes:
    lines = raw.split(b"\n")
    one, other = _some(rng, lines), _some(rng, lines)
    lines[one], lines[other] = lines[other], lines[one]
    return b"\n".join(lines)


def long_line(raw: bytes, rng: np.random.Generator) -> bytes:
    lines = raw.split(b"\n")
    parts = (b"x", b"a.", b",", b"[", b'"', b"( ", b"1", b"\xf0\x9f\x8d\x84", b"= ", b"{a=")
    part = parts[int(rng.integers(len(parts)))]
    lines.insert(_some(rng, lines), part * int(rng.integers(100, 60_000)))
    return b"\n".join(lines)


def emptied(_: bytes, rng: np.random.Generator) -> bytes:
    return (b"", b"\n", b"\x00" * 200, b" ", b"#", b"\xef\xbb\xbf", b'"')[int(rng.integers(7))]


def noise(_: bytes, rng: np.random.Generator) -> bytes:
    return rng.bytes(int(rng.integers(1, 4000)))


def repeated(raw: bytes, rng: np.random.Generator) -> bytes:
    return raw * int(rng.integers(2, 40))


def strange_value(raw: bytes, rng: np.random.Generator) -> bytes:
    """Give one key of the plan a value that is not meant for it."""
    found = list(re.finditer(rb"= *([^\n#]+)", raw))
    if not found:
        return raw
    one = found[int(rng.integers(len(found)))]
    value = STRANGE[int(rng.integers(len(STRANGE)))].encode("utf-8", errors="surrogatepass")
    return raw[: one.start(1)] + value + b"\n" + raw[one.end(1) :]


def strange_key(raw: bytes, rng: np.random.Generator) -> bytes:
    found = list(re.finditer(rb"^ *([\w.]+) *=", raw, re.MULTILINE))
    if not found:
        return raw
    one = found[int(rng.integers(len(found)))]
    keys = ("x" * 4000, "a.b.c", '"\\u001b[31m"', "'<script>'", '""', "1", "-", "é", "__class__")
    key = keys[int(rng.integers(len(keys)))].encode()
    return raw[: one.start(1)] + key + raw[one.end(1) :]


TEXT_SPOILERS: dict[str, Spoiler] = {
    "truncated": truncated, "beheaded": beheaded, "bytes flipped": flipped,
    "letters put in": with_letters, "letters taken out": without_letters, "re-encoded": recoded,
    "byte order marks": marked, "other line ends": line_ends, "a line missing": without_line,
    "a line twice": line_twice, "lines swapped": lines_swapped, "a very long line": long_line,
    "empty or nothing but marks": emptied, "noise": noise, "many times over": repeated,
}  # fmt: skip
PLAN_SPOILERS: dict[str, Spoiler] = {
    **TEXT_SPOILERS, "a strange value": strange_value, "a strange key": strange_key,
}  # fmt: skip
