"""Addresses of the office: jobs, the page of a job, the firm with its crews and calendar links."""

from django.urls import path

from scheduling.views import begin, crews, firm, firm_words, job, jobs, links, own_work, rung

urlpatterns = [
    path("jobs/", jobs.jobs, name="jobs"),
    path("jobs/<uuid:pk>/", job.job, name="job"),
    path("jobs/<uuid:pk>/call-off/", job.job_call_off, name="job-call-off"),
    path("jobs/<uuid:pk>/rung/", rung.job_rung, name="job-rung"),
    path("jobs/<uuid:pk>/groundwater/", job.groundwater, name="groundwater"),
    path("firm/", firm.firm, name="firm"),
    path("firm/begin/", begin.begin, name="begin"),
    path("firm/settings/", firm.firm_settings, name="firm-settings"),
    path("firm/limits/", firm.limits, name="limits"),
    path("firm/rates/", firm.rates, name="rates"),
    path("firm/words/", firm_words.words, name="firm-words"),
    path("firm/first-month/", firm_words.first_month, name="first-month"),
    path("firm/own-work/", own_work.own_work, name="own-work"),
    path("firm/own-work/reset/", own_work.reset, name="own-work-reset"),
    path("firm/own-work/entries/<uuid:pk>/", own_work.entry, name="own-work-entry"),
    path("firm/crews/new/", crews.crew_new, name="crew-new"),
    path("firm/crews/<uuid:pk>/", crews.crew, name="crew"),
    path("firm/crews/<uuid:pk>/change/", crews.crew_change, name="crew-change"),
    path("firm/crews/<uuid:pk>/absence/", crews.absence, name="absence"),
    path("firm/absences/<uuid:pk>/end/", crews.absence_end, name="absence-end"),
    path("links/make/", links.link_make, name="link-make"),
    path("links/<uuid:pk>/rotate/", links.link_rotate, name="link-rotate"),
    path("links/<uuid:pk>/revoke/", links.link_revoke, name="link-revoke"),
    path("links/<uuid:pk>/alarm/", links.link_alarm, name="link-alarm"),
]
