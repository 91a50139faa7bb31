"""Every kind of decision, for the screen, the interface and the morning's notice alike."""

from __future__ import annotations

from typing import Final

from scheduling.selectors.decisions_crews import CREW_KINDS
from scheduling.selectors.decisions_fills import FILL_KINDS
from scheduling.selectors.decisions_lengths import LENGTH_KINDS
from scheduling.selectors.decisions_office import OFFICE_KINDS
from scheduling.selectors.decisions_site import SITE_KINDS
from scheduling.selectors.decisions_survey import SURVEY_KINDS
from scheduling.selectors.decisions_visits import VISIT_KINDS

KINDS: Final = (*FILL_KINDS, *SITE_KINDS, *CREW_KINDS, *LENGTH_KINDS, *SURVEY_KINDS, *VISIT_KINDS, *OFFICE_KINDS)
