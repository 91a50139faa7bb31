from shared.models.access_token import AccessToken, TokenKind, token_hash
from shared.models.api_answer import ApiAnswer
from shared.models.audit_entry import AuditEntry
from shared.models.contractor import Contractor
from shared.models.firm import Firm, Units
from shared.models.membership import Membership, Role
from shared.models.outgoing import OutgoingState
from shared.models.password_mail import PasswordMail
from shared.models.person import Person
from shared.models.second_factor import SecondFactor
from shared.models.session import Session, session_hash

__all__ = [
    "AccessToken",
    "ApiAnswer",
    "AuditEntry",
    "Contractor",
    "Firm",
    "Membership",
    "OutgoingState",
    "PasswordMail",
    "Person",
    "Role",
    "SecondFactor",
    "Session",
    "TokenKind",
    "Units",
    "session_hash",
    "token_hash",
]
