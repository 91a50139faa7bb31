import pytest
from django.apps import apps
from django.db import connection

from shared.tenancy.models import TenantForeignKey, TenantManager, TenantModel

pytestmark = pytest.mark.django_db

TENANT_MODELS = [model for model in apps.get_models() if issubclass(model, TenantModel)]
OPEN_TABLES = {
    "shared_person",
    "shared_secondfactor",
    "shared_session",  # a person's, whatever firm: seen by its key and by that person
    "shared_passwordmail",  # a queue: whoever asked for a new password, in no firm's name
    "shared_contractor",
    "jobs_weathercell",
    "jobs_weatherhours",
    "jobs_forecastkept",
}


def test_every_table_with_a_contractor_column_has_enabled_and_forced_row_security():
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT c.relname, c.relrowsecurity, c.relforcerowsecurity, "
            "  (SELECT count(*) FROM pg_policy p WHERE p.polrelid = c.oid AND p.polcmd = '*') "
            "FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid AND a.attname = 'contractor_id' "
            "WHERE c.relkind IN ('r', 'p') AND c.relnamespace = 'public'::regnamespace"
        )
        rows = cursor.fetchall()
    assert {row[0] for row in rows} == {model._meta.db_table for model in TENANT_MODELS}
    assert [row for row in rows if not (row[1] and row[2] and row[3] >= 1)] == []


def test_every_own_table_is_a_tenant_table_or_named_as_open():
    ours = [m for m in apps.get_models() if m._meta.app_label in ("shared", "jobs", "scheduling")]
    assert {m._meta.db_table for m in ours if not issubclass(m, TenantModel)} == OPEN_TABLES


@pytest.mark.parametrize("model", TENANT_MODELS, ids=lambda m: m._meta.label)
def test_a_tenant_model_has_a_raising_manager_and_composite_keys(model):
    assert isinstance(model._default_manager, TenantManager)
    assert isinstance(model._base_manager, TenantManager)
    for field in model._meta.local_fields:
        target = field.related_model
        if target is not None and issubclass(target, TenantModel):
            assert isinstance(field, TenantForeignKey), f"{model}.{field.name} is a plain foreign key"
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT conname, contype, pg_get_constraintdef(oid) FROM pg_constraint WHERE conrelid = %s::regclass",
            [model._meta.db_table],
        )
        constraints = cursor.fetchall()
    definitions = [definition for _, _, definition in constraints]
    assert "UNIQUE (contractor_id, id)" in definitions
    for field in model._meta.local_fields:
        if isinstance(field, TenantForeignKey):
            start = f"FOREIGN KEY (contractor_id, {field.column}) REFERENCES {field.related_model._meta.db_table}"
            assert any(d.startswith(start) and "DEFERRABLE INITIALLY DEFERRED" in d for d in definitions)


@pytest.mark.parametrize("model", TENANT_MODELS, ids=lambda m: m._meta.label)
def test_unique_keys_of_tenant_tables_start_with_the_contractor(model):
    allowed = {"id", "token_hash", "uid"}  # random by themselves: they betray nothing of another firm
    for field in model._meta.local_fields:
        if field.unique:
            assert field.name in allowed
    for constraint in model._meta.constraints:
        fields = getattr(constraint, "fields", ())
        if fields:
            assert fields[0] == "contractor"
