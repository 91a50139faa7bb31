"""`manage.py plan --contractor SLUG --seconds N --json`: search for a plan of each branch and print it."""

from __future__ import annotations

import json
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from jobs.models import Site
from scheduling.selectors.problem import planning_problem
from scheduling.services.search import SearchFailed, search
from scheduling.solver.objective import terms
from scheduling.solver.problem import Problem, ProblemError
from shared import clock
from shared.models import Contractor
from shared.tenancy.context import acting_for


class Command(BaseCommand):
    help = "Search for a plan of a contractor's branches; nothing is kept or issued."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--contractor", required=True, help="slug of the contractor")
        parser.add_argument("--seconds", type=int, default=20, help="time of the search for each branch, 1 to 3600")
        parser.add_argument("--seed", type=int, default=1)
        parser.add_argument("--workers", type=int, default=1, help="processes of the search, 1 to 64")
        parser.add_argument("--branch", default="", help="one branch only")
        parser.add_argument("--json", action="store_true", help="print one JSON object as the last line")

    def handle(self, *args: Any, **options: Any) -> None:
        if not 1 <= options["seconds"] <= 3600:
            raise CommandError(f"--seconds is {options['seconds']}; allowed is 1 to 3600 s.")
        contractor = Contractor.objects.filter(slug=options["contractor"]).first()
        if contractor is None:
            raise CommandError(f"There is no contractor “{options['contractor']}”.")
        with acting_for(contractor.pk):
            every = sorted(set(Site.objects.values_list("branch", flat=True)))
            branches = [options["branch"]] if options["branch"] else every
            problems = {
                branch: planning_problem(contractor, clock.now(), branch=branch).document for branch in branches
            }
        plans = [self._plan(branch, document, options) for branch, document in problems.items()]
        if options["json"]:
            self.stdout.write(json.dumps({"contractor": contractor.slug, "plans": plans}))

    def _plan(self, branch: str, document: dict[str, Any], options: dict[str, Any]) -> dict[str, Any]:
        try:
            problem = Problem.from_json(document)
            plan = search(
                document,
                seconds=options["seconds"],
                seed=options["seed"],
                workers=options["workers"],
                progress=lambda said: True,
            )
        except (ProblemError, SearchFailed) as failed:
            raise CommandError(f"{branch}: {failed}") from failed
        main = terms(problem, plan)
        if not options["json"]:
            self.stdout.write(
                f"{branch}: {len(problem.jobs)} jobs, objective {plan.objective}, no plan can be below {plan.bound} "
                f"({len(plan.unplanned)} left out, {main.travel_m / 1000:.0f} km)"
            )
        return {"branch": branch, **plan.to_json()}
