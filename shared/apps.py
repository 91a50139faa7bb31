import importlib

from django.apps import AppConfig


class SharedConfig(AppConfig):
    name = "shared"
    verbose_name = "Contractors, members, access"

    def ready(self) -> None:
        importlib.import_module("shared.security_log")  # its receivers listen from now on
