"""Addresses used on site and at home: the crew lead's phone and the pool owner's page."""

from django.urls import path

from scheduling.views import done, fill_watch, log, plaster_day, pool_owner, start_up, today

urlpatterns = [
    path("today/", today.today, name="today"),
    path("site/jobs/<uuid:pk>/plaster-day/", plaster_day.plaster_day, name="plaster-day"),
    path("site/jobs/<uuid:pk>/fill/", fill_watch.fill_watch, name="fill-watch"),
    path("site/jobs/<uuid:pk>/start-up/", start_up.start_up, name="start-up"),
    path("site/jobs/<uuid:pk>/log/", log.log, name="log"),
    path("site/stints/<uuid:pk>/done/", done.stint_done, name="stint-done"),
    path("pool/<str:secret>/", pool_owner.pool_owner, name="pool-owner"),
    path("pool/<str:secret>/answer/", pool_owner.answer, name="pool-owner-answer"),
]
