"""``manage.py demo``: a fleet to look at, from nothing to the dashboard in one command."""

from __future__ import annotations

import os
import time
from argparse import ArgumentParser
from datetime import datetime
from typing import Any

import psutil
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

from fixtures import demo
from fleet.analysis import backlog, days
from fleet.analysis.ranking import ranking
from fleet.embedded import EmbeddedError, data_folder
from fleet.embedded.processes import listen
from fleet.management import demonstration, serving
from fleet.management.arguments import REFUSED, WRONG_USAGE
from fleet.management.commands.rank import as_table
from fleet.models import System

INTERRUPTED = 130
"""What shells report of a process that ended by Ctrl-C."""


class Command(BaseCommand):
    """Loads the demo fleet, prints the ranking and serves the dashboard."""

    help = "Load and analyse a simulated fleet, print its ranking and serve the dashboard."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """--no-serve and --port."""
        parser.add_argument("--no-serve", action="store_true", help="stop after the ranking")
        serving.add_port(parser, "dashboard")

    def handle(self, *, no_serve: bool, port: int, **_: Any) -> None:
        """Load what is missing, say who may look, and serve."""
        if os.environ.get("DATABASE_URL"):
            raise CommandError(
                "demo makes people with printed passwords, so it uses the private database only:"
                " unset DATABASE_URL.",
                returncode=WRONG_USAGE,
            )
        try:
            if not no_serve:
                listen(port).close()  # better known before a minute of loading than after
            self._prepare()
            if not no_serve:
                serving.serve(port, self.stdout, _address)
        except EmbeddedError as error:
            raise CommandError(str(error)) from error
        except KeyboardInterrupt:
            raise CommandError(
                "interrupted; run demo again to go on.", returncode=INTERRUPTED
            ) from None

    def _prepare(self) -> None:
        now = timezone.now()
        call_command("migrate", interactive=False, verbosity=0)
        if missing := demonstration.days_missing(now):
            self._load(missing, now)
        else:
            self.stdout.write("The demo fleet is loaded already.")
            self._catch_up()
        passwords = demonstration.admit_people()
        demonstration.give_work()
        self.stdout.write("")
        self.stdout.write(as_table(ranking(now, System.objects.all())))
        self.stdout.write("People, with passwords of this run:")
        for person in demonstration.PEOPLE:
            name = f"{person.first_name} {person.last_name}, {person.role.label}"
            self.stdout.write(f"  {person.username:<12}{passwords[person.username]}   {name}")
        self.stdout.write(f"Ready after {_age_s():.0f} s.")
        self.stdout.flush()

    def _catch_up(self) -> None:
        """Analyse what was left over, or all days when the method has changed since."""
        days.mark_outdated_due()
        if waiting := len(backlog.systems_with_work()):
            self.stdout.write(f"Analysing what is due of {waiting} systems …")
            self.stdout.flush()
            backlog.drain_parallel(demonstration.PROCESSES)

    def _load(self, missing: int, now: datetime) -> None:
        end = demo.latest_midnight(now)
        systems = sum(len(site.systems) for site in demo.sites(end))
        self.stdout.write(
            f"Simulating, taking in and analysing {missing} days of {systems} systems …"
        )
        self.stdout.flush()
        columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
        console = Console(stderr=True)
        began = time.perf_counter()
        folder = data_folder() / "demo" / f"until-{end:%Y-%m-%d}-for-{missing}-days"
        with Progress(
            *columns, TimeElapsedColumn(), console=console, disable=not console.is_terminal
        ) as bar:
            task = bar.add_task("Systems written and analysed", total=2 * systems)
            loaded = demonstration.load(folder, missing, now, lambda: bar.advance(task))
        refused = [reason for each in loaded for reason in each.refused]
        if refused:
            raise CommandError("\n".join(refused), returncode=REFUSED)
        rows = sum(each.rows for each in loaded)
        self.stdout.write(f"{rows:,} rows in {time.perf_counter() - began:.0f} s.")


def _address(address: str) -> str:
    ready = f"ready {_age_s():.0f} s after the start"
    return f"The dashboard is at {address} ({ready}). Ctrl-C stops it."


def _age_s() -> float:
    """Seconds since this process was started."""
    return time.time() - psutil.Process().create_time()
