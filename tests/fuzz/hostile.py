"""Words, numbers and times that have broken programs before, and random damage to bytes."""

from __future__ import annotations

import random

NUMBERS = (
    "",
    " ",
    "0",
    "-0",
    "25",
    "25.5",
    "+7",
    "-40",
    "1e3",
    "1E-3",
    "1e400",
    "-1e400",
    "1e-400",
    "nan",
    "NaN",
    "inf",
    "-Infinity",
    "0x10",
    "1_000",
    "1,5",
    "1.5.5",
    ".5",
    "5.",
    "+.5",
    "--1",
    "1e",
    "٣٤",
    "１２",
    "½",
    "9" * 400,
    "0." + "0" * 400 + "1",
    "1e308",
    "2147483648",
    "9223372036854775808",
    "32767",
    "32768",
    "-32768",
    "true",
    "NULL",
    "null",
    "None",
    "#N/A",
    "#REF!",
    "1\u00a0000",
    "\u22125",
)
WORDS = (
    "=1+1",
    "=cmd|' /C calc'!A0",
    "+SUM(A1:A9)",
    "-2+3",
    "@SUM(1)",
    "\t=1",
    "\r=1",
    "\n=1",
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "javascript:alert(1)",
    "{{ 7*7 }}",
    "{% debug %}",
    "${7*7}",
    "%s%s%n",
    "%(x)s",
    "'; DROP TABLE samples; --",
    "' OR '1'='1",
    "../../etc/passwd",
    "C:\\con",
    "\x1b[31mred\x1b[0m",
    "\x07\x08\x7f",
    "\u202egnp.exe",
    "\u200b",
    "\u2028",
    "\u2029",
    "\x85",
    "\x0b\x0c",
    "\ufeff",
    "\ufffd",
    "a\u0301" * 30,
    "\U0001f9ca" * 9,
    "İı",
    "ß",
    "level=error msg=forged",
    "\nWARNING fleet: forged",
    "\r\nSet-Cookie: a=b",
    "A" * 5_000,
    "\\",
    "\\u0000",
    "cool",
    "heat",
    "OFF",
    " cooling ",
    "defrost",
    "simultaneous",
    "\ue000",
    "\U0010ffff",
    "None",
    "nan",
)
TIMES = (
    "2026-01-05T00:00:00Z",
    "2026-01-05 00:00:01",
    "2026-01-05t00:00:02z",
    "2026-01-05T00:00:03+01:00",
    "2026-03-29T01:30:00",
    "2026-10-25T01:30:00",
    "2026-02-30T00:00:00Z",
    "2026-13-01T00:00:00Z",
    "2026-01-05T24:00:00Z",
    "2026-01-05T23:59:60Z",
    "0000-00-00T00:00:00Z",
    "9999-12-31T23:59:59Z",
    "10000-01-01T00:00:00Z",
    "-001-01-01T00:00:00Z",
    "1999-12-31T23:59:59-12:00",
    "2000-01-01T00:00:00",
    "2099-12-31T23:59:59.999999-23:59",
    "2099-12-31T23:59:59",
    "2100-01-01T00:00:00Z",
    "1700000000",
    "1700000000000",
    "46000.5",
    "1e300",
    "-9e18",
    "9223372036854775807",
    "05.01.2026 00:00",
    "01/05/2026 1:00 PM",
    "2026-01-05T00:00:00." + "9" * 300 + "Z",
    "2026-01-05T00:00:00.Z",
    "2026-01-05T00:00Z",
    "20260105T000000Z",
    "2026-01-05T00:00:00+24:00",
    "2026-01-05T00:00:00+23:59",
    "２０２６-01-05T00:00:00Z",
    "time",
    "",
)
UNITS = (
    "kPa(a)",
    "kPa(g)",
    "kPa",
    "bar(g)",
    "degC",
    "degF",
    "K",
    "rpm",
    "rps",
    "Hz",
    "%",
    "pulses",
    "",
    " ",
    "[",
    "kPa(a",
    "°C",
    "MPa(a)",
    "psi(g)",
    "\u212a",
    "furlong",
    "K" * 300,
)
ENCODINGS = (
    "utf-8",
    "utf-8-sig",
    "utf-16",
    "utf-16-le",
    "utf-16-be",
    "utf-32",
    "latin-1",
    "cp1252",
    "cp1251",
    "utf-7",
    "shift_jis",
    "gb18030",
    "cp037",
    "mac-roman",
)
SNIPPETS = (
    b"\x00",
    b"\xff",
    b"\xfe\xff",
    b"\xff\xfe",
    b"\xef\xbb\xbf",
    b"\xc0\xaf",
    b"\xed\xa0\x80",
    b"\xf4\x90\x80\x80",
    b"\xe2\x82",
    b"\r",
    b"\n",
    b"\r\n",
    b"\n\r",
    b"\x1a",
    b"\x1f\x8b",
    b'"',
    b'""',
    b'"""',
    b',"',
    b'",',
    b",",
    b";",
    b"\t",
    b"|",
    b"\\",
    b"=1+1",
    b"\x1b[2J",
    b"\x85",
    b"\xe2\x80\xa8",
    b"\x0c",
    b"'",
    b"#",
    b"\x7f",
    b"{}",
    b"[",
    b"]",
)


def damaged(rng: random.Random, body: bytes) -> bytes:
    """The bytes with one thing done to them."""
    at = rng.randrange(len(body) + 1)
    end = min(len(body), at + rng.choice((1, 1, 2, 8, 64, 512)))
    match rng.randrange(8):
        case 0:
            return body[:at] + rng.choice(SNIPPETS) + body[at:]
        case 1:
            return body[:at] + rng.choice(SNIPPETS) + body[end:]
        case 2:
            return body[:at] + body[end:]
        case 3:
            return body[:at]
        case 4:
            return body[:end] + body[at:end] * rng.choice((1, 2, 30)) + body[end:]
        case 5:
            return body[:at] + rng.randbytes(rng.choice((1, 2, 4, 32))) + body[end:]
        case 6:
            flipped = bytes(byte ^ 1 << rng.randrange(8) for byte in body[at:end])
            return body[:at] + flipped + body[end:]
        case _:
            return body[at:] + body[:at]


def cell(rng: random.Random) -> str:
    """Something a cell may hold."""
    return rng.choice((NUMBERS, NUMBERS, NUMBERS, WORDS)[rng.randrange(4)])


def quoted(rng: random.Random, text: str) -> str:
    """A cell's text with quotes around it: the right ones mostly."""
    match rng.randrange(6):
        case 0:
            return f'"{text}'
        case 1:
            return f'{text}"'
        case 2:
            return f'"{text}"x'
        case _:
            doubled = text.replace('"', '""')
            return f'"{doubled}"'
