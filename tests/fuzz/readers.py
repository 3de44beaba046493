"""What reads bytes from outside, each with what may come of it: a result or a refusal in words."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np

from diagnostics.channels import EMPTY
from fleet.ingest import manifest, manifest_rules, proposal, sniff
from fleet.ingest.limits import MAX_REASONS
from fleet.ingest.mapping import Layout
from fleet.ingest.parse import Parsed, parse
from fleet.ingest.proposal import Room
from fleet.ingest.report import Complaint, RefusedError
from fleet.ingest.unpack import unpack
from fleet.timeseries.columns import INDOOR_COLUMNS, OUTDOOR_COLUMNS, indoor_column
from tests.fuzz.tally import WrongError
from tests.ingest.building import LISBON
from tests.ingest.test_mapping import foreign

ROOMS = (Room("A-101", "Ticket office", 1), Room("A-102", "", 2))
EARLIEST, LATEST = np.datetime64("1999-12-31"), np.datetime64("2100-01-02")


@cache
def layouts() -> tuple[Layout, ...]:
    """Mappings a site may have in use: another logger's, and ones whose titles are like ours."""
    look = sniff.look(foreign())
    told = proposal.layout_of(look, proposal.propose(look, LISBON, ROOMS))
    utf_16 = replace(told, encoding="utf-16", separator="\t")
    return told, utf_16


def upload(body: bytes) -> str:
    """Parse an upload; the outcome, or why it is refused in short."""
    try:
        found = parse(body, LISBON, layouts())
    except RefusedError as refusal:
        _check_complaint(refusal.complaint)
        return f"refused: {_short(refusal)}"
    _check(found, body)
    left_out = found.report.rows_left_out or found.report.cells_left_out
    return "taken, some of it left out" if left_out else "taken whole"


def _check(found: Parsed, body: bytes) -> None:
    report, block = found.report, found.block
    lines = unpack(body).count(b"\n") + 1
    if not 0 < block.time.size <= report.rows_accepted <= lines * 2:
        raise WrongError(f"{block.time.size} instants, {report.rows_accepted} rows, {lines} lines")
    if np.isnat(block.time).any() or block.time[0] < EARLIEST or block.time[-1] > LATEST:
        raise WrongError(f"times from {block.time[0]} to {block.time[-1]}")
    given = {name: (OUTDOOR_COLUMNS[name], codes) for name, codes in block.outdoor.items()}
    for key, codes in block.indoor.items():
        given[indoor_column(*key)] = (INDOOR_COLUMNS[indoor_column(*key)][1], codes)
    for name, (channel, codes) in given.items():
        values = channel.decode(codes[codes != EMPTY])
        if values.size and not (
            np.isfinite(values).all()
            and values.min() >= channel.low - channel.quantum
            and values.max() <= channel.high + channel.quantum
        ):
            raise WrongError(f"{name} holds {values.min()} to {values.max()}")
    listed = report.complaints()
    if len(listed) > MAX_REASONS:
        raise WrongError(f"{len(listed)} complaints are listed")
    for complaint in listed:
        _check_complaint(complaint)


def _check_complaint(complaint: Complaint) -> None:
    if not complaint.reason.strip():
        raise WrongError("a complaint without words")
    said = str(complaint)
    if not said.isprintable():
        raise WrongError(f"control characters in what a command prints: {said!r}")


def _short(refusal: RefusedError) -> str:
    """The reason's first words, without what is quoted from the file."""
    told = str(refusal).split(";")[0].split('"')[0].split("[")[0]
    words = [word for word in told.split() if not word[:1].isdigit()]
    return " ".join(words[:5])


def manifest_text(text: str) -> str:
    """Read a manifest, without a database."""
    try:
        read, _ = manifest._load(text)
    except manifest.ManifestError as error:
        _check_problems(error.problems)
        return "refused: not TOML"
    wrong = list(manifest_rules.problems(read))
    _check_problems(wrong)
    return "refused: wrong content" if wrong else "taken"


def _check_problems(problems: list[str]) -> None:
    for said in problems:
        if not said.strip() or not said.isprintable():
            raise WrongError(f"not to be printed: {said[:200]!r}")


def proposal_for(body: bytes) -> str:
    """Look at a foreign log, propose, and read it by the proposal."""
    try:
        look = sniff.look(sniff.beginning(body))
    except RefusedError as refusal:
        _check_complaint(refusal.complaint)
        return f"refused: {_short(refusal)}"
    told = proposal.propose(look, LISBON, ROOMS)
    layout = proposal.layout_of(look, told)
    if Layout.from_json(layout.as_json()) != layout:
        raise WrongError("the layout is another when it was stored")
    if not layout.time.titles:
        return "no time found"
    try:
        _check(parse(body, LISBON, [layout]), body)
    except RefusedError as refusal:
        _check_complaint(refusal.complaint)
        return f"proposed, refused: {_short(refusal)}"
    return "proposed and taken"
