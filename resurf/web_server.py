"""Gunicorn's settings (`gunicorn -c python:resurf.web_server resurf.wsgi`); WEB_CONCURRENCY sets the processes."""

from __future__ import annotations

import os

from resurf.logs import logging_settings

bind = os.environ.get("BIND", "127.0.0.1:8000")
workers = int(os.environ.get("WEB_CONCURRENCY", "2"))
threads = int(os.environ.get("WEB_THREADS", "4"))
worker_class = "gthread"
preload_app = True  # The code is read once for all processes.
timeout = 60
graceful_timeout = 10
keepalive = 5
max_requests = 20_000
max_requests_jitter = 2_000
control_socket_disable = True
logconfig_dict = logging_settings(readable="DATABASE_URL" not in os.environ, level=os.environ.get("LOG_LEVEL", "INFO"))
