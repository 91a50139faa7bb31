from __future__ import annotations

import base64
import hashlib
import hmac

from django.db import models

from shared.keys import installation_keys
from shared.tenancy.models import TenantModel


class TokenKind(models.TextChoices):
    FEED = "feed", "calendar link"
    LINK = "link", "private link"
    API = "api", "API token"
    INVITATION = "invitation", "invitation"


class AccessToken(TenantModel):
    """A secret that opens one thing without a login. Only its hash is stored.

    The secret itself is derived from the row and the installation's key, so that the office can see a link again
    while a copy of the database alone opens nothing. A new generation revokes the old secret.
    """

    kind = models.CharField(max_length=12, choices=TokenKind.choices)
    purpose = models.CharField(max_length=32)
    subject_id = models.UUIDField(null=True, help_text="The job, crew or member it is for; none for the firm.")
    note = models.JSONField(default=dict)
    generation = models.PositiveIntegerField(default=1)
    token_hash = models.CharField(max_length=64, unique=True)
    made_by = models.CharField(max_length=120, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)
    expires_at = models.DateTimeField(null=True)
    revoked_at = models.DateTimeField(null=True)
    last_used_at = models.DateTimeField(null=True)

    class Meta(TenantModel.Meta):
        abstract = False
        indexes = [models.Index(fields=["contractor", "purpose", "subject_id"], name="shared_token_subject")]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} for {self.purpose}"

    @property
    def secret(self) -> str:
        """By the key of which the stored hash is; a new secret by the key in use."""
        known = [self._by(key) for key in installation_keys()]
        return next((secret for secret in known if token_hash(secret) == self.token_hash), known[0])

    @property
    def can_be_shown(self) -> bool:
        """Whether its key is still there; a link of a key that was given up opens, but nobody can see it again."""
        return token_hash(self.secret) == self.token_hash

    def follows_from(self, number: int) -> bool:
        """Whether the secret follows from the key in use (0) or from the so-many-th one of before."""
        return token_hash(self._by(installation_keys()[number])) == self.token_hash

    def _by(self, key: bytes) -> str:
        digest = hmac.new(key, f"access:{self.id}:{self.generation}".encode(), hashlib.sha256).digest()
        return base64.urlsafe_b64encode(digest).rstrip(b"=").decode()


def token_hash(secret: str) -> str:
    """SHA-256 of a 256-bit secret; nothing slower is needed for random keys."""
    return hashlib.sha256(secret.encode()).hexdigest()
