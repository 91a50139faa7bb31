"""What the interior surface is: the seven checks by hand, the laws of evidence, and bad input.

The likelihoods are common practice, no source; the checks hold the method and its sense, not the figures.
"""

from __future__ import annotations

import re
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.condition.hypotheses import KINDS, STATES, default_prior
from jobs.condition.information import entropy_bits
from jobs.condition.interior_surface import Finding, identify
from jobs.condition.likelihoods import DEFAULT_TABLE, matrices
from jobs.condition.observations import BY_NAME, CATALOGUE, Observation, read

few = settings(max_examples=40, deadline=None, derandomize=True)


def find(**answers: object) -> Finding:
    return identify([{"name": name, "value": value} for name, value in answers.items()])


def answers_of(observation: Observation) -> list[object]:
    """One answer for every outcome."""
    if observation.choices:
        return [key for key, _ in observation.choices]
    return [max(observation.low, outcome.low) for outcome in observation.outcomes]


@st.composite
def surveys(draw: st.DrawFn) -> list[dict[str, object]]:
    some = draw(st.lists(st.sampled_from(CATALOGUE), unique_by=lambda o: o.name, max_size=8))
    return [{"name": o.name, "value": draw(st.sampled_from(answers_of(o)))} for o in some]


# The seven checks by hand.


def test_a_flush_tile_line_alone_leaves_one_coat_and_two_both_open() -> None:
    finding = find(tile_line="flush")
    assert finding.coats[1] > 0.10
    assert finding.coats[2] > 0.10


def test_a_proud_tile_line_alone_means_two_coats_or_more() -> None:
    assert find(tile_line="proud").at_least(2) > 0.90


def test_flush_with_a_swelling_wall_below_means_two_coats() -> None:
    finding = find(tile_line="flush", wall_profile="swells")
    assert finding.coats[2] > 0.80


@pytest.mark.parametrize("chips", [5, ["white", "blue", "white", "sea green", "grey"]])
def test_five_layers_of_colour_mean_paint_and_are_counted(chips: object) -> None:
    finding = find(chip_colours=chips)
    assert finding.painted > 0.95
    assert finding.kinds["paint"] > 0.95
    assert finding.paint_layers == 5


def test_a_rough_feel_alone_does_not_identify_a_kind() -> None:
    finding = find(feel_grit=60)
    assert max(finding.kinds.values()) < 0.75
    assert finding.uncertainty_bits > 1.5


@few
@given(surveys(), st.randoms(use_true_random=False))
def test_the_order_of_observations_changes_nothing(survey: list[dict[str, object]], random: object) -> None:
    shuffled = list(survey)
    random.shuffle(shuffled)  # type: ignore[attr-defined]  # not in the stubs
    assert identify(shuffled) == identify(survey)


@few
@given(surveys(), surveys())
def test_removing_an_observation_undoes_it_exactly(
    survey: list[dict[str, object]], more: list[dict[str, object]]
) -> None:
    names = {entry["name"] for entry in survey}
    longer = survey + [entry for entry in more if entry["name"] not in names]
    back = [entry for entry in longer if entry["name"] in names]
    assert identify(back) == identify(survey)


# Laws.


@few
@given(surveys())
def test_probabilities_are_a_distribution_and_the_margins_agree(survey: list[dict[str, object]]) -> None:
    finding = identify(survey)
    assert set(finding.probabilities) == set(STATES)
    assert min(finding.probabilities.values()) >= 0
    assert sum(finding.probabilities.values()) == pytest.approx(1)
    assert sum(finding.coats.values()) == pytest.approx(1)
    assert sum(finding.kinds.values()) == pytest.approx(1)
    assert finding.painted == pytest.approx(sum(p for s, p in finding.probabilities.items() if s[2]))


def test_without_observations_the_prior_comes_back() -> None:
    assert dict(identify([]).probabilities) == pytest.approx(default_prior())


def test_independent_answers_multiply_the_odds() -> None:
    """Bayes by hand for two answers that depend on the paint alone, against the table's own figures."""
    painted = identify([]).painted
    row = matrices(DEFAULT_TABLE)
    owner = BY_NAME["owner_says_painted"]
    yes = row["owner_says_painted"][answers_of(owner).index("yes")]
    solvent = row["solvent"][answers_of(BY_NAME["solvent"]).index("alcohol_softens")]
    prior = {state: p for state, p in default_prior().items() if state[0] not in ("fibreglass",)}
    finding = identify([{"name": "owner_says_painted", "value": True}, {"name": "solvent", "value": "alcohol"}], prior)
    without_laminate = sum(p for s, p in prior.items() if s[2]) / sum(prior.values())
    odds = without_laminate / (1 - without_laminate)
    odds *= (yes.max() / yes.min()) * (solvent.max() / solvent.min())
    assert finding.painted == pytest.approx(odds / (1 + odds))
    assert finding.painted > painted


def test_a_finding_can_be_the_prior_of_the_next_survey() -> None:
    first = find(owner_says_painted=True)
    second = identify([{"name": "acid_drop", "value": "does not"}], first.probabilities)
    assert dict(second.probabilities) == pytest.approx(
        dict(find(owner_says_painted=True, acid_drop="does not").probabilities)
    )


def test_related_answers_count_once() -> None:
    step = find(straight_edge_step_mm=12)
    both = find(straight_edge_step_mm=12, tile_line="proud")
    proud = find(tile_line="proud")
    assert both.probabilities in (step.probabilities, proud.probabilities)
    assert len(both.set_aside) == 1
    assert not both.contradictions


def test_the_same_answer_twice_counts_once() -> None:
    twice = [{"name": "acid_drop", "value": "fizzes"}] * 2
    assert identify(twice) == identify(twice[:1])


def test_related_answers_that_do_not_fit_are_named() -> None:
    finding = find(tile_line="flush", straight_edge_step_mm=24)
    assert len(finding.contradictions) == 1
    assert "look again" in finding.contradictions[0]


def test_the_step_past_the_tile_counts_extra_coats() -> None:
    steps = [find(straight_edge_step_mm=mm) for mm in (0, 12, 24, 36)]
    assert [max(f.coats, key=lambda n: f.coats[n]) for f in steps] == [1, 2, 3, 4]


def test_a_pilot_hole_settles_the_coats_against_every_other_answer() -> None:
    finding = find(tile_line="proud", saw_cut="none", pilot_layers=[13])
    assert finding.coats[1] > 0.75
    assert find(pilot_layers=[12, 11, 0.4]).coats[2] > 0.95


def test_older_pools_have_more_coats() -> None:
    expected = [sum(n * p for n, p in find(pool_age_years=age).coats.items()) for age in (3, 15, 30, 60)]
    assert expected == sorted(expected)
    assert expected[3] > expected[0] + 0.5


@pytest.mark.parametrize(
    ("answers", "kind"),
    [
        ({"grout_joints": True, "feel_grit": 800}, "tile"),
        ({"grain_mm": 4, "feel_grit": 60}, "exposed_aggregate"),
        ({"feel_grit": 1000, "acid_drop": False, "chip_behaviour": "brittle flakes", "chip_colours": 1,
          "owner_says_painted": False}, "fibreglass"),
        ({"acid_drop": "fizzes", "grain_mm": 0, "chip_behaviour": "hard grains", "tile_line": "flush"}, "plaster"),
        ({"tile_line": "stepped in", "feel_grit": 50, "pilot_layers": 0}, "bare_shell"),
    ],
)  # fmt: skip
def test_each_kind_is_found_from_its_own_evidence(answers: dict[str, object], kind: str) -> None:
    assert find(**answers).most_likely[0] == kind


# Reasons.


def test_reasons_name_the_answer_the_claim_and_its_weight() -> None:
    finding = find(tile_line="proud")
    reason = next(r for r in finding.reasons if r.question == "coats")
    assert reason.observation == "tile_line"
    assert reason.claim == "2 coats"
    assert reason.bits > 2
    assert reason.odds_factor == pytest.approx(2**reason.bits)
    assert "proud" in reason.words


def test_the_weight_of_a_reason_is_the_change_of_the_odds() -> None:
    without = find(acid_drop="fizzes").painted
    finding = find(acid_drop="fizzes", chip_behaviour="hard grains")
    reason = next(r for r in finding.reasons if (r.question, r.observation) == ("painted", "chip_behaviour"))
    assert reason.claim == "not painted"
    change = np.log2((1 - finding.painted) / finding.painted) - np.log2((1 - without) / without)
    assert reason.bits == pytest.approx(change)


@few
@given(surveys())
def test_at_most_three_reasons_speak_for_and_three_against(survey: list[dict[str, object]]) -> None:
    finding = identify(survey)
    for claim in finding.claims:
        bits = [r.bits for r in finding.reasons if r.question == claim.question]
        assert sum(b > 0 for b in bits) <= 3
        assert sum(b < 0 for b in bits) <= 3


# The next observation.


def test_the_next_observation_has_most_information_per_minute() -> None:
    finding = identify([])
    rates = [s.bits_per_minute for s in finding.suggestions]
    assert rates == sorted(rates, reverse=True)
    assert finding.next_observation == finding.suggestions[0].name
    assert len(finding.suggestions) == len(CATALOGUE)


def test_expected_information_is_the_mean_fall_of_the_entropy() -> None:
    """By enumeration: make the observation, see every answer, weigh by its chance."""
    before = find(tile_line="flush")
    suggestion = next(s for s in before.suggestions if s.name == "wall_profile")
    after = {v: find(tile_line="flush", wall_profile=v) for v in ("even", "swells")}
    # The chance of each answer follows from p = chance * p_swells + (1 - chance) * p_even.
    share = (before.coats[2] - after["even"].coats[2]) / (after["swells"].coats[2] - after["even"].coats[2])
    mean = share * after["swells"].uncertainty_bits + (1 - share) * after["even"].uncertainty_bits
    assert suggestion.bits == pytest.approx(before.uncertainty_bits - mean)


@few
@given(surveys())
def test_no_observation_is_expected_to_tell_less_than_nothing(survey: list[dict[str, object]]) -> None:
    finding = identify(survey)
    made = {entry["name"] for entry in survey}
    assert all(s.bits >= 0 for s in finding.suggestions)
    assert all(s.bits <= finding.uncertainty_bits + 1e-9 for s in finding.suggestions)
    assert finding.next_observation not in made


def test_a_pilot_hole_tells_most_about_the_coats() -> None:
    finding = find(owner_says_painted=False, acid_drop="fizzes", grain_mm=0, hollow_share=0, grout_joints=False)
    bits = {s.name: s.bits for s in finding.suggestions}
    assert max(bits, key=lambda name: bits[name]) == "pilot_layers"


def test_what_cannot_be_done_now_is_not_asked_for() -> None:
    in_water = {o.name for o in CATALOGUE if o.needs_empty_pool or o.destructive}
    finding = identify([], not_now=in_water)
    assert in_water.isdisjoint(s.name for s in finding.suggestions)


def test_when_everything_has_been_looked_at_there_is_no_next() -> None:
    everything = [{"name": o.name, "value": answers_of(o)[0]} for o in CATALOGUE]
    assert identify(everything).next_observation is None


def test_entropy_of_even_chances_is_the_log_of_their_number() -> None:
    assert entropy_bits(np.array([0.25, 0.25, 0.25, 0.25, 0.0])) == pytest.approx(2)


# The catalogue and the table.


def test_the_catalogue_has_every_name_a_survey_may_send() -> None:
    names = (
        "feel_grit tile_line saw_cut wall_profile straight_edge_step_mm chip_colours chip_behaviour solvent "
        "acid_drop grain_mm grout_joints hollow_share cracks stains pilot_layers years_since_work water_loss_mm_d"
    )
    assert set(names.split()) <= set(BY_NAME)


def test_what_can_hurt_somebody_says_so() -> None:
    for name in ("solvent", "acid_drop", "chip_colours", "chip_behaviour", "pilot_layers", "hollow_share"):
        assert len(BY_NAME[name].caution.split()) > 8
    assert "ventilated" in BY_NAME["solvent"].caution
    assert "lead" in BY_NAME["chip_behaviour"].caution


@pytest.mark.parametrize("observation", CATALOGUE, ids=lambda o: o.name)
def test_every_outcome_can_be_reached_and_bins_join(observation: Observation) -> None:
    reached = [read(observation.name, value).outcome.key for value in answers_of(observation)]  # type: ignore[arg-type]  # wider than the declared kind
    assert reached == [outcome.key for outcome in observation.outcomes]
    if not observation.choices:
        pairs = zip(observation.outcomes, observation.outcomes[1:], strict=False)
        assert all(a.high == b.low for a, b in pairs)
        assert observation.outcomes[-1].high > observation.high


def test_words_and_keys_of_a_choice_mean_the_same() -> None:
    pairs = [("stepped in", "stepped_in"), ("Stands proud of the tile", "proud"), ("FLUSH", "flush")]
    assert all(find(tile_line=a) == find(tile_line=b) for a, b in pairs)
    assert find(saw_cut="clean straight edge visible") == find(saw_cut="visible")
    assert find(wall_profile="swells out gradually") == find(wall_profile="swells")
    assert find(acid_drop=True) == find(acid_drop="fizzes")


# Bad input.


@pytest.mark.parametrize(
    ("name", "value", "sentence"),
    [
        ("tile_lines", "flush", "not known; known are pool_age_years"),
        ("tile_line", "wavy", "'wavy'; allowed is one of: flush with the tile"),
        ("tile_line", 3, "allowed is one of"),
        ("feel_grit", 30, "is 30 grit; allowed is 50 to 2000 grit"),
        ("feel_grit", float("nan"), "must be a number; allowed is 50 to 2000"),
        ("feel_grit", "rough", "must be a number from 50 to 2000 grit"),
        ("feel_grit", True, "must be a number"),
        ("hollow_share", 0.12, "give per cent of the area"),
        ("hollow_share", 120, "allowed is 0 to 100 %"),
        ("chip_colours", 2.5, "whole number"),
        ("chip_colours", [], "is 0; allowed is 1 to 30"),
        ("pilot_layers", [12, "thick"], "thickness of a layer is 'thick'"),
        ("pilot_layers", [12, -3], "allowed is 0 to 500 mm"),
        ("pilot_layers", float("inf"), "must be a number"),
        ("feel_grit", [60, 80], "must be a number"),
        ("grain_mm", None, "must be a number"),
    ],
)
def test_a_bad_answer_is_refused_with_what_is_allowed(name: str, value: object, sentence: str) -> None:
    with pytest.raises(ValueError, match=re.escape(sentence)):
        find(**{name: value})


def test_an_observation_without_a_value_is_refused() -> None:
    with pytest.raises(ValueError, match="needs 'name' and 'value'"):
        identify([{"name": "tile_line"}])


@pytest.mark.parametrize(
    ("prior", "sentence"),
    [
        ({("plaster", 1, False, True): -1.0}, "allowed is 0 or more"),
        ({("plaster", 1, False, True): float("nan")}, "allowed is 0 or more"),
        ({("marble", 1, False, True): 1.0}, "not a possible state"),
        ({("plaster", 0, False, True): 1.0}, "not a possible state"),
        ({("plaster", 1, False, True): 0.0}, "no possible state with a weight above 0"),
    ],
)
def test_a_prior_that_is_no_distribution_is_refused(
    prior: dict[tuple[str, int, bool, bool], float], sentence: str
) -> None:
    with pytest.raises(ValueError, match=sentence):
        identify([], prior)


def test_kinds_of_the_prior_are_those_of_the_trade() -> None:
    assert {state[0] for state in STATES} == set(KINDS)
    assert all(len({a, b}) == 2 for a, b in combinations(STATES, 2))
