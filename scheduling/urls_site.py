"""Addresses used on site and at home: the crew lead's phone and the pool owner's page."""

from django.urls import path

from scheduling.views import (
    crew_week,
    done,
    fill_watch,
    log,
    phone,
    phone_queue,
    plaster_day,
    pool_owner,
    start_up,
    today,
)
from scheduling.views.on_site import kept_on_phone

urlpatterns = [
    path("today/", kept_on_phone(today.today), name="today"),
    path("site/week/", kept_on_phone(crew_week.crew_week), name="crew-week"),
    path("site/jobs/<uuid:pk>/plaster-day/", kept_on_phone(plaster_day.plaster_day), name="plaster-day"),
    path("site/jobs/<uuid:pk>/fill/", kept_on_phone(fill_watch.fill_watch), name="fill-watch"),
    path("site/jobs/<uuid:pk>/start-up/", kept_on_phone(start_up.start_up), name="start-up"),
    path("site/jobs/<uuid:pk>/log/", log.log, name="log"),
    path("site/stints/<uuid:pk>/done/", kept_on_phone(done.stint_done), name="stint-done"),
    path("site/day/", phone.phone_day, name="phone-day"),
    path("site/queue/", phone_queue.phone_queue, name="phone-queue"),
    path("worker.js", phone.worker, name="worker"),
    path("manifest.webmanifest", phone.manifest, name="manifest"),
    path("no-signal/", phone.no_signal, name="no-signal"),
    path("pool/<str:secret>/", pool_owner.pool_owner, name="pool-owner"),
    path("pool/<str:secret>/answer/", pool_owner.answer, name="pool-owner-answer"),
    path("pool/<str:secret>/alarm/", pool_owner.alarm, name="pool-owner-alarm"),
]
