"""The web service as a WSGI application."""

import os

from django.core.wsgi import get_wsgi_application
from django.urls import get_resolver

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "resurf.settings")
application = get_wsgi_application()
assert get_resolver().url_patterns  # the code of every page: read once for all processes, not at the first request
