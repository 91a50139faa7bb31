"""The signing key of an embedded installation: made once, kept in its data folder."""

from __future__ import annotations

import contextlib
import os
import secrets
from pathlib import Path

from resurf.embedded.folders import make_folder


def secret_key(data: Path) -> str:
    """Read the key, or make it at first use (only its owner may read the file)."""
    place = data / "secret_key"
    if not place.exists():
        make_folder(data)
        unfinished = data / f"secret_key.{os.getpid()}"
        descriptor = os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(descriptor, "w") as file:
            file.write(secrets.token_urlsafe(48))
        with contextlib.suppress(FileExistsError):  # Another process was faster: its key counts.
            os.link(unfinished, place)
        unfinished.unlink()
    return place.read_text()
