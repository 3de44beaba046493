"""The runbook: every alarm and failed check leads to a page, and its commands exist."""

from __future__ import annotations

import io
import re
import shlex
from contextlib import redirect_stderr
from itertools import chain

import pytest
import yaml
from django.core.management import call_command, get_commands, load_command_class
from django.core.management.base import CommandError
from django.db import OperationalError, connection
from django.test import Client as Browser

from fleet.api.measures import measures
from fleet.api.probes import RUNBOOK
from fleet.gateway import uploader
from fleet.models import Role
from fleet.operations.runbook.leaves import FOLDER, Leaf, leaf, leaves
from tests.embedded.harness import REPOSITORY
from tests.operations.test_clock_steps import NOW
from tests.pages.scene import person, signed_in

FAILURES = {
    "database-down", "disk-full", "broker-down", "workers-behind", "upload-set-aside",
    "gateway-silent", "clock-wrong", "restore-after-loss", "bad-deploy", "token-leaked",
    "scheduler-duplicated",
}  # fmt: skip
PARTS = ["What is safe", "What to do", "It is over when"]
RULES = [
    rule
    for group in yaml.safe_load((REPOSITORY / "fleet/deploy/alerts.yml").read_text())["groups"]
    for rule in group["rules"]
]
COMPOSE = yaml.safe_load((REPOSITORY / "docker-compose.yml").read_text())
# Of `docker compose`, by their documentation: what takes services, and what else may follow.
OF_COMPOSE = {"ps", "logs", "restart", "exec", "run", "rm", "up", "stop", "top"}


def commands(page: Leaf) -> list[list[str]]:
    """Lines of its shell blocks, as words."""
    blocks = re.findall(r"^```sh\n(.*?)^```", page.text, re.M | re.S)
    return [shlex.split(line) for block in blocks for line in block.splitlines()]


ALL = [pytest.param(line, id=" ".join(line)) for page in leaves() for line in commands(page)]


def test_there_is_a_page_for_every_failure() -> None:
    assert {page.name for page in leaves()} == FAILURES


@pytest.mark.parametrize("page", leaves(), ids=lambda page: page.name)
def test_a_page_says_what_is_seen_what_is_safe_what_to_do_and_when_it_is_over(page: Leaf) -> None:
    assert re.findall(r"^## (.+)$", page.text, re.M) == PARTS
    before = page.text.split("## ")[0].partition("\n")[2].strip()
    assert before, "how it is seen"
    assert commands(page)
    assert len(page.text.splitlines()) < 60, "one page"
    for target in re.findall(r"\]\(([^)]+)\)", page.text):
        assert (FOLDER / target).is_file(), target
    for path in re.findall(r"`(tests/[\w/.]+)`", page.text):
        assert (REPOSITORY / path).is_file(), path


@pytest.mark.parametrize("line", ALL)
def test_commands_and_their_options_exist(line: list[str]) -> None:
    while re.fullmatch(r"[A-Z_]+=\S+", line[0]):
        line = line[1:]
    if line[:2] == ["docker", "compose"]:
        _is_of_compose(line[2:])
    elif line[:2] == ["docker", "volume"]:
        assert line[3].removeprefix("millrace_") in COMPOSE["volumes"]
    elif line[:2] == ["python", "manage.py"]:
        _is_of_manage(line[2:])
    elif line[:2] == ["python3", "uploader.py"]:
        _is_of_the_uploader(line[2:])
    else:
        assert line in (["timedatectl", "status"], ["docker", "system", "df"])


def _is_of_compose(words: list[str]) -> None:
    verb, rest = words[0], words[1:]
    assert verb in OF_COMPOSE
    services = [word for word in rest if word in COMPOSE["services"]]
    scaled = [word.partition("=")[0] for word in rest if re.fullmatch(r"[a-z]+=\d+", word)]
    assert set(scaled) <= set(COMPOSE["services"])
    if verb not in {"up", "ps"}:
        assert services, "names no service"
    if verb == "run" and "manage.py" in rest:
        _is_of_manage(rest[rest.index("manage.py") + 1 :])


def _is_of_manage(words: list[str]) -> None:
    command = load_command_class(get_commands()[words[0]], words[0])
    command.create_parser("manage.py", words[0]).parse_args(words[1:])  # exits on what is none


def _is_of_the_uploader(words: list[str]) -> None:
    said = io.StringIO()
    with redirect_stderr(said), pytest.raises(SystemExit):
        uploader.arguments(words)
    assert "token.txt" in said.getvalue(), "all but its files is right"


def test_a_command_that_does_not_exist_would_be_found() -> None:
    for words in (["retry", "--every"], ["restart"], ["token"]):
        with pytest.raises((SystemExit, KeyError, CommandError)):
            _is_of_manage(words)
    with pytest.raises(AssertionError):
        _is_of_compose(["restart", "database"])


@pytest.mark.django_db
def test_every_alarm_is_of_a_metric_there_is_and_leads_to_a_page() -> None:
    names = {gauge.name for gauge in measures(NOW)}
    for rule in RULES:
        assert leaf(rule["annotations"]["runbook"]) is not None, rule["alert"]
        assert set(re.findall(r"millrace_\w+", rule["expr"])) <= names, rule["alert"]
    told = "".join(page.text for page in leaves())
    assert all(f"`{rule['alert']}`" in told for rule in RULES)
    assert set(re.findall(r"millrace_\w+_(?:seconds|aside|silent|ahead|days)", told)) <= names


def test_every_check_is_on_a_page() -> None:
    ids = set(re.findall(r"millrace\.[EW]\d+", (REPOSITORY / "fleet/checks.py").read_text()))
    assert {"millrace.E002", "millrace.W002"} <= ids
    told = chain.from_iterable(re.findall(r"millrace\.[EW]\d+", page.text) for page in leaves())
    of_a_wrong_start = {"millrace.E001"}
    assert ids - of_a_wrong_start <= set(told)
    for name in re.findall(r"runbook ([a-z-]+)", (REPOSITORY / "fleet/checks.py").read_text()):
        assert leaf(name) is not None, name


@pytest.mark.django_db
def test_what_is_not_ready_names_its_page() -> None:
    assert all(leaf(name) for name in RUNBOOK.values())
    with connection.execute_wrapper(_away):
        document = Browser().get("/readyz").json()
    assert document["runbook"] == ["/runbook/database-down/", "/runbook/bad-deploy/"]


def _away(*_: object) -> None:
    raise OperationalError("gone")


def test_the_command_prints_pages_without_a_server() -> None:
    out = io.StringIO()
    call_command("runbook", stdout=out)
    assert len(out.getvalue().splitlines()) == len(FAILURES)
    call_command("runbook", "disk-full", stdout=out)
    assert "# The disk of the database is full" in out.getvalue()
    with pytest.raises(CommandError, match="has no page 'flood'; it has bad-deploy, broker-down"):
        call_command("runbook", "flood")


@pytest.mark.django_db
def test_staff_reads_it_in_the_browser_and_nobody_else() -> None:
    manager = person("rhea", Role.MANAGER)
    for path in ("/runbook/", "/runbook/disk-full/"):
        assert Browser().get(path)["Location"].startswith("/sign-in")
        assert signed_in(manager).get(path).status_code == 404
    manager.is_staff = True
    manager.save()
    staff = signed_in(manager)
    assert "The disk of the database is full" in staff.get("/runbook/").content.decode()
    page = staff.get("/runbook/disk-full/").content.decode()
    assert "<h1>The disk of the database is full</h1>" in page
    assert 'href="../restore-after-loss/"' in staff.get("/runbook/database-down/").content.decode()
    for name in ("flood", "__init__"):
        assert staff.get(f"/runbook/{name}/").status_code == 404
