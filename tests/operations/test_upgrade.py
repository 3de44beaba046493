"""The release before works with the tables of this one: both run while it goes out."""

from __future__ import annotations

import pytest
from django.db import connection, migrations, models
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.operations.base import Operation
from django_migration_linter import MigrationLinter
from django_migration_linter.sql_analyser import analyse_sql_statements
from django_migration_linter.sql_analyser.postgresql import PostgresqlAnalyser

pytestmark = pytest.mark.django_db

BEFORE_THE_FIRST_RELEASE = ["0008_rounds_and_visits"]
"""Columns without a default in the database; no release without them was ever given out."""

NAMES_ONLY = ["RUNPYTHON_ARGS_NAMING_CONVENTION", "RUNPYTHON_MODEL_VARIABLE_NAME"]
WHAT_TO_DO = (
    "the release before breaks on these tables. Add first (nullable, or with db_default), move in "
    "the release after, remove in the one after that"
)


def test_every_migration_leaves_the_release_before_working(
    capsys: pytest.CaptureFixture[str],
) -> None:
    linter = MigrationLinter(
        include_apps=["fleet"], no_cache=True, analyser_string="postgresql",
        exclude_migration_tests=NAMES_ONLY,
        ignore_name=BEFORE_THE_FIRST_RELEASE,
    )  # fmt: skip
    linter.lint_all_migrations(app_label="fleet")
    assert linter.nb_total == len(
        [key for key in MigrationLoader(connection).disk_migrations if key[0] == "fleet"]
    )
    assert not linter.has_errors, f"{WHAT_TO_DO}:\n{capsys.readouterr().out}"


def found(*operations: Operation) -> list[str]:
    """What the linter says of a migration on top of the latest."""
    migration = migrations.Migration("of_tomorrow", "fleet")
    migration.operations = list(operations)
    state = MigrationLoader(connection).project_state()
    with connection.schema_editor(collect_sql=True, atomic=True) as editor:
        migration.apply(state, editor, collect_sql=True)
    errors, _, _ = analyse_sql_statements(PostgresqlAnalyser, editor.collected_sql, [])
    return [error.code for error in errors]


@pytest.mark.parametrize(
    ("operation", "code"),
    [
        (migrations.RemoveField("upload", "name"), "DROP_COLUMN"),
        (migrations.RenameField("upload", "name", "title"), "RENAME_COLUMN"),
        (migrations.DeleteModel("DueDay"), "DROP_TABLE"),
        (migrations.RenameModel("DueDay", "WaitingDay"), "RENAME_TABLE"),
        (migrations.AlterField("upload", "attempts", models.TextField()), "ALTER_COLUMN"),
        # Django fills existing rows and drops the default: what older code inserts then fails.
        (migrations.AddField("upload", "colour", models.TextField(default="")), "NOT_NULL"),
        (migrations.AlterField("upload", "retry_at", models.DateTimeField()), "NOT_NULL"),
        (migrations.AlterField("upload", "name", models.CharField(max_length=255, unique=True)),
         "ADD_UNIQUE"),
    ],
)  # fmt: skip
def test_what_breaks_the_release_before_is_found(operation: Operation, code: str) -> None:
    assert code in found(operation)


def test_what_it_can_live_with_is_not() -> None:
    added = migrations.AddField("upload", "colour", models.TextField(null=True))
    given = migrations.AddField("upload", "shade", models.TextField(db_default=""))
    assert found(added, given) == []
