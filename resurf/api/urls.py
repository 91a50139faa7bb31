"""Addresses of the API. `/schema` is open, everything else asks for a token."""

from __future__ import annotations

from django.urls import path, re_path

from jobs.api import views as jobs
from resurf.api import schema
from scheduling.api import firm, planning, work
from shared.api import views as shared

app_name = "api"

urlpatterns = [
    path("schema", schema.document, name="schema"),
    path("me", shared.Me.as_view(), name="me"),
    path("members", shared.Members.as_view(), name="members"),
    path("members/<uuid:pk>", shared.OneMember.as_view(), name="member"),
    path("invitations", shared.Invitations.as_view(), name="invitations"),
    path("invitations/<uuid:pk>", shared.OneInvitation.as_view(), name="invitation"),
    path("audit", shared.Audit.as_view(), name="audit"),
    path("jobs", jobs.Jobs.as_view(), name="jobs"),
    path("jobs/<uuid:pk>", jobs.OneJob.as_view(), name="job"),
    path("jobs/<uuid:pk>/surveys", jobs.JobSurveys.as_view(), name="job-surveys"),
    path("jobs/<uuid:pk>/scope", jobs.JobScope.as_view(), name="job-scope"),
    path("jobs/<uuid:pk>/scopes", jobs.JobScopes.as_view(), name="job-scopes"),
    path("jobs/<uuid:pk>/scope/proposed", jobs.JobScopeProposed.as_view(), name="job-scope-proposed"),
    path("jobs/<uuid:pk>/quantities", jobs.JobQuantities.as_view(), name="job-quantities"),
    path("jobs/<uuid:pk>/dates", jobs.JobDates.as_view(), name="job-dates"),
    path("jobs/<uuid:pk>/water-tests", jobs.JobWaterTests.as_view(), name="job-water-tests"),
    path("jobs/<uuid:pk>/additions", jobs.JobAdditions.as_view(), name="job-additions"),
    path("jobs/<uuid:pk>/start-up-method", jobs.JobStartUpMethod.as_view(), name="job-start-up-method"),
    path("jobs/<uuid:pk>/logs", work.JobLogs.as_view(), name="job-logs"),
    path("jobs/<uuid:pk>/full", work.JobFull.as_view(), name="job-full"),
    path("jobs/<uuid:pk>/groundwater", work.JobGroundwater.as_view(), name="job-groundwater"),
    path("jobs/<uuid:pk>/promise", work.JobPromise.as_view(), name="job-promise"),
    path("jobs/<uuid:pk>/call-off", work.JobCallOff.as_view(), name="job-call-off"),
    path("sites", jobs.Sites.as_view(), name="sites"),
    path("sites/<uuid:pk>", jobs.OneSite.as_view(), name="site"),
    path("pools", jobs.Pools.as_view(), name="pools"),
    path("pools/<uuid:pk>", jobs.OnePool.as_view(), name="pool"),
    path("surveys", jobs.Surveys.as_view(), name="surveys"),
    path("surveys/<uuid:pk>", jobs.OneSurvey.as_view(), name="survey"),
    path("surveys/<uuid:pk>/observations/<str:name>", jobs.OneObservation.as_view(), name="observation"),
    path("water-tests", jobs.WaterTests.as_view(), name="water-tests"),
    path("additions", jobs.Additions.as_view(), name="additions"),
    path("logs", work.Logs.as_view(), name="logs"),
    path("stints", work.Stints.as_view(), name="stints"),
    path("stints/<uuid:pk>", work.OneStint.as_view(), name="stint"),
    path("stints/<uuid:pk>/keep", work.StintKeep.as_view(), name="stint-keep"),
    path("stints/<uuid:pk>/mark", work.StintMark.as_view(), name="stint-mark"),
    path("stints/<uuid:pk>/done", work.StintDone.as_view(), name="stint-done"),
    path("plans", planning.Plans.as_view(), name="plans"),
    path("plans/<uuid:pk>", planning.OnePlan.as_view(), name="plan"),
    path("plans/<uuid:pk>/changes", planning.PlanChanges.as_view(), name="plan-changes"),
    path("plans/<uuid:pk>/issue", planning.PlanIssue.as_view(), name="plan-issue"),
    path("plans/<uuid:pk>/set-aside", planning.PlanSetAside.as_view(), name="plan-set-aside"),
    path("plan-runs", planning.Runs.as_view(), name="runs"),
    path("plan-runs/<uuid:pk>", planning.OneRun.as_view(), name="run"),
    path("plan-runs/<uuid:pk>/stop", planning.RunStop.as_view(), name="run-stop"),
    path("decisions", planning.Decisions.as_view(), name="decisions"),
    path("weather/again", planning.WeatherAgain.as_view(), name="weather-again"),
    path("crews", firm.Crews.as_view(), name="crews"),
    path("crews/<uuid:pk>", firm.OneCrew.as_view(), name="crew"),
    path("crews/<uuid:pk>/absences", firm.CrewAbsences.as_view(), name="crew-absences"),
    path("absences", firm.Absences.as_view(), name="absences"),
    path("absences/<uuid:pk>", firm.OneAbsence.as_view(), name="absence"),
    path("firm", firm.FirmSettings.as_view(), name="firm"),
    path("firm/limits", firm.FirmLimits.as_view(), name="firm-limits"),
    path("firm/rates", firm.FirmRates.as_view(), name="firm-rates"),
    path("links", firm.Links.as_view(), name="links"),
    path("links/<uuid:pk>", firm.OneLink.as_view(), name="link"),
    path("links/<uuid:pk>/rotate", firm.LinkRotate.as_view(), name="link-rotate"),
    re_path(r"^.*$", schema.nothing, name="nothing"),
]
