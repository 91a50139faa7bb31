"""A pool owner's personal data is erased on request; what was done, when and by whom stays in the audit trail."""

from resurf.erasure.service import Extent, erasure_extent, pool_owner_erase

__all__ = ["Extent", "erasure_extent", "pool_owner_erase"]
