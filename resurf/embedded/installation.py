"""An embedded installation as the environment variables that a hand-made one would set."""

from __future__ import annotations

from pathlib import Path

from resurf.embedded.folders import folders
from resurf.embedded.secret import secret_key
from resurf.postgresql import roles


def embedded_environment(data: Path) -> dict[str, str]:
    """The addresses follow from the data folder, whether or not its engines run at this moment."""
    places = folders(data)
    cluster = places.cluster(install=Path())
    return {
        "DATABASE_URL": cluster.url(roles.APP),
        "DATABASE_OWNER_URL": cluster.url(roles.OWNER),
        "REDIS_URL": places.valkey(program=Path()).url,
        "SECRET_KEY": secret_key(data),
        "ALLOWED_HOSTS": "127.0.0.1,localhost,[::1]",
        "EMAIL_URL": f"file://{data / 'mail'}",
    }
