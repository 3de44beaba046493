"""Uploads drawn from a grammar of logs, then damaged."""

from __future__ import annotations

import gzip
import random
import struct
import zlib
from collections.abc import Callable
from datetime import datetime, timedelta

from diagnostics.channels import INDOOR, OUTDOOR
from tests.fuzz import hostile

MIB = 1 << 20
PLAUSIBLE = {
    "speed": (" [rps]", 20, 110),
    "pressure": (" [kPa(a)]", 700, 3000),
    "temperature": (" [degC]", -10, 90),
    "opening": (" [%]", 0, 100),
    "flag": ("", 0, 1),
}
CODES = ("A-101", "A-102", "A-103", "=1", "<b>", "")


def body(rng: random.Random) -> bytes:
    """One upload: mostly a log with something wrong, at times a monster."""
    if rng.random() < 0.0005:
        return rng.choice(MONSTERS)(rng)
    plain = log(rng)
    for _ in range(rng.choice((0, 0, 0, 0, 1, 1, 2, 4))):
        plain = hostile.damaged(rng, plain)
    return packed(rng, plain) if rng.random() < 0.2 else plain


def log(rng: random.Random) -> bytes:
    """A log as some logger might write it, encoded."""
    separator = rng.choice(",,,,,,,,,,,,;\t|")
    end = rng.choice(("\n",) * 12 + ("\r\n",) * 5 + ("\r", "\n\n", "\x85"))
    titles = header(rng)
    lines = [separator.join(titles)]
    start = datetime(2026, 1, 5) + timedelta(seconds=rng.randrange(40_000_000))  # noqa: DTZ001
    lines += [
        separator.join(row(rng, titles, start + number * timedelta(seconds=10)))
        for number in range(rng.choice((0, 1, 2, 3, 5, 12)))
    ]
    if rng.random() < 0.05:
        lines.insert(rng.randrange(len(lines) + 1), rng.choice(("", "#", "Logger 7;;", ",", '"')))
    if rng.random() < 0.04:
        lines = [line + rng.choice(("\n", "\r\n", "\r", "\u2028")) for line in lines]
        end = ""
    text = end.join(lines) + rng.choice((end, end, ""))
    encoding = rng.choice(hostile.ENCODINGS) if rng.random() < 0.05 else "utf-8"
    return text.encode(encoding, errors="replace")


def header(rng: random.Random) -> list[str]:
    """Titles: time, channels, and what is none."""
    other = rng.choice(("Time", "", "date", "time ", "\ufefftime"))
    titles = [other if rng.random() < 0.04 else "time"]
    titles += [title(rng) for _ in range(rng.choice((1, 2, 2, 3, 6, 20)))]
    if rng.random() < 0.1:
        rng.shuffle(titles)
    if rng.random() < 0.05:
        titles.append(rng.choice(titles))
    return titles


def title(rng: random.Random) -> str:
    """A column's title."""
    if rng.random() < 0.03:
        return hostile.quoted(rng, rng.choice(hostile.WORDS))
    indoor = rng.random() < 0.4
    channel = rng.choice(INDOOR if indoor else OUTDOOR)
    unit = PLAUSIBLE.get(channel.quantity, ("", 0, 0))[0]
    if rng.random() < 0.03:
        unit = f" [{rng.choice(hostile.UNITS)}]"
    code = f"{rng.choice(CODES[: 2 if rng.random() < 0.9 else 6])}/" if indoor else ""
    return f"{code}{channel.name}{unit}"


def row(rng: random.Random, titles: list[str], at: datetime) -> list[str]:
    """Cells for the titles; ragged at times."""
    cells = [value(rng, each, at) for each in titles]
    draw = rng.random()
    if draw < 0.03:
        cells = cells[: rng.randrange(len(cells) + 1)]
    elif draw < 0.06:
        cells += [hostile.cell(rng)] * rng.choice((1, 2, 50))
    if rng.random() < 0.03:
        place = rng.randrange(len(cells) + 1)
        cells[place : place + 1] = [hostile.quoted(rng, hostile.cell(rng))]
    return cells


def value(rng: random.Random, title: str, at: datetime) -> str:
    """One cell."""
    if title == "time":
        if rng.random() < 0.9:
            return at.isoformat() + rng.choice(("Z", "Z", "Z", "", "+01:00"))
        return rng.choice(hostile.TIMES)
    if rng.random() < 0.1:
        return hostile.cell(rng)
    if rng.random() < 0.1:
        return ""
    if title.endswith(("call", "reported_state")):
        return rng.choice(("cool", "heat", "off", "fan", "cooling", "heating", "defrost"))
    for unit, low, high in PLAUSIBLE.values():
        if unit and title.endswith(unit):
            return f"{rng.uniform(low, high):.1f}"
    return rng.choice("01")


def packed(rng: random.Random, plain: bytes) -> bytes:
    """Gzip of it: whole, in members, cut, claiming other sizes, with bytes behind, or twice."""
    whole = gzip.compress(plain, compresslevel=1)
    match rng.randrange(9):
        case 0:
            half = len(plain) // 2
            return gzip.compress(plain[:half], 1) + gzip.compress(plain[half:], 1)
        case 1:
            return whole[: rng.randrange(len(whole))]
        case 2:
            return whole[:-4] + struct.pack("<I", rng.choice((0, 0xFFFFFFFF, 1_000_000_000)))
        case 3:
            return whole + rng.choice((b"\0", b"x", b"\x1f\x8b", whole[:9], bytes(600)))
        case 4:
            return gzip.compress(whole, 1)
        case 5:
            return hostile.damaged(rng, whole)
        case 6:  # header fields: extra, name, comment, checksum of the header
            return whole[:3] + bytes([rng.randrange(256)]) + whole[4:]
        case _:
            return whole


def bomb(rng: random.Random) -> bytes:
    """Up to 600 MiB in little, claiming a billion rows."""
    packer = zlib.compressobj(9, zlib.DEFLATED, 31)
    line = rng.choice((b"\0", b"\n", b",\n", b"2026-01-05T00:00:00Z,2500\n", b'a","b\n', b'"'))
    piece = line * (MIB // len(line))
    begin = packer.compress(b"time,discharge_pressure [kPa(a)]\n")
    return (
        begin
        + b"".join(packer.compress(piece) for _ in range(rng.choice((2, 70, 600))))
        + (packer.flush())
    )


def wide(rng: random.Random) -> bytes:
    """Thousands of columns."""
    count = rng.choice((1_999, 2_000, 2_001, 10_000, 100_000))
    name = rng.choice(("c{}", "", "discharge_pressure [kPa(a)]", '"c{}"', "<b>{}</b>"))
    titles = ",".join(["time", *(name.format(at) for at in range(count))])
    cells = ",".join(["2026-01-05T00:00:00Z", *("1" for _ in range(count))])
    return f"{titles}\n{cells}\n{cells}\n".encode()


def many_lines(rng: random.Random) -> bytes:
    """A megabyte of the same short line behind a header."""
    line = rng.choice(
        (b"\n", b",\n", b'"\n', b'a","b\n', b'""\n', b"\r\n", b'"",\n', b"x,\n", b'"""\n')
    )
    rows = b"time,discharge_pressure [kPa(a)]\n2026-01-05T00:00:00Z,2500\n"
    return rows + line * (rng.choice((100, 1_000, 1_024)) * 1024 // len(line))


def long_line(rng: random.Random) -> bytes:
    """One cell or one line of a megabyte."""
    sign = rng.choice((b"a", b",", b'"', b" ", b'""', "é".encode(), b"9"))
    where = rng.choice((b"", b"time,", b"time,discharge_pressure [kPa(a)]\n2026-01-05T00:00:00Z,"))
    return where + sign * (rng.choice((200_000, MIB)) // len(sign)) + rng.choice((b"", b"\n"))


def many_years(rng: random.Random) -> bytes:
    """Rows that are weeks apart, over a century."""
    at, step = datetime(2000, 1, 1), timedelta(days=rng.choice((1, 7, 30)))  # noqa: DTZ001
    rows = [f"{at + number * step:%Y-%m-%dT%H:%M:%S}Z,2500\n" for number in range(5_000)]
    return ("time,discharge_pressure [kPa(a)]\n" + "".join(rows)).encode()


def many_members(rng: random.Random) -> bytes:
    """Gzip of very many members."""
    member = zlib.compress(rng.choice((b"", b"x", b"time,")), wbits=31)
    return member * rng.choice((9_999, 10_001, 50_000))


MONSTERS: tuple[Callable[[random.Random], bytes], ...] = (
    bomb,
    wide,
    many_lines,
    many_lines,
    long_line,
    many_years,
    many_members,
)
