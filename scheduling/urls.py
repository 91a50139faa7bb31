from django.urls import path

from scheduling.views import changes, date_for, decisions, feeds, plan_run, stint, weeks

urlpatterns = [
    path("", decisions.decisions, name="home"),
    path("weather/again/", decisions.weather_again, name="weather-again"),
    path("weeks/", weeks.weeks, name="weeks"),
    path("changes/", changes.changes, name="changes"),
    path("plans/ask/", plan_run.plan_asked, name="plan-ask"),
    path("plans/runs/<uuid:pk>/", plan_run.plan_run, name="plan-run"),
    path("plans/runs/<uuid:pk>/stop/", plan_run.plan_run_stop, name="plan-run-cancel"),
    path("plans/<uuid:pk>/issue/", changes.issue, name="plan-issue"),
    path("plans/<uuid:pk>/chances/", changes.chances, name="plan-chances"),
    path("plans/<uuid:pk>/issue-some/", changes.issue_some, name="plan-issue-some"),
    path("plans/<uuid:pk>/set-aside/", changes.set_aside, name="plan-set-aside"),
    path("stints/<uuid:pk>/", stint.stint, name="stint"),
    path("stints/<uuid:pk>/keep/", stint.keep, name="stint-keep"),
    path("stints/<uuid:pk>/others/", stint.others, name="stint-others"),
    path("stints/<uuid:pk>/move/", stint.move, name="stint-move"),
    path("stints/<uuid:pk>/mark/", stint.mark, name="stint-mark"),
    path("jobs/<uuid:pk>/date/", date_for.date_for, name="date-for"),
    path("jobs/<uuid:pk>/other-outcome/", stint.outcome, name="other-outcome"),
    path("jobs/<uuid:pk>/date/plans/", date_for.plans, name="date-plans"),
    path("feeds/<str:secret>/fill-days.ics", feeds.feed, name="feed"),
]
