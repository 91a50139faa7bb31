"""Addresses of the service."""

from __future__ import annotations

from django.urls import path

from resurf import health

urlpatterns = [
    path("healthz", health.healthz),
    path("readyz", health.readyz),
]
