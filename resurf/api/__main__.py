"""Write the API's document anew: `python -m resurf.api`."""

import os

import django

if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "resurf.settings")
    django.setup()
    from resurf.api.schema import FILE, as_text

    FILE.write_text(as_text(), encoding="utf-8")
