"""What the survey's page shows: the finding as it stands, how the last answer moved it, what to ask next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from jobs.condition.hypotheses import KIND_WORDS, MAX_COATS
from jobs.condition.information import Suggestion
from jobs.condition.interior_surface import Finding, identify
from jobs.condition.observations import BY_NAME, CATALOGUE, Observation, read
from jobs.condition.reasons import Claim, Reason
from jobs.models import Observation as Made
from jobs.models import Survey
from jobs.selectors.condition import firm_table


@dataclass(frozen=True)
class Bar:
    """One answer with its probability now and before the last answer; all 0 to 1."""

    label: str
    share: float
    before: float | None

    @property
    def width(self) -> float:
        """Length of the bar on a scale of 100."""
        return round(100 * self.share, 2)

    @property
    def tick(self) -> float | None:
        return None if self.before is None else round(100 * self.before, 2)

    @property
    def words(self) -> str:
        return _percent(self.share)

    @property
    def before_words(self) -> str:
        return "" if self.before is None else _percent(self.before)


def _percent(share: float) -> str:
    """Whole percent; what rounds to none or all of it is said to be under 1 or over 99."""
    if 0 < share < 0.005:
        return "< 1 %"
    return "> 99 %" if 0.995 < share < 1 else f"{share:.0%}".replace("%", " %")


@dataclass(frozen=True)
class Picture:
    """A question with the probabilities of its answers."""

    title: str
    bars: tuple[Bar, ...]


@dataclass(frozen=True)
class Question:
    """An observation of the catalogue with what it would tell, in shares of what is still open."""

    observation: Observation
    tells: float | None


@dataclass(frozen=True)
class Answer:
    """An answer as made, in words."""

    made: Made
    observation: Observation
    words: str
    set_aside: bool


@dataclass(frozen=True)
class Because:
    """One reason: the answer in words, and its factor on the odds ("× 2.5", "÷ 3")."""

    words: str
    odds: str


@dataclass(frozen=True)
class Why:
    """A claim with what speaks for and against it."""

    claim: Claim
    speaks_for: tuple[Because, ...]
    speaks_against: tuple[Because, ...]


@dataclass(frozen=True)
class SurveyPage:
    """Everything the page shows of one survey; `survey` is None before the first answer."""

    survey: Survey | None
    finding: Finding
    pictures: tuple[Picture, ...]
    whys: tuple[Why, ...]
    questions: tuple[Question, ...]
    when_empty: tuple[Observation, ...]
    answers: tuple[Answer, ...]
    settles: Suggestion | None
    last: str


def survey_page(survey: Survey | None) -> SurveyPage:
    """The page of a survey, or of one that has not begun."""
    made = [] if survey is None else list(survey.observations.order_by("made_at", "name"))
    dry = survey is not None and survey.dry
    later = tuple(o for o in CATALOGUE if o.needs_empty_pool and not dry)
    answers = [{"name": each.name, "value": each.value} for each in made]
    table = firm_table()
    finding = identify(answers, table=table, not_now=[o.name for o in later])
    before = identify(answers[:-1], table=table) if made else None
    every = identify(answers, table=table) if later else finding
    return SurveyPage(
        survey=survey,
        finding=finding,
        pictures=_pictures(finding, before),
        whys=tuple(_why(claim, finding) for claim in finding.claims),
        questions=_questions(finding, answers, dry),
        when_empty=tuple(o for o in later if o.name not in {each.name for each in made}),
        answers=tuple(_answer(each, finding) for each in made),
        settles=max(every.suggestions, key=lambda s: s.bits, default=None),
        last=BY_NAME[made[-1].name].label if made else "",
    )


def _pictures(now: Finding, before: Finding | None) -> tuple[Picture, ...]:
    kinds = [(KIND_WORDS[kind], p, before.kinds[kind] if before else None) for kind, p in now.kinds.items()]
    kinds.sort(key=lambda row: -row[1])
    coats = [(_coats(number), p, before.coats[number] if before else None) for number, p in sorted(now.coats.items())]
    painted = _two("painted", "not painted", now.painted, before.painted if before else None)
    bonded = _two("bonded", "not bonded", now.bonded, before.bonded if before else None)
    return (
        Picture("What is on top", _bars(kinds)),
        Picture("Coats on the shell", _bars(coats)),
        Picture("Paint", _bars(painted)),
        Picture("Hold on what is below", _bars(bonded)),
    )


def _bars(rows: Sequence[tuple[str, float, float | None]]) -> tuple[Bar, ...]:
    return tuple(Bar(*row) for row in rows)


def _two(yes: str, no: str, share: float, before: float | None) -> list[tuple[str, float, float | None]]:
    return [(yes, share, before), (no, 1.0 - share, None if before is None else 1.0 - before)]


def _coats(number: int) -> str:
    if number == 0:
        return "none"
    return f"{number} or more" if number == MAX_COATS else str(number)


def _why(claim: Claim, finding: Finding) -> Why:
    mine = [reason for reason in finding.reasons if reason.question == claim.question]
    return Why(
        claim,
        tuple(_because(reason) for reason in mine if reason.speaks_for),
        tuple(_because(reason) for reason in mine if not reason.speaks_for),
    )


def _because(reason: Reason) -> Because:
    factor = reason.odds_factor if reason.speaks_for else 1.0 / reason.odds_factor
    return Because(reason.words, f"{'×' if reason.speaks_for else '÷'} {factor:{'.0f' if factor >= 10 else '.1f'}}")


def _questions(finding: Finding, answers: list[dict[str, Any]], dry: bool) -> tuple[Question, ...]:
    """What can be asked now: first what tells most per minute, last what looks at a fact already seen."""
    open_bits = max(finding.uncertainty_bits, 1e-9)
    ranked = [Question(BY_NAME[s.name], min(1.0, s.bits / open_bits)) for s in finding.suggestions]
    known = {each["name"] for each in answers} | {q.observation.name for q in ranked}
    rest = [o for o in CATALOGUE if o.name not in known and (dry or not o.needs_empty_pool)]
    return (*ranked, *(Question(o, None) for o in rest))


def _answer(made: Made, finding: Finding) -> Answer:
    words = read(made.name, made.value).words
    if isinstance(made.value, list):
        words = f"{words}: {', '.join(str(entry) for entry in made.value)}"
    return Answer(made, BY_NAME[made.name], words, made.name in finding.set_aside)
