"""What all jobs of a firm share while its expected dates are computed."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from jobs.models import Job
from jobs.selectors.stage_job import CrewFacts
from jobs.timeline.limits import Limits
from jobs.timeline.rates import Rates
from jobs.timeline.refusals import RefusalShares
from scheduling.models import Crew, Stint
from shared.models import Contractor, Firm

NOBODY_YET: Final = CrewFacts(prep_people=2, finishers=4)  # a branch without crews is timed with the trade's usual ones


@dataclass(frozen=True)
class Effort:
    """Scenarios drawn for the band, how many of them the rows look at, and days of rows.

    *shell*: the band asks the column model about each plaster day that the air allows.
    """

    band: int = 200
    rows: int = 32
    days: int = 56
    shell: bool = True


@dataclass(frozen=True)
class Setting:
    """What all jobs of a firm share while its dates are refreshed.

    set_time_sd : standard deviation of the logarithm of the next plaster day's set time about the one in force
    production_learned : whether the firm's own prep moved its rates, which are then medians
    refusals : how often the firm refuses mornings that the weather then allows
    read_at : when all this was read
    """

    contractor: Contractor
    firm: Firm
    rates: Rates
    limits: Limits
    crews: Sequence[Crew]
    stints: Sequence[Stint]
    facts: Mapping[str, CrewFacts]
    effort: Effort
    set_time_sd: float
    production_learned: bool
    refusals: RefusalShares
    read_at: dt.datetime

    def facts_of(self, job: Job) -> CrewFacts:
        """People that the job's branch can send."""
        return self.facts.get(job.site.branch, NOBODY_YET)
