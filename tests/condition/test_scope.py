"""From the finding to the scope; trade practice, no source, with the firm's limits as arguments."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.condition.interior_surface import Finding, identify
from jobs.condition.scope import COATING, LEAK, STRUCTURAL, Scope, decide
from jobs.condition.scope_facts import Facts, ScopeSettings, facts_from

few = settings(max_examples=40, deadline=None, derandomize=True)

ONE_COAT = {"pilot_layers": 1, "owner_says_painted": False, "acid_drop": "fizzes", "grain_mm": 0, "chip_colours": 1}
TWO_COATS = ONE_COAT | {"pilot_layers": 2}


def survey(answers: dict[str, object]) -> list[dict[str, object]]:
    return [{"name": name, "value": value} for name, value in answers.items()]


def find(answers: dict[str, object]) -> Finding:
    return identify(survey(answers))


def scope(
    answers: dict[str, object],
    limits: ScopeSettings = ScopeSettings(),  # noqa: B008  frozen
    **facts: object,
) -> Scope:
    return decide(find(answers), facts_from(survey(answers), **facts), limits)  # type: ignore[arg-type]  # keywords of mixed kinds


def dry(hollow: float, answers: dict[str, object] = ONE_COAT, **facts: object) -> Scope:
    return scope(answers | {"hollow_share": hollow}, sounded_dry=True, **facts)


def keys(result: Scope) -> list[str]:
    return [step.key for step in result.steps]


def test_one_sound_coat_is_cut_and_tapered() -> None:
    result = dry(2)
    assert result.kind == "cut_and_taper"
    assert not result.provisional
    assert "8 to 12 in (200 to 300 mm)" in result.steps[2].words
    assert keys(result) == ["sound_dry", "chip_loose", "cut_and_taper", "wash", "bond_coat", "coat"]


@pytest.mark.parametrize("hollow", [10, 14, 30])
def test_ten_per_cent_hollow_or_more_is_stripped(hollow: float) -> None:
    assert dry(hollow).kind == "strip"


@pytest.mark.parametrize("hollow", [0, 6, 9.5])
def test_below_ten_per_cent_one_coat_is_not_stripped(hollow: float) -> None:
    assert dry(hollow).kind == "cut_and_taper"


@pytest.mark.parametrize("hollow", [5, 8, 10, 12, 15])
def test_between_five_and_fifteen_per_cent_both_outcomes_are_shown(hollow: float) -> None:
    result = dry(hollow)
    shown = {result.kind, *(a.kind for a in result.alternatives)}
    assert {"cut_and_taper", "strip"} <= shown
    assert result.probability + sum(a.probability for a in result.alternatives) > 0.95


@pytest.mark.parametrize(("hollow", "kind"), [(1, "cut_and_taper"), (40, "strip")])
def test_outside_that_band_a_dry_sounding_decides_alone(hollow: float, kind: str) -> None:
    result = dry(hollow)
    assert result.kind == kind
    assert result.probability > 0.9
    assert not [a for a in result.alternatives if a.kind in ("cut_and_taper", "strip")]


def test_until_sounded_dry_both_outcomes_stay_with_days_and_probabilities() -> None:
    result = scope(ONE_COAT)
    assert result.provisional
    strip = next(a for a in result.alternatives if a.kind == "strip")
    assert (result.kind, result.prep_days, strip.prep_days) == ("cut_and_taper", 1.5, 4.0)
    assert 0.05 < strip.probability < 0.5
    assert any("Provisional" in words for words in result.would_change)


def test_a_sounding_under_water_leaves_more_doubt_than_a_dry_one() -> None:
    wet = scope(ONE_COAT | {"hollow_share": 7})
    assert wet.provisional
    assert wet.probability < dry(7).probability


def test_two_coats_are_stripped_however_sound() -> None:
    result = dry(0, TWO_COATS)
    assert result.kind == "strip"
    assert any("2 coats" in words for words in result.decided_by)
    assert any("pilot hole that shows one coat" in words for words in result.would_change)


def test_a_proud_tile_line_means_strip_and_names_it() -> None:
    result = scope({"tile_line": "proud", "owner_says_painted": False, "acid_drop": "fizzes", "grain_mm": 0})
    assert result.kind == "strip"
    assert any("stands proud" in words for words in result.decided_by)
    assert any(a.kind == "cut_and_taper" for a in result.alternatives)


def test_paint_comes_off_first_and_is_tested_where_age_suggests() -> None:
    painted = {"chip_colours": 5, "chip_behaviour": "brittle flakes", "pilot_layers": 1}
    result = dry(0, painted)
    assert keys(result)[:3] == ["sound_dry", "test_coating", "remove_paint"]
    assert COATING in result.opinions_needed
    assert not result.stopped
    young = dry(0, painted, built_year=2005)
    assert "test_coating" not in keys(young)
    assert "remove_paint" in keys(young)
    cautions = " ".join(c for step in young.steps for c in step.cautions)
    assert "respirator, containment" in cautions


def test_possible_paint_is_looked_for_before_pricing() -> None:
    result = scope({"feel_grit": 600, "pilot_layers": 1})
    assert 0.05 < find({"feel_grit": 600, "pilot_layers": 1}).painted < 0.5
    assert "test_for_paint" in keys(result)
    assert any("Paint found" in words for words in result.would_change)


def test_straight_over_is_offered_only_with_its_sentence() -> None:
    result = dry(0, straight_over=True)
    assert result.kind == "overlay"
    assert "proud of the tile line" in result.words
    assert dry(0, TWO_COATS, straight_over=True).kind == "strip"


@pytest.mark.parametrize(
    ("answers", "kind"),
    [
        ({"grain_mm": 5, "feel_grit": 60, "pilot_layers": 1, "owner_says_painted": False}, "profile_and_coat"),
        ({"grout_joints": True, "feel_grit": 800, "pilot_layers": 1}, "outside_scope"),
        ({"tile_line": "stepped in", "feel_grit": 50, "pilot_layers": 0}, "coat_the_shell"),
        ({"feel_grit": 1000, "acid_drop": False, "chip_behaviour": "flakes", "chip_colours": 1,
          "owner_says_painted": False, "solvent": "neither"}, "remove_laminate"),
    ],
)  # fmt: skip
def test_other_interiors_have_their_own_scope(answers: dict[str, object], kind: str) -> None:
    result = dry(0, answers)
    assert result.kind == kind
    if kind == "remove_laminate":
        assert "containment" in result.steps[-6].cautions[0] + result.steps[1].cautions[0]


@pytest.mark.parametrize(
    ("answers", "facts"),
    [({"cracks": "through"}, {}), ({"stains": "rust_point"}, {}), ({}, {"displaced_step": True})],
)
def test_signs_of_the_structure_stop_the_price(answers: dict[str, object], facts: dict[str, object]) -> None:
    result = dry(0, ONE_COAT | answers, **facts)
    assert result.stopped
    assert STRUCTURAL in result.opinions_needed


def test_a_hairline_net_does_not_stop_anything() -> None:
    result = dry(0, ONE_COAT | {"cracks": "hairline net", "stains": "leaf"})
    assert not result.stopped
    assert not result.opinions_needed


def test_high_water_loss_with_a_sound_surface_calls_the_leak_specialist() -> None:
    assert LEAK in dry(0, ONE_COAT | {"water_loss_mm_d": 9}).opinions_needed
    assert LEAK not in dry(0, ONE_COAT | {"water_loss_mm_d": 1}).opinions_needed
    assert LEAK not in dry(60, ONE_COAT | {"water_loss_mm_d": 9}).opinions_needed


def test_no_scope_says_that_a_structure_is_sound_or_a_pool_safe() -> None:
    for answers in (ONE_COAT, TWO_COATS, {}):
        result = scope(answers)
        said = " ".join([result.words, *result.decided_by, *result.would_change, *(s.words for s in result.steps)])
        assert "safe" not in said.lower()
        assert "licensed engineer" in " ".join(result.cautions)


@few
@given(st.floats(1, 100), st.floats(1, 100))
def test_more_hollow_area_never_makes_a_strip_less_likely(a: float, b: float) -> None:
    def strip(hollow: float) -> float:
        result = scope(ONE_COAT | {"hollow_share": hollow})
        shares = {alternative.kind: alternative.probability for alternative in result.alternatives}
        return result.probability if result.kind == "strip" else shares.get("strip", 0.0)

    low, high = sorted((a, b))
    assert strip(low) <= strip(high) + 1e-9


@few
@given(st.floats(0, 100).filter(lambda x: x == 0 or x >= 1), st.booleans())
def test_outcomes_never_add_up_to_more_than_one(hollow: float, sounded_dry: bool) -> None:
    result = scope(ONE_COAT | {"hollow_share": hollow}, sounded_dry=sounded_dry)
    total = result.probability + sum(a.probability for a in result.alternatives)
    assert 0.8 < total <= 1 + 1e-9
    if not sounded_dry:
        assert result.alternatives


def test_the_firm_s_own_limit_decides() -> None:
    strict = ScopeSettings(strip_hollow_pct=4, doubt_pct=(2, 8))
    answers = ONE_COAT | {"hollow_share": 5}
    assert scope(answers, strict, sounded_dry=True).kind == "strip"
    assert scope(answers, sounded_dry=True).kind == "cut_and_taper"


def test_of_repeated_answers_the_worst_counts() -> None:
    twice = [{"name": "hollow_share", "value": 3}, {"name": "hollow_share", "value": 20},
             {"name": "cracks", "value": "through"}, {"name": "cracks", "value": "none"}]  # fmt: skip
    facts = facts_from(twice)
    assert (facts.hollow_pct, facts.cracks) == (20, "through")


def test_bad_facts_and_limits_are_refused() -> None:
    with pytest.raises(ValueError, match="hollow is 120 %; allowed is 0 to 100 %"):
        Facts(hollow_pct=120)
    with pytest.raises(ValueError, match="sounded dry needs the share"):
        Facts(sounded_dry=True)
    with pytest.raises(ValueError, match="built is 12; allowed is 1850 to 2200"):
        Facts(built_year=12)
    with pytest.raises(ValueError, match="must enclose the limit of 20 %"):
        ScopeSettings(strip_hollow_pct=20)
    with pytest.raises(ValueError, match="prep days of strip is -1 days; allowed is 0 to 60"):
        ScopeSettings(prep_days={"strip": -1})
