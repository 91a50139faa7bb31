"""Addresses of the service."""

from __future__ import annotations

from django.urls import include, path

from resurf import health

urlpatterns = [
    path("healthz", health.healthz),
    path("readyz", health.readyz),
    path("", include("shared.urls")),
    path("", include("jobs.urls")),
    path("", include("scheduling.urls")),
    path("", include("scheduling.urls_office")),
    path("", include("scheduling.urls_site")),
]
