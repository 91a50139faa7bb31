from __future__ import annotations

from typing import Any

import pytest
from django.contrib.postgres.operations import AddIndexConcurrently
from django.db import migrations, models
from django.db.migrations.loader import MigrationLoader

from resurf.migration_rules import AGREED, harms

OURS = ("shared", "jobs", "scheduling")


def migration(*operations: Any) -> migrations.Migration:
    made = migrations.Migration("0099_x", "jobs")
    made.operations = list(operations)
    return made


def said(*operations: Any) -> str:
    return "\n".join(harms(migration(*operations)))


def test_no_migration_of_ours_locks_or_rewrites_a_table_in_use():
    loader = MigrationLoader(None)
    ours = [found for key, found in loader.disk_migrations.items() if key[0] in OURS]
    assert len(ours) >= 8
    assert "\n".join(harm for found in ours for harm in harms(found)) == ""


def test_every_agreed_exception_is_there_and_says_why():
    loader = MigrationLoader(None)
    names = {f"{app}.{name}" for app, name in loader.disk_migrations}
    assert set(AGREED) <= names
    assert all(len(reason) > 10 for reason in AGREED.values())


@pytest.mark.parametrize(
    ("operation", "words"),
    [
        (migrations.AddField("job", "x", models.IntegerField()), "db_default"),
        (migrations.AddField("job", "x", models.IntegerField(default=1)), "db_default"),
        (migrations.AddField("job", "x", models.IntegerField(null=True, unique=True)), "concurrently"),
        (migrations.AddField("job", "x", models.IntegerField(null=True, db_index=True)), "concurrently"),
        (migrations.AlterField("job", "x", models.BigIntegerField()), "rewritten"),
        (migrations.AddIndex("job", models.Index(fields=["x"], name="x")), "AddIndexConcurrently"),
        (
            migrations.AddConstraint("job", models.CheckConstraint(condition=models.Q(x=1), name="x")),
            "AddConstraintNotValid",
        ),
        (migrations.RenameField("job", "x", "y"), "old name"),
        (migrations.RenameModel("Job", "Work"), "old name"),
        (migrations.RemoveField("job", "x"), "later release"),
        (migrations.DeleteModel("Job"), "later release"),
        (migrations.RunSQL("UPDATE jobs_job SET x = 1"), "AGREED"),
        (migrations.RunPython(migrations.RunPython.noop), "AGREED"),
    ],
    ids=lambda value: type(value).__name__ if not isinstance(value, str) else value.replace(" ", "-"),
)
def test_what_would_hold_up_the_service_is_refused(operation: Any, words: str):
    assert words in said(operation)


@pytest.mark.parametrize(
    "operation",
    [
        migrations.CreateModel("New", [("id", models.BigAutoField(primary_key=True))]),
        migrations.AddField("job", "x", models.IntegerField(null=True)),
        migrations.AddField("job", "x", models.IntegerField(db_default=0)),
        migrations.AlterField("job", "x", models.CharField(max_length=400)),
        AddIndexConcurrently("job", models.Index(fields=["x"], name="x")),
        migrations.RemoveIndex("job", "x"),
    ],
    ids=lambda operation: type(operation).__name__,
)
def test_what_holds_up_nobody_is_taken(operation: Any):
    assert said(operation) == ""


def test_a_table_of_the_same_migration_may_be_finished_in_it():
    new = migrations.CreateModel("New", [("id", models.BigAutoField(primary_key=True))])
    assert said(new, migrations.AddField("new", "x", models.IntegerField())) == ""
