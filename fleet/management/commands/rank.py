"""``manage.py rank``: the fleet in the order in which somebody should look at it."""

from __future__ import annotations

import json
from argparse import ArgumentParser
from collections.abc import Sequence
from io import StringIO
from shutil import get_terminal_size
from typing import Any

from django.core.checks import Tags
from django.core.management.base import BaseCommand
from django.utils import timezone
from rich import box
from rich.console import Console
from rich.table import Table

from diagnostics.weighing.ledger import WORDS
from fleet.analysis.ranking import SiteRank, SystemRank, as_json, ranking
from fleet.management.arguments import moment
from fleet.models import System

NUMBERS = ("Rank", "Site", "Score", "Probable", "Judged")
HEADINGS = (
    *NUMBERS[:2],
    "System",
    "Score",
    "Leading suspicion",
    *NUMBERS[3:],
    "Last sample",
    "Why",
)

PLAIN_WIDTH = 400
"""Columns of a table that goes to a file or a pipe: every reason fits on its line."""


class Command(BaseCommand):
    """Prints the ranking."""

    help = "Print the ranking of sites and systems, highest score first."
    requires_system_checks = (Tags.files,)  # the others load every page, and it shows none

    def add_arguments(self, parser: ArgumentParser) -> None:
        """--format and --at."""
        parser.add_argument("--format", choices=("table", "json"), default="table")
        parser.add_argument(
            "--at", metavar="TIME", help="rank as of this RFC 3339 time (default: now)"
        )

    def handle(self, **options: Any) -> None:
        """Rank and print."""
        at = moment("--at", options["at"]) if options["at"] else timezone.now()
        sites = ranking(at, System.objects.all())
        if options["format"] == "json":
            self.stdout.write(json.dumps(as_json(at, sites), indent=1))
        else:
            self.stdout.write(as_table(sites, colour=self.stdout.isatty()))


def as_table(sites: Sequence[SiteRank], *, colour: bool = False) -> str:
    """The ranking as text: a line a system, and why."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    for heading in HEADINGS:
        table.add_column(
            heading, justify="right" if heading in NUMBERS else "left", no_wrap=heading != "Why"
        )
    for site in sites:
        for i, system in enumerate(site.systems):
            of_site = ("", "") if i else (str(site.rank), f"{site.score:.1f}")
            table.add_row(*of_site, *_cells(system))
    width = get_terminal_size().columns if colour else PLAIN_WIDTH
    text = StringIO()
    Console(file=text, width=width, force_terminal=colour, highlight=False).print(table)
    if not sites:
        return "No site is registered. Load one with load_site."
    return "\n".join(line.rstrip() for line in text.getvalue().splitlines())


def percent(share: float) -> str:
    """Whole per cent; rounding alone makes nothing certain or impossible."""
    least, most = 0.01 if share > 0.0 else 0.0, 0.99 if share < 1.0 else 1.0
    return f"{min(max(share, least), most):.0%}"


def _cells(system: SystemRank) -> tuple[str, ...]:
    probable = system.conditions.get(system.leading)
    last = system.last_sample
    return (
        f"{system.site}/{system.system}",
        f"{system.score:.1f}",
        WORDS[system.leading] + (", urgent" if system.urgent else ""),
        "" if probable is None else percent(probable),
        percent(system.coverage),
        f"{last:%Y-%m-%d %H:%MZ}" if last else "none",
        system.why,
    )
