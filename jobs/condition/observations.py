"""What can be seen, felt, tapped and measured on an interior surface: the questions and their answers.

Forms are generated from :data:`CATALOGUE`; :func:`read` turns one answer into the outcome that the
likelihood table knows. Minutes of effort and the edges of the bins are common practice [CP].
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from jobs.condition.cautions import ACID_DROP, EMPTY_POOL, OLD_COATING, PILOT_HOLE, SOLVENT_RUB
from jobs.physics.validity import in_range

InputKind = Literal["choice", "yes_no", "number", "count"]
Answer = str | bool | int | float | Sequence[object]
MIN_COAT_MM: Final = 3.0
"""A layer thinner than this in a pilot hole is paint or skim, not a coat [CP]."""


@dataclass(frozen=True)
class Outcome:
    """One answer of a choice, or one bin [low, high) of a number."""

    key: str
    label: str
    low: float = 0.0
    high: float = 0.0


@dataclass(frozen=True)
class Observation:
    """One thing to look at: how to ask for it, what it costs, what to beware of.

    `group` names the independence group: observations of one group look at the same fact and count once.
    `counts_lists` says that a list is read as its number of entries ("layers": only those >= 3 mm).
    """

    name: str
    label: str
    kind: InputKind
    outcomes: tuple[Outcome, ...]
    minutes: float
    help: str = ""
    unit: str = ""
    low: float = 0.0
    high: float = 0.0
    group: str = ""
    destructive: bool = False
    needs_empty_pool: bool = False
    caution: str = ""
    counts_lists: Literal["", "entries", "layers"] = ""

    @property
    def choices(self) -> tuple[tuple[str, str], ...]:
        """(value, label) pairs of a choice, as a form wants them."""
        return tuple((o.key, o.label) for o in self.outcomes) if self.kind in ("choice", "yes_no") else ()


@dataclass(frozen=True)
class Evidence:
    """One answer, read: which observation, the value given, the outcome it falls in."""

    observation: Observation
    value: str | float
    outcome: Outcome

    @property
    def name(self) -> str:
        """Name of the observation."""
        return self.observation.name

    @property
    def words(self) -> str:
        """The answer as a person would say it: "tile line: proud"."""
        shown = self.outcome.label
        if isinstance(self.value, float):
            tail = "" if self.observation.unit == "" else f" {self.observation.unit}"
            shown = f"{self.value:g}{tail}"
        return f"{self.observation.label}: {shown}"


def _choice(*pairs: tuple[str, str]) -> tuple[Outcome, ...]:
    return tuple(Outcome(key, label) for key, label in pairs)


def _bins(*edges: tuple[str, str, float, float]) -> tuple[Outcome, ...]:
    return tuple(Outcome(key, label, low, high) for key, label, low, high in edges)


_YES_NO = _choice(("yes", "yes"), ("no", "no"))

CATALOGUE: Final[tuple[Observation, ...]] = (
    Observation(
        "pool_age_years", "age of the pool", "number",
        _bins(("under_10", "under 10 years", 0, 10), ("10_to_25", "10 to 25 years", 10, 25),
              ("25_to_40", "25 to 40 years", 25, 40), ("over_40", "over 40 years", 40, 151)),
        minutes=1, unit="years", low=0, high=150, help="Ask the pool owner, or look at the permit.",
    ),
    Observation(
        "years_since_work", "years since the last known work on the surface", "number",
        _bins(("under_5", "under 5 years", 0, 5), ("5_to_15", "5 to 15 years", 5, 15),
              ("over_15", "over 15 years", 15, 151)),
        minutes=2, unit="years", low=0, high=150, help="As far as anybody remembers.",
    ),
    Observation(
        "owner_says_painted", "the pool owner says it was painted", "yes_no", _YES_NO, minutes=1,
        help="Leave it open when nobody knows.",
    ),
    Observation(
        "feel_grit", "feel, as a grit of abrasive paper (P scale)", "number",
        _bins(("coarse", "coarse, grit 100 or below", 50, 100.5), ("middle", "grit 100 to 400", 100.5, 400),
              ("fine", "fine, grit 400 or above", 400, 2000.5)),
        minutes=1, unit="grit", low=50, high=2000,
        help="50 means this rough or rougher. New hard-trowelled plaster feels like 400 to 2000.",
    ),
    Observation(
        "grain_mm", "size of the grains or pebbles that stand proud", "number",
        _bins(("none", "0.5 mm or finer", 0, 0.5), ("sand", "0.5 to 1 mm", 0.5, 1.0),
              ("pebble", "over 1 mm", 1.0, 51)),
        minutes=3, unit="mm", low=0, high=50, help="0 when none can be felt.",
    ),
    Observation(
        "grout_joints", "grout joints over the whole interior", "yes_no", _YES_NO, minutes=1,
        help="The tile band under the coping does not count.",
    ),
    Observation(
        "tile_line", "profile at the tile line", "choice",
        _choice(("flush", "flush with the tile"), ("proud", "stands proud of the tile"),
                ("stepped_in", "stepped in behind the tile")),
        minutes=2, group="tile_step", help="Run a finger down from the tile onto the surface.",
    ),
    Observation(
        "straight_edge_step_mm", "step of the surface past the tile under a straight edge", "number",
        _bins(("none", "under 3 mm", 0, 3), ("slight", "3 to 8 mm", 3, 8), ("one_coat", "8 to 18 mm", 8, 18),
              ("two_coats", "18 to 30 mm", 18, 30), ("three_coats", "30 mm or more", 30, 101)),
        minutes=5, unit="mm", low=0, high=100, group="tile_step", help="About 1/2 in (12 mm) for each extra coat.",
    ),
    Observation(
        "saw_cut", "saw cut under the tile", "choice",
        _choice(("visible", "clean straight edge visible"), ("none", "none"), ("hidden", "cannot be seen")),
        minutes=3,
    ),
    Observation(
        "wall_profile", "wall 8 to 12 in (200 to 300 mm) below the tile", "choice",
        _choice(("even", "even"), ("swells", "swells out gradually")),
        minutes=5, help="Sight along the wall, or slide a straight edge down it.",
    ),
    Observation(
        "cracks", "cracks", "choice",
        _choice(("none", "none"), ("hairline_net", "hairline net"), ("single_long", "single long crack"),
                ("through", "through the shell, with stain or displacement")),
        minutes=10,
    ),
    Observation(
        "stains", "stains", "choice",
        _choice(("none", "none"), ("metal", "metal"), ("leaf", "leaf"), ("rust_point", "rust at a point")),
        minutes=5, help="Give the most serious one.",
    ),
    Observation(
        "chip_colours", "layers of different colour in a chip", "count",
        _bins(("one", "one material", 1, 2), ("two", "two colours", 2, 3), ("three", "three colours", 3, 4),
              ("four_or_more", "four colours or more", 4, 31)),
        minutes=10, low=1, high=30, counts_lists="entries", caution=OLD_COATING,
        help="Look at the broken edge with a glass; 1 for one material.",
    ),
    Observation(
        "chip_behaviour", "what a chip does", "choice",
        _choice(("brittle_flakes", "brittle flakes"), ("powder", "powder that makes the water turbid"),
                ("hard_grains", "hard grains")),
        minutes=5, caution=OLD_COATING,
    ),
    Observation(
        "solvent", "solvent rub on a coin-sized spot", "choice",
        _choice(("alcohol_softens", "alcohol softens it"), ("xylene_softens", "xylene softens it"),
                ("neither", "neither")),
        minutes=15, needs_empty_pool=True, caution=SOLVENT_RUB,
        help="Alcohol: water-based acrylic. Xylene: rubber paint. Neither: epoxy, or none.",
    ),
    Observation(
        "acid_drop", "drop of dilute acid", "choice",
        _choice(("fizzes", "fizzes"), ("does_not", "does not fizz")),
        minutes=10, needs_empty_pool=True, caution=ACID_DROP,
    ),
    Observation(
        "hollow_share", "share of the area that sounds hollow", "number",
        _bins(("under_2", "under 2 %", 0, 2), ("2_to_5", "2 to 5 %", 2, 5), ("5_to_10", "5 to 10 %", 5, 10),
              ("10_to_15", "10 to 15 %", 10, 15), ("over_15", "15 % or more", 15, 101)),
        minutes=60, unit="%", low=0, high=100, needs_empty_pool=True, caution=EMPTY_POOL,
        help="Tap or drag a chain over the dry surface (ASTM D4580); per cent, not a fraction.",
    ),
    Observation(
        "water_loss_mm_d", "water loss beyond evaporation", "number",
        _bins(("normal", "under 2 mm a day", -50, 2), ("raised", "2 to 5 mm a day", 2, 5),
              ("high", "over 5 mm a day", 5, 201)),
        minutes=20, unit="mm/day", low=-50, high=200, help="From the water-loss test of at least 24 h.",
    ),
    Observation(
        "pilot_layers", "coats found in a pilot hole at a hidden spot", "count",
        _bins(("none", "none, bare shell", 0, 1), ("one", "one", 1, 2), ("two", "two", 2, 3),
              ("three", "three", 3, 4), ("four_or_more", "four or more", 4, 11)),
        minutes=45, low=0, high=10, destructive=True, needs_empty_pool=True, caution=PILOT_HOLE,
        counts_lists="layers", help="A number of coats, or the thickness of each layer in mm.",
    ),
)  # fmt: skip

BY_NAME: Final[Mapping[str, Observation]] = {o.name: o for o in CATALOGUE}

_SYNONYMS: Final[Mapping[tuple[str, str], str]] = {
    ("saw_cut", "clean_straight_edge_visible"): "visible",
    ("wall_profile", "swells_out_gradually"): "swells",
    ("wall_profile", "swelling"): "swells",
    ("chip_behaviour", "flakes"): "brittle_flakes",
    ("chip_behaviour", "powder_on_the_palm"): "powder",
    ("chip_behaviour", "powder_on_the_palm_that_makes_the_water_turbid"): "powder",
    ("tile_line", "stepped"): "stepped_in",
    ("solvent", "none"): "neither",
    ("stains", "rust"): "rust_point",
    ("solvent", "alcohol"): "alcohol_softens",
    ("solvent", "xylene"): "xylene_softens",
    ("acid_drop", "yes"): "fizzes",
    ("acid_drop", "no"): "does_not",
    ("acid_drop", "does_not_fizz"): "does_not",
    ("stains", "rust_at_a_point"): "rust_point",
    ("cracks", "through_with_stain_or_displacement"): "through",
    ("cracks", "displaced"): "through",
    ("chip_colours", "one_material"): "1",
}


def read(name: str, value: Answer) -> Evidence:
    """Read one answer.

    Parameters
    ----------
    name : a name of the catalogue
    value : a choice (words or key), True/False, a number in the unit of the catalogue, or a list where
        `counts_lists` allows it (colours of a chip; thicknesses [mm] of the layers in a pilot hole)

    Raises
    ------
    ValueError
        For an unknown name, a choice that is not offered, or a number outside its range.
    """
    observation = BY_NAME.get(name)
    if observation is None:
        raise ValueError(f"observation '{name}' is not known; known are {', '.join(BY_NAME)}.")
    if observation.kind in ("choice", "yes_no"):
        return _read_choice(observation, value)
    return _read_number(observation, value)


def _read_choice(observation: Observation, value: Answer) -> Evidence:
    word = {True: "yes", False: "no"}.get(value) if isinstance(value, bool) else value
    if isinstance(word, str):
        key = _key(word)
        key = _SYNONYMS.get((observation.name, key), key)
        for outcome in observation.outcomes:
            if key in (outcome.key, _key(outcome.label)):
                return Evidence(observation, outcome.key, outcome)
    offered = ", ".join(o.label for o in observation.outcomes)
    raise ValueError(f"{observation.label} is '{value}'; allowed is one of: {offered}.")


def _read_number(observation: Observation, value: Answer) -> Evidence:
    number = _number(observation, value)
    array = in_range(observation.label, number, observation.low, observation.high, observation.unit)
    if observation.name == "hollow_share" and 0 < number < 1:
        raise ValueError(
            f"{observation.label} is {number:g} %; give per cent of the area (12 for 12 %): 0, or 1 to 100 %."
        )
    if observation.kind == "count" and number != round(number):
        raise ValueError(f"{observation.label} is {number:g}; it must be a whole number.")
    amount = float(array)
    outcome = next(o for o in observation.outcomes if amount < o.high)
    return Evidence(observation, amount, outcome)


def _number(observation: Observation, value: Answer) -> float:
    if isinstance(value, str):
        value = _SYNONYMS.get((observation.name, _key(value)), value)
    if isinstance(value, (list, tuple)) and observation.counts_lists:
        return _count(observation, value)
    try:
        if isinstance(value, bool) or not isinstance(value, (int, float, str)):
            raise TypeError
        return float(value)
    except (TypeError, ValueError):
        raise ValueError(
            f"{observation.label} is '{value}'; it must be a number from {observation.low:g} to "
            f"{observation.high:g} {observation.unit}".rstrip()
            + "."
        ) from None


def _count(observation: Observation, entries: Sequence[object]) -> float:
    if observation.counts_lists == "entries":
        return float(len(entries))
    layers = [float(in_range("thickness of a layer", _plain_number(e), 0, 500, "mm")) for e in entries]
    return float(sum(mm >= MIN_COAT_MM for mm in layers))


def _plain_number(entry: object) -> float:
    try:
        return float(str(entry))
    except ValueError:
        raise ValueError(f"thickness of a layer is '{entry}'; it must be a number of mm.") from None


def _key(words: str) -> str:
    return "_".join(words.strip().lower().replace("-", " ").replace(",", " ").replace("_", " ").split())
