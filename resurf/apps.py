from django.apps import AppConfig


class ResurfConfig(AppConfig):
    name = "resurf"
    verbose_name = "The service"

    def ready(self) -> None:
        """Web and commands publish through the same Celery app that the workers run."""
        from resurf import celery  # noqa: F401, PLC0415  (its tasks need the app registry)
