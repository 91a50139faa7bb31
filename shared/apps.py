import importlib

from django.apps import AppConfig


class SharedConfig(AppConfig):
    name = "shared"
    verbose_name = "Contractors, members, access"

    def ready(self) -> None:
        for name in ("shared.security_log", "shared.session_rules"):
            importlib.import_module(name)  # their receivers listen from now on
