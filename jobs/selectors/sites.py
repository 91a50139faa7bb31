"""What is known of sites as a whole."""

from __future__ import annotations

from jobs.models import Site
from jobs.selectors.weather import nearest_station
from shared.models import Firm

ARCHIVE = "archive"


def branches() -> list[str]:
    """Branches that have sites, by name."""
    return list(Site.objects.order_by("branch").values_list("branch", flat=True).distinct())


def archive_near(site: Site) -> str:
    """The weather file of a new site of a firm that lives on bundled weather; empty where a forecast is fetched.

    The nearest site of the same branch lends its file with its shift; else it is the nearest station's.
    """
    if Firm.objects.get().source != ARCHIVE:
        return ""
    others = Site.objects.filter(branch=site.branch).exclude(archive="")
    places = [
        ((latitude - site.latitude) ** 2 + (longitude - site.longitude) ** 2, archive)
        for latitude, longitude, archive in others.values_list("latitude", "longitude", "archive")
    ]
    return min(places)[1] if places else nearest_station(site.latitude, site.longitude)
