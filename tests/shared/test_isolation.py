"""No firm sees or touches a neighbour's row, whatever the program above the database does."""

from __future__ import annotations

import pytest
from django.apps import apps
from django.db import connection, transaction
from django.db.utils import IntegrityError, ProgrammingError

from jobs.models import Job
from scheduling.models import Crew, Shift
from shared.backend import person_id_of
from shared.ids import uuid7
from shared.models import AuditEntry, Membership, Person, TokenKind, token_hash
from shared.services.tokens import token_make
from shared.tenancy.context import (
    NoContractorActive,
    acting_as,
    acting_for,
    contractor_id_or_none,
    current_contractor_id,
)
from shared.tenancy.models import TenantForeignKey, TenantModel
from tests.cast import Cast, a_bit_of_everything, open_job

TENANT_MODELS = [model for model in apps.get_models() if issubclass(model, TenantModel)]


def count(table: str) -> int:
    with connection.cursor() as cursor:
        cursor.execute(f'SELECT count(*) FROM "{table}"')
        return int(cursor.fetchone()[0])


def test_a_tenant_query_without_a_contractor_raises(cast: Cast):
    for model in TENANT_MODELS:
        with pytest.raises(NoContractorActive):
            model._default_manager.count()


def test_raw_sql_without_a_contractor_finds_nothing(cast: Cast):
    a_bit_of_everything(cast.own)
    assert {model._meta.db_table: count(model._meta.db_table) for model in TENANT_MODELS} == {
        model._meta.db_table: 0 for model in TENANT_MODELS
    }
    assert count("shared_person") == 0


def test_raw_sql_for_another_firm_finds_only_that_firms_rows(cast: Cast):
    a_bit_of_everything(cast.own)
    with acting_for(cast.own.contractor.pk):
        ours = {model: count(model._meta.db_table) for model in TENANT_MODELS}
    assert [model for model, rows in ours.items() if rows == 0] == []
    with acting_for(cast.other.contractor.pk), connection.cursor() as cursor:
        for model in TENANT_MODELS:
            cursor.execute(
                f'SELECT count(*) FROM "{model._meta.db_table}" WHERE contractor_id <> %s', [cast.other.contractor.pk]
            )
            assert cursor.fetchone()[0] == 0, model


def test_another_firms_rows_can_be_neither_changed_nor_deleted_nor_written(cast: Cast):
    job = open_job(cast.own)
    with acting_for(cast.other.contractor.pk), connection.cursor() as cursor:
        for model in TENANT_MODELS:
            table = model._meta.db_table
            if table == "shared_auditentry":
                continue
            cursor.execute(f'UPDATE "{table}" SET contractor_id = contractor_id')
            touched = cursor.rowcount
            cursor.execute(f'SELECT count(*) FROM "{table}"')
            assert touched == cursor.fetchone()[0]
        cursor.execute("DELETE FROM jobs_job WHERE id = %s", [job.pk])
        assert cursor.rowcount == 0
    with pytest.raises(ProgrammingError, match="row-level security"), acting_for(cast.other.contractor.pk):
        Crew(contractor=cast.own.contractor, name="x", skills=["water"], latitude=1, longitude=1).save()


FOREIGN_KEYS = [
    (model, field)
    for model in TENANT_MODELS
    for field in model._meta.local_fields
    if isinstance(field, TenantForeignKey)
]


@pytest.mark.parametrize(("model", "field"), FOREIGN_KEYS, ids=lambda x: getattr(x, "name", getattr(x, "__name__", "")))
def test_no_key_may_point_at_another_firms_row(cast: Cast, model: type[TenantModel], field: TenantForeignKey):
    for firm in (cast.own, cast.other):
        a_bit_of_everything(firm)
    table, column, target = model._meta.db_table, field.column, field.related_model._meta.db_table
    with acting_for(cast.own.contractor.pk), connection.cursor() as cursor:
        cursor.execute(f'SELECT id FROM "{target}" LIMIT 1')
        theirs = cursor.fetchone()
    if theirs is None:
        theirs = (uuid7(),)  # no such row anywhere: the key must refuse that too
    with (
        pytest.raises(IntegrityError),
        transaction.atomic(),
        acting_for(cast.other.contractor.pk),
        connection.cursor() as cursor,
    ):
        cursor.execute(f'UPDATE "{table}" SET "{column}" = %s', theirs)
        if cursor.rowcount == 0:
            pytest.fail(f"{table} is empty in the cast: fill it, or the key is not tested")
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")


def test_the_scope_nests_and_comes_back(cast: Cast):
    own, other = cast.own.contractor.pk, cast.other.contractor.pk
    with acting_for(own):
        with acting_for(other):
            assert current_contractor_id() == other
            assert _setting() == str(other)
        assert current_contractor_id() == own
        assert _setting() == str(own)
    assert contractor_id_or_none() is None
    assert _setting() == ""


def test_an_error_inside_leaves_no_scope_behind(cast: Cast):
    with pytest.raises(RuntimeError), acting_for(cast.own.contractor.pk):
        raise RuntimeError
    assert contractor_id_or_none() is None
    assert _setting() == ""


def test_a_database_error_inside_leaves_no_scope_behind(cast: Cast):
    with pytest.raises(ProgrammingError), acting_for(cast.own.contractor.pk), connection.cursor() as cursor:
        cursor.execute("SELECT no_such_column FROM jobs_job")
    assert _setting() == ""
    assert count("jobs_job") == 0


def _setting() -> str:
    with connection.cursor() as cursor:
        cursor.execute("SELECT COALESCE(current_setting('resurf.contractor', true), '')")
        return str(cursor.fetchone()[0])


def test_people_cannot_be_listed(cast: Cast):
    with acting_as(cast.own.office.person.pk):
        assert [person.email for person in Person.objects.all()] == ["office@own.example"]
    with acting_for(cast.own.contractor.pk):
        seen = set(Person.objects.values_list("email", flat=True))
    assert seen == {"office@own.example", "manager@own.example", "crew_lead@own.example", "both@cast.example"}


def test_a_person_sees_their_own_memberships_everywhere_and_no_others(cast: Cast):
    with acting_as(cast.both.pk):
        firms = set(Membership.of_person.values_list("contractor__slug", flat=True))
    assert firms == {"own", "other"}
    with acting_as(cast.own.office.person.pk):
        assert Membership.of_person.count() == 1


def test_an_address_finds_an_id_and_nothing_more(cast: Cast):
    assert person_id_of("OFFICE@own.example ") == cast.own.office.person.pk
    assert person_id_of("nobody@own.example") is None


def test_the_token_function_gives_ids_only_for_the_right_kind(cast: Cast):
    with acting_for(cast.own.contractor.pk):
        token = token_make(TokenKind.FEED, "firm")
    with connection.cursor() as cursor:
        for kind, secret, rows in (
            ("feed", token.secret, [(cast.own.contractor.pk, token.pk)]),
            ("link", token.secret, []),
            ("feed", "wrong", []),
            ("feed", "' OR true --", []),
        ):
            cursor.execute("SELECT contractor_id, token_id FROM resurf_token(%s, %s)", [kind, token_hash(secret)])
            assert cursor.fetchall() == rows


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE shared_auditentry SET who = 'nobody'",
        "DELETE FROM shared_auditentry",
        "TRUNCATE shared_auditentry",
    ],
)
def test_the_audit_trail_cannot_be_changed(cast: Cast, statement: str):
    with acting_for(cast.own.contractor.pk):
        assert AuditEntry.objects.exists()
    with (
        pytest.raises(ProgrammingError, match="permission denied"),
        acting_for(cast.own.contractor.pk),
        connection.cursor() as cursor,
    ):
        cursor.execute(statement)


def test_the_role_of_the_service_owns_nothing_and_bypasses_nothing(db: None):
    with connection.cursor() as cursor:
        cursor.execute("SELECT rolsuper, rolbypassrls, rolcreaterole FROM pg_roles WHERE rolname = current_user")
        assert cursor.fetchone() == (False, False, False)
        cursor.execute("SELECT count(*) FROM pg_class WHERE relowner = current_user::regrole")
        assert cursor.fetchone() == (0,)
        cursor.execute("SELECT pg_has_role(current_user, 'resurf_resolver', 'MEMBER')")
        assert cursor.fetchone() == (False,)


def test_numbers_of_jobs_belong_to_the_firm(cast: Cast):
    assert open_job(cast.own).number == 101
    assert open_job(cast.other).number == 101
    with acting_for(cast.own.contractor.pk):
        assert Job.objects.count() == 1
        assert Shift.objects.count() == 21
