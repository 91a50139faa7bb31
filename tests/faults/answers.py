"""What an answer may be besides a yes."""

from __future__ import annotations


class NotNow(RuntimeError):
    """The service gave no answer that keeps anything; the person tries again or does something else."""


class Refused(NotNow):
    """The service said no; the same again would be refused again."""
