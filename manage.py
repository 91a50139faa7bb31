#!/usr/bin/env python
"""Commands of the service: demo, doctor, migrate, plan ..."""

import os
import sys

from django.conf import settings
from django.core.management import execute_from_command_line

from resurf.embedded.borrow import engines_for
from resurf.embedded.options import read_before_settings

if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "resurf.settings")
    read_before_settings(sys.argv[1:])
    with engines_for(sys.argv[1:], settings.DATA_DIR):
        execute_from_command_line(sys.argv)
