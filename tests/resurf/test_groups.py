"""Two databases behind the router: whatever is done in one is not there in the other."""

from __future__ import annotations

from collections.abc import Iterator
from copy import deepcopy
from typing import Any
from unittest import mock

import psycopg
import pytest
from celery import current_app
from django.db import DEFAULT_DB_ALIAS, IntegrityError, connection, connections, transaction
from django.test import Client

from jobs.models import Job
from resurf.group_settings import HEADER, groups_of, schedule_of
from resurf.groups import group, working_on
from resurf.postgresql import roles
from shared.models import Contractor, Person
from shared.tenancy.context import acting_for
from tests.cast import PASSWORD, make_cast, open_job
from tests.resurf.test_backup import address, superuser

EAST = "east"


@pytest.fixture
def east(transactional_db: None, settings: Any) -> Iterator[str]:
    """A second database with the same tables, known to Django as "east" for as long as the test runs."""
    default = connections[DEFAULT_DB_ALIAS]
    settings.DATABASE_GROUP_HOSTS = {"east.testserver": EAST}
    settings.ALLOWED_HOSTS = ["testserver", "east.testserver"]
    name, boss = str(default.settings_dict["NAME"]), superuser()
    second = f"{name}_east"
    default.close()
    with psycopg.connect(address(boss, "postgres"), autocommit=True) as root:
        root.execute("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = %s", [name])
        root.execute(f'CREATE DATABASE "{second}" TEMPLATE "{name}" OWNER {roles.OWNER}')
    connections[EAST] = type(default)({**deepcopy(default.settings_dict), "NAME": second}, alias=EAST)
    yield EAST
    connections[EAST].close()
    del connections[EAST]
    with psycopg.connect(address(boss, "postgres"), autocommit=True) as root:
        root.execute(f'DROP DATABASE "{second}" WITH (FORCE)')


def slugs() -> list[str]:
    with connection.cursor() as cursor:
        cursor.execute("SELECT slug FROM shared_contractor ORDER BY 1")
        return [slug for (slug,) in cursor.fetchall()]


def test_firms_of_two_groups_have_the_same_names_and_see_nothing_of_each_other(east: str):
    here = make_cast()
    open_job(here.own, label="Basin of the first")
    with working_on(east):
        assert (Contractor.objects.count(), slugs()) == (0, [])
        there = make_cast()
        open_job(there.own, label="Basin of the east")
        with acting_for(there.own.contractor.pk):
            assert [job.site.label for job in Job.objects.select_related("site")] == ["Basin of the east"]
            assert Job.objects.get()._state.db == east
        with acting_for(here.own.contractor.pk):
            assert Job.objects.count() == 0
    assert group() == DEFAULT_DB_ALIAS
    with acting_for(here.own.contractor.pk):
        assert [job.site.label for job in Job.objects.select_related("site")] == ["Basin of the first"]
    assert slugs() == ["other", "own"]


def test_transactions_savepoints_and_bare_sql_go_to_the_same_database(east: str):
    done: list[str] = []
    with working_on(east):
        with pytest.raises(RuntimeError), transaction.atomic():
            Contractor.objects.create(slug="undone", name="x")
            raise RuntimeError
        with transaction.atomic():
            transaction.on_commit(lambda: done.append(group()))
            Contractor.objects.create(slug="kept", name="x")
            with pytest.raises(IntegrityError), transaction.atomic():
                Contractor.objects.create(slug="kept", name="twice")
            assert slugs() == ["kept"]
        assert (slugs(), done) == (["kept"], [east])
    assert slugs() == []


def test_a_request_works_on_the_database_of_its_host(east: str):
    with working_on(east):
        cast = make_cast()
        open_job(cast.own, label="Basin of the east")
    client = Client(headers={"host": "east.testserver"})
    answer = client.post("/login/", {"email": "office@own.example", "password": PASSWORD})
    assert answer.status_code == 302
    assert "Basin of the east" in client.get("/jobs/").content.decode()
    first = Client(headers={"host": "testserver"})
    refused = first.post("/login/", {"email": "office@own.example", "password": PASSWORD})
    assert refused.status_code == 200, "nobody of that address is in the first database"
    first.cookies = client.cookies
    assert first.get("/jobs/").status_code == 302, "a session of the east opens nothing there"
    assert Person.objects.count() == 0


def test_a_task_goes_on_where_it_was_sent(east: str):
    with working_on(east):
        make_cast()
    seen: list[tuple[str, list[str]]] = []
    task = current_app.tasks["scheduling.sweep"]
    with mock.patch.object(type(task), "run", lambda _self: seen.append((group(), slugs()))):
        task.apply(headers={HEADER: east})
        task.apply()
    assert seen == [(east, ["other", "own"]), (DEFAULT_DB_ALIAS, [])]
    assert group() == DEFAULT_DB_ALIAS


def test_rows_of_two_groups_are_never_related(east: str):
    here = make_cast()
    with working_on(east):
        there = make_cast()
    crew = here.own.crews["water"]
    with pytest.raises(ValueError, match="prevents this relation"):
        crew.lead = there.own.members["crew_lead"]


def test_settings_name_groups_and_their_hosts():
    urls, hosts = groups_of(
        {
            "DATABASE_GROUPS": "east, west",
            "DATABASE_URL_EAST": "postgresql://a@h/e",
            "DATABASE_URL_WEST": "postgresql://a@h/w",
            "HOSTS_EAST": "east.plans.example, e.plans.example",
            "HOSTS_WEST": "west.plans.example",
        }
    )
    assert urls == {"east": "postgresql://a@h/e", "west": "postgresql://a@h/w"}
    assert hosts["e.plans.example"] == "east"
    assert groups_of({}) == ({}, {})
    schedule = schedule_of({"sweep": {"task": "scheduling.sweep", "schedule": 30.0}}, ["east"])
    assert schedule["sweep in east"]["options"]["headers"] == {HEADER: "east"}
    assert len(schedule) == 2
