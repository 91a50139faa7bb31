from shared.models.access_token import AccessToken, TokenKind, token_hash
from shared.models.audit_entry import AuditEntry
from shared.models.contractor import Contractor
from shared.models.firm import Firm, Units
from shared.models.membership import Membership, Role
from shared.models.person import Person

__all__ = [
    "AccessToken",
    "AuditEntry",
    "Contractor",
    "Firm",
    "Membership",
    "Person",
    "Role",
    "TokenKind",
    "Units",
    "token_hash",
]
