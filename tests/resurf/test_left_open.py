"""A connection that something left open does not keep the test database from being dropped (shown at the end)."""

import psycopg
import pytest
from django.db import connection

LEFT_OPEN: list[psycopg.Connection] = []


@pytest.mark.django_db
def test_a_connection_left_open_is_ended_when_the_database_goes():
    asked = ("dbname", "user", "host", "port", "password")
    settings = {name: value for name, value in connection.get_connection_params().items() if name in asked}
    LEFT_OPEN.append(psycopg.connect(**settings))
    assert LEFT_OPEN[0].execute("SELECT current_user").fetchone() == ("resurf_app",)
