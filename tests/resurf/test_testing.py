"""The engines under the tests: real servers, emptied between tests by the role that may."""

from __future__ import annotations

import pytest
from django.core.cache import cache
from django.db import connection, connections
from django.db.transaction import TransactionManagementError, atomic

from resurf.postgresql.base import DatabaseWrapper


def sessions() -> int:
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM django_session")
        count: int = cursor.fetchone()[0]
    return count


@pytest.mark.parametrize("turn", [1, 2])
@pytest.mark.django_db(transaction=True)
def test_committed_rows_are_gone_before_the_next_test(turn: int) -> None:
    assert sessions() == 0
    with connection.cursor() as cursor:
        cursor.execute("INSERT INTO django_session VALUES (%s, 'v', now())", [str(turn)])
    assert sessions() == 1


@pytest.mark.parametrize("turn", [1, 2])
@pytest.mark.usefixtures("engines")
def test_the_cache_is_empty_before_the_next_test(turn: int) -> None:
    assert cache.get("left-behind") is None
    cache.set("left-behind", turn)
    assert cache.get("left-behind") == turn


@pytest.mark.django_db(transaction=True)
def test_the_owner_role_is_lent_and_given_back() -> None:
    def role() -> str:
        with connection.cursor() as cursor:
            cursor.execute("SELECT current_user")
            name: str = cursor.fetchone()[0]
        return name

    wrapper = connections["default"]
    assert isinstance(wrapper, DatabaseWrapper)
    with wrapper.as_owner():
        assert role() == "resurf_owner"
        with wrapper.as_owner():
            assert role() == "resurf_owner"
        assert role() == "resurf_owner"
    assert role() == "resurf_app"


@pytest.mark.django_db(transaction=True)
def test_the_owner_role_is_refused_inside_a_transaction() -> None:
    wrapper = connections["default"]
    assert isinstance(wrapper, DatabaseWrapper)
    with (
        atomic(),
        pytest.raises(TransactionManagementError, match="inside a transaction"),
        wrapper.as_owner(),
    ):
        pass
