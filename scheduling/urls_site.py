"""Addresses used on site and at home: the crew lead's phone and the pool owner's page."""

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
