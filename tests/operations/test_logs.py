"""Log lines name their upload and system, for people and for programs."""

from __future__ import annotations

import json
import logging
import sys
from typing import get_args

import pytest

from fleet import tasks
from fleet.ingest import take_in as ingest
from fleet.ingest.receive import receive
from fleet.logs import Format, Formatter, about
from tests.analysis import building
from tests.embedded.harness import new_stack

HELLO = """
import logging
logging.getLogger("fleet").info("hello", extra={"upload": 7})
"""
SUBJECTS = {"upload": "7d0e", "system": "12"}


def formatted(shape: Format, message: str = "taken in", *, broken: bool = False) -> str:
    """A record made within ``about``."""
    exc_info = None
    if broken:
        try:
            raise ValueError('it says "no"')
        except ValueError:
            exc_info = sys.exc_info()
    record = logging.LogRecord("fleet.tasks", logging.INFO, "", 1, message, None, exc_info)
    with about(upload="7d0e"), about(system=12):
        return Formatter(shape).format(record)


def test_a_line_for_people_ends_with_its_subjects() -> None:
    line = formatted("line")
    assert line.endswith("INFO fleet.tasks: taken in upload=7d0e system=12")
    first, *traceback = formatted("line", broken=True).splitlines()
    assert first.endswith("upload=7d0e system=12")
    assert traceback[-1] == '  ValueError: it says "no"'


def test_json_is_one_object_a_line() -> None:
    line = formatted("json", "two\nlines", broken=True)
    assert "\n" not in line
    told = json.loads(line)
    assert SUBJECTS.items() <= told.items()
    assert (told["level"], told["logger"]) == ("info", "fleet.tasks")
    assert told["message"] == "two\nlines"
    assert told["exception"].endswith('ValueError: it says "no"')


def test_logfmt_quotes_what_would_break_it() -> None:
    line = formatted("logfmt", 'a="b" c')
    assert line.endswith(r'level=info logger=fleet.tasks message="a=\"b\" c" upload=7d0e system=12')
    assert "\n" not in formatted("logfmt", "x", broken=True)


FORGED = "a.csv\nWARNING fleet: all is well\r\x1b[2J\x9b\u2028\x7f"


@pytest.mark.parametrize("shape", get_args(Format))
def test_nothing_from_outside_forges_a_line_or_speaks_to_a_terminal(shape: Format) -> None:
    line = formatted(shape, FORGED)
    assert line.isprintable()
    assert r"a.csv\nWARNING fleet: all is well\r\u001b[2J\u009b\u2028\u007f" in line
    if shape == "json":
        assert json.loads(line)["message"] == FORGED


def test_no_line_of_a_traceback_looks_like_a_record() -> None:
    try:
        raise ValueError(FORGED)
    except ValueError:
        record = logging.LogRecord("fleet", logging.ERROR, "", 1, "broken", None, sys.exc_info())
    first, *rest = Formatter("line").format(record).split("\n")
    assert first.endswith("broken")
    assert all(each.startswith("  ") and each.isprintable() for each in rest)


def test_subjects_end_with_their_block_and_an_extra_wins() -> None:
    with about(upload="outer"):
        with about(upload="inner"):
            pass
        record = logging.makeLogRecord({"msg": "m", "levelname": "INFO", "system": 3})
        assert json.loads(Formatter("json").format(record))["upload"] == "outer"
        assert json.loads(Formatter("json").format(record))["system"] == "3"
    assert "upload" not in json.loads(Formatter("json").format(record))


def test_an_unknown_format_is_refused_by_name() -> None:
    with pytest.raises(ValueError, match="'xml': choose one of line, logfmt, json"):
        Formatter("xml")  # type: ignore[arg-type]


@pytest.mark.django_db
def test_a_failure_deep_inside_names_the_upload(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def failing(*_: object) -> None:
        raise RuntimeError("a flaw")

    monkeypatch.setattr(ingest, "begin", failing)
    upload, _ = receive(building.registered(), "a.csv", b"time\n")
    caplog.handler.setFormatter(Formatter("json"))
    tasks.take_in(str(upload.pk))
    failure, taken = (json.loads(line) for line in caplog.text.splitlines())
    assert failure["upload"] == taken["upload"] == str(upload.pk)
    assert failure["exception"].endswith("RuntimeError: a flaw")
    assert taken["system"] == str(upload.system_id)


@pytest.mark.parametrize("shape", get_args(Format))
def test_the_environment_chooses(shape: Format) -> None:
    with new_stack() as stack:
        said = stack.manage("shell", "--no-imports", "-c", HELLO, MILLRACE_LOG_FORMAT=shape).stderr
    expected = {"line": "INFO fleet: hello upload=7", "logfmt": "message=hello upload=7",
                "json": '"message": "hello", "upload": "7"}'}  # fmt: skip
    assert said.rstrip().endswith(expected[shape])
