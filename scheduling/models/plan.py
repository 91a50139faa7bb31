from __future__ import annotations

import datetime as dt

from django.db import models
from django.utils.translation import gettext_lazy as _

from jobs.models import Job
from scheduling.models.crew import Crew
from shared.tenancy.models import TenantForeignKey, TenantModel


class PlanState(models.TextChoices):
    PROPOSED = "proposed", _("proposed")
    ISSUED = "issued", _("issued")
    PAST = "past", _("past")


class Plan(TenantModel):
    """A whole set of stints. One issued plan a branch; a proposal becomes it, and it becomes past."""

    state = models.CharField(max_length=12, choices=PlanState.choices, default=PlanState.PROPOSED)
    branch = models.CharField(max_length=40, default="main")
    version = models.PositiveIntegerField()
    base_version = models.PositiveIntegerField(default=0, help_text="The issued version it was made from.")
    first_day = models.DateField(help_text="Day 0 of the slots.")
    problem = models.JSONField()
    answer = models.JSONField()
    objective = models.BigIntegerField()
    bound = models.BigIntegerField(null=True)
    greedy = models.BigIntegerField(null=True)
    why = models.CharField(max_length=160, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)
    issued_at = models.DateTimeField(null=True)
    issued_by = models.CharField(max_length=120, blank=True)

    class Meta(TenantModel.Meta):
        abstract = False
        constraints = [
            models.UniqueConstraint(fields=["contractor", "version"], name="scheduling_plan_version"),
            models.UniqueConstraint(
                fields=["contractor", "branch"], condition=models.Q(state="issued"), name="scheduling_plan_one_issued"
            ),
        ]

    def __str__(self) -> str:
        return f"plan {self.version} ({self.get_state_display()})"


class StintState(models.TextChoices):
    PROPOSED = "proposed", _("proposed")
    ISSUED = "issued", _("issued")
    BEGUN = "begun", _("begun")
    DONE = "done", _("done")
    DROPPED = "dropped", _("dropped")


class Stage(models.TextChoices):
    DRAIN_SETUP = "drain_setup", _("drain: set up pump")
    DRAIN_PULL = "drain_pull", _("drain: pull pump")
    PREP = "prep", _("chip and prep")
    BOND = "bond", _("bond coat")
    BOND_AGAIN = "bond_again", _("second bond coat")
    PLASTER = "plaster", _("apply and trowel")
    FILL_START = "fill_start", _("start the fill")
    FILL_END = "fill_end", _("end of the fill")
    START_UP = "start_up", _("start-up visit")


class Stint(TenantModel):
    """One crew at one site for one stage. `key` is the stage as the planner names it (start-up with its day)."""

    plan = TenantForeignKey(Plan, on_delete=models.PROTECT, related_name="stints", null=True)
    job = TenantForeignKey(Job, on_delete=models.PROTECT, related_name="stints")
    crew = TenantForeignKey(Crew, on_delete=models.PROTECT, related_name="stints")
    stage = models.CharField(max_length=16, choices=Stage.choices)
    key = models.CharField(max_length=24)
    state = models.CharField(max_length=12, choices=StintState.choices, default=StintState.ISSUED)
    starts = models.DateTimeField()
    ends = models.DateTimeField()
    kept = models.BooleanField(default=False, help_text="Keep this day: the planner may not move it.")
    begun_at = models.DateTimeField(null=True)
    done_at = models.DateTimeField(null=True)
    hours_worked = models.FloatField(null=True)

    class Meta(TenantModel.Meta):
        abstract = False
        constraints = [
            models.UniqueConstraint(
                fields=["contractor", "job", "key"],
                condition=~models.Q(state__in=["dropped", "proposed"]),
                name="scheduling_stint_once",
            ),
        ]
        indexes = [
            models.Index(fields=["contractor", "starts"], name="scheduling_stint_starts"),
            models.Index(fields=["contractor", "job"], name="scheduling_stint_job"),
            models.Index(fields=["contractor", "crew", "starts"], name="scheduling_stint_crew"),
        ]

    @property
    def begins(self) -> dt.datetime:
        """When it really began, once it has; else when it is planned."""
        return self.begun_at or self.starts

    def __str__(self) -> str:
        return f"{self.get_stage_display()} {self.starts:%Y-%m-%d %H:%M}"


class RunState(models.TextChoices):
    WAITING = "waiting", _("waiting")
    RUNNING = "running", _("running")
    DONE = "done", _("done")
    CANCELLED = "cancelled", _("stopped early")
    FAILED = "failed", _("failed")


class PlanRun(TenantModel):
    """One search for a plan. The row is the queue: a worker claims it, a sweep finds what died."""

    state = models.CharField(max_length=12, choices=RunState.choices, default=RunState.WAITING)
    branch = models.CharField(max_length=40, default="main")
    asked_by = models.CharField(max_length=120)
    asked_at = models.DateTimeField(auto_now_add=True)
    why = models.CharField(max_length=160, blank=True)
    seconds = models.PositiveSmallIntegerField(default=20)
    seed = models.PositiveIntegerField(default=1)
    attempts = models.PositiveSmallIntegerField(default=0)
    claimed_at = models.DateTimeField(null=True)
    beat_at = models.DateTimeField(null=True)
    cancel_asked = models.BooleanField(default=False)
    progress = models.JSONField(default=dict)
    problem_text = models.TextField(blank=True, help_text="What went wrong, in words.")
    plan = TenantForeignKey(Plan, on_delete=models.SET_NULL, null=True, related_name="runs")

    class Meta(TenantModel.Meta):
        abstract = False
        indexes = [models.Index(fields=["contractor", "state", "asked_at"], name="scheduling_run_state")]

    def __str__(self) -> str:
        return f"search of {self.asked_at:%Y-%m-%d %H:%M}: {self.get_state_display()}"
