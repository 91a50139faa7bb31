from django.apps import AppConfig


class SharedConfig(AppConfig):
    name = "shared"
    verbose_name = "Contractors, members, access"
