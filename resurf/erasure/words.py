"""Name, address, telephone and e-mail of a pool owner wherever else they were typed: in any text of the firm's jobs."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from typing import Any, Final

from django.apps import apps
from django.db import models
from django.db.models import Q
from django.db.models.functions import Cast, Lower

from jobs.models import PoolOwner, Site
from resurf.erasure.rows import ERASED
from scheduling.models import Crew, Hook, NoticeText, Shift
from shared.tenancy.models import TenantModel

APPS: Final = ("jobs", "scheduling")
# What the firm says of itself, other people and homes, and fields that are keys, marks and names of members.
NEVER: Final = (Crew, Shift, Hook, NoticeText, PoolOwner)
OF_OTHER_HOMES: Final = {(Site, "label"), (Site, "address")}
NO_TEXT: Final = {
    "fingerprint", "uid", "digest", "file", "small_file", "sha256", "sent_sha256", "branch", "zone", "message_id",
    "by", "taken_by", "agreed_by", "added_by", "issued_by", "asked_by", "made_by", "kept_by", "key", "language",
}  # fmt: skip


def words_erase(words: list[str]) -> int:
    """Replace these words in every free text and JSON of the active contractor's jobs; returns rows that changed."""
    if not words:
        return 0
    return sum(_of(model, field, words) for model, field in fields())


def fields() -> Iterator[tuple[type[TenantModel], models.Field[Any, Any]]]:
    """Every field that can hold a word that somebody typed."""
    for model in apps.get_models():
        if model._meta.app_label not in APPS or not issubclass(model, TenantModel) or model in NEVER:
            continue
        for field in model._meta.local_fields:
            text = isinstance(field, (models.CharField, models.TextField, models.JSONField))
            known = field.name in NO_TEXT or (model, field.name) in OF_OTHER_HOMES
            if text and not field.choices and not field.unique and not known:
                yield model, field


def _of(model: type[TenantModel], field: models.Field[Any, Any], words: list[str]) -> int:
    is_json = isinstance(field, models.JSONField)
    wanted = Q()
    for word in words:
        wanted |= Q(as_text__contains=(json.dumps(word, ensure_ascii=False)[1:-1] if is_json else word).lower())
    rows = model.objects.annotate(as_text=Lower(Cast(field.name, models.TextField()))).filter(wanted)
    count = 0
    replaced = _replacing(words)
    for pk, value in list(rows.values_list("pk", field.name)):
        new = _deep(value, replaced) if is_json else replaced(value)
        if new != value:
            model.objects.filter(pk=pk).update(**{field.name: new})
            count += 1
    return count


def _replacing(words: list[str]) -> Callable[[str], str]:
    either = "|".join(re.escape(word) for word in words)
    whole = re.compile(rf"(?<!\w)(?:{either})(?!\w)", re.IGNORECASE)
    return lambda text: whole.sub(ERASED, text)


def _deep(value: Any, replaced: Callable[[str], str]) -> Any:
    if isinstance(value, dict):
        return {replaced(key): _deep(each, replaced) for key, each in value.items()}
    if isinstance(value, list):
        return [_deep(each, replaced) for each in value]
    return replaced(value) if isinstance(value, str) else value
