"""The README's commands are the ones that exist, and its test command is what CI runs."""

from __future__ import annotations

import re

from tests.structure import source

README = source.Path("README.md")
DEMO = "python manage.py demo"
TEST = "python -m pytest"


def shell_lines() -> list[str]:
    """Lines of the README's shell blocks, in order."""
    blocks = re.findall(r"^```(?:sh|console)\n(.*?)^```", source.text(README), re.M | re.S)
    return [line for block in blocks for line in block.splitlines() if line.strip()]


def test_the_first_two_commands_run_the_demo_and_pass_the_tests() -> None:
    demo, test = shell_lines()[:2]
    assert demo.endswith(DEMO), demo
    assert "--require-hashes -r requirements.lock" in demo
    assert test.endswith(TEST), test
    assert "--require-hashes -r requirements-test.lock" in test


def test_ci_runs_the_test_command_unchanged() -> None:
    script = source.text(source.Path(".ci/run")).splitlines()
    assert script[-1] == shell_lines()[1]


def test_the_command_table_is_the_commands_that_exist() -> None:
    existing = {
        path.stem
        for path in source.python_files("fleet")
        if path.parts[1:3] == ("management", "commands") and not path.stem.startswith("_")
    }
    table = re.findall(r"^\| `([a-z_]+)[ `]", source.text(README), re.M)
    assert sorted(table) == sorted(existing)


def test_the_readme_shows_no_picture_that_is_missing() -> None:
    for target in re.findall(r"!\[[^\]]*\]\(([^)\s]+)\)", source.text(README)):
        assert (source.ROOT / target).is_file(), f"README.md shows {target}, which does not exist"


def test_the_readme_links_to_no_missing_file() -> None:
    for target in re.findall(r"(?<!!)\[[^\]]+\]\(([^)#\s]+)[^)]*\)", source.text(README)):
        if "://" not in target:
            assert (source.ROOT / target).exists(), f"README.md links to {target}"
