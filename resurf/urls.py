"""Addresses of the service."""

from __future__ import annotations

from django.urls import include, path

from resurf.erasure.page import erase
from resurf.favicon import favicon

handler500 = "resurf.errors.server_error"

urlpatterns = [
    path("favicon.ico", favicon, name="favicon"),
    path("api/v1/", include("resurf.api.urls")),
    path("jobs/<uuid:pk>/erase/", erase, name="pool-owner-erase"),
    path("", include("shared.urls")),
    path("", include("jobs.urls")),
    path("", include("scheduling.urls")),
    path("", include("scheduling.urls_office")),
    path("", include("scheduling.urls_site")),
    path("", include("scheduling.urls_notices")),
]
