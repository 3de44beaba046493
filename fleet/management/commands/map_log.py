"""``manage.py map_log``: says what the columns of another logger's file are, and keeps it."""

from __future__ import annotations

from argparse import ArgumentParser
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from rich import box
from rich.console import Console
from rich.table import Table

from fleet.ingest import circumstances, mapping, proposal, sniff
from fleet.ingest.mapping import Layout, Meaning
from fleet.ingest.parse import parse
from fleet.ingest.proposal import Proposal
from fleet.ingest.report import RefusedError
from fleet.management.arguments import REFUSED, WRONG_USAGE, registered_system
from fleet.models import LogMapping, System

PLAIN_WIDTH = 160


class Command(BaseCommand):
    """Proposes, corrects, tries and keeps a mapping."""

    help = "Say what the columns of another logger's file are; with --use, read such files so."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """System, file, corrections and --use."""
        parser.add_argument("system", metavar="SITE/SYSTEM")
        parser.add_argument("file", metavar="FILE", type=Path)
        parser.add_argument(
            "--is",
            dest="corrections",
            metavar="COLUMN=CHANNEL [UNIT][*SCALE]",
            action="append",
            default=[],
            help="correct a column, for instance 'Temp 3=A-101/room_temperature [degC]*0.1'; "
            "with nothing behind = it is passed over",
        )
        parser.add_argument("--utc", action="store_true", help="times without offset are UTC")
        parser.add_argument(
            "--use", action="store_true", help="take in such files of the site so from now on"
        )

    def handle(self, **options: Any) -> None:
        """Look, propose, try; keep when asked to."""
        system = registered_system(options["system"])
        sample, layout, told = _looked_at(system, options["file"])
        layout = _corrected(layout, options["corrections"])
        if options["utc"]:
            layout = replace(layout, time=replace(layout.time, utc=True))
        self._print(layout, told)
        try:
            report = parse(sample, circumstances.of(system), [layout]).report
        except RefusedError as refusal:
            raise CommandError(
                f"it cannot be taken in so: {refusal.complaint}.", returncode=REFUSED
            ) from refusal
        self.stdout.write(
            f"Of the sample, {report.rows_accepted} rows would be taken in; "
            f"{report.rows_left_out} rows and {report.cells_left_out} cells left out."
        )
        for complaint in report.complaints()[:5]:
            self.stdout.write(f"  {complaint}")
        if options["use"]:
            self._use(system, options["file"].name, sample, layout)

    def _print(self, layout: Layout, told: Sequence[Proposal]) -> None:
        table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
        for heading in ("Column", "Is", "Times", "Why proposed"):
            table.add_column(heading)
        for it in told:
            meaning = layout.columns.get(it.title, Meaning("", 1.0))
            shown = meaning.title.replace("[", r"\[") or "–"
            scale = f"{meaning.scale:g}" if meaning.scale != 1.0 else ""
            table.add_row(it.title.replace("[", r"\["), shown, scale, "; ".join(it.reasons))
        Console(file=self.stdout, width=PLAIN_WIDTH, highlight=False).print(table)  # type: ignore[arg-type]

    def _use(self, system: System, name: str, sample: bytes, layout: Layout) -> None:
        stored = LogMapping.objects.create(
            site=system.site, system=system, name=name, sample=sample, layout=layout.as_json()
        )
        again = mapping.use(stored)
        said = f"In use at {system.site.code}: such files are taken in as they are."
        self.stdout.write(f"{said} {again} refused before are taken up again." if again else said)


def _looked_at(system: System, file: Path) -> tuple[bytes, Layout, Sequence[Proposal]]:
    try:
        sample = sniff.beginning(file.read_bytes())
        look = sniff.look(sample)
    except OSError as error:
        raise CommandError(f"cannot read {file}: {error.strerror}.", returncode=REFUSED) from error
    except RefusedError as refusal:
        raise CommandError(f"{file}: {refusal}.", returncode=REFUSED) from refusal
    told = proposal.propose(look, circumstances.of(system), proposal.rooms_of(system))
    return sample, proposal.layout_of(look, told), told


def _corrected(layout: Layout, corrections: Sequence[str]) -> Layout:
    columns = dict(layout.columns)
    for text in corrections:
        title, equals, meant = text.partition("=")
        if not equals or title not in layout.titles:
            known = ", ".join(layout.titles)
            raise CommandError(
                f"--is {text!r}: write COLUMN=CHANNEL [UNIT] with one of {known}.",
                returncode=WRONG_USAGE,
            )
        name, star, scale = meant.partition("*")
        columns.pop(title, None)
        if name.strip():
            columns[title] = Meaning(name.strip(), _scale(text, scale) if star else 1.0)
    return replace(layout, columns=columns)


def _scale(option: str, text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise CommandError(
            f"--is {option!r}: behind * stands a number, for instance 0.1.", returncode=WRONG_USAGE
        ) from None
