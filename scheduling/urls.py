from django.urls import path

from scheduling.views import feeds

urlpatterns = [
    path("feeds/<str:secret>/fill-days.ics", feeds.feed, name="feed"),
]
