"""`python -m scheduling.solver`: problem in, progress beside, plan out; stopped by a signal it still answers."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from scheduling.solver.check import check
from scheduling.solver.objective import terms
from scheduling.solver.plan import Plan
from scheduling.solver.problem import Problem
from tests.solver import public
from tests.solver.tiny import tiny_plan, tiny_problem

ROOT = Path(__file__).parents[2]
LIMIT_S = 300
COMMAND = [sys.executable, "-m", "scheduling.solver"]


def environment() -> dict[str, str]:
    """Ours without Django's settings."""
    return {name: value for name, value in os.environ.items() if name != "DJANGO_SETTINGS_MODULE"}


def run(*arguments: str, text: str = "", program: list[str] = COMMAND) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*program, *arguments],
        input=text,
        capture_output=True,
        text=True,
        cwd=ROOT,
        env=environment(),
        timeout=LIMIT_S,
        check=False,
    )


def test_the_plan_is_the_last_line_and_progress_is_json() -> None:
    done = run("-", "--iterations", "48", "--seed", "4", text=public.text("public-010"))
    assert done.returncode == 0
    problem = Problem.from_json(public.text("public-010"))
    plan = Plan.from_json(done.stdout.splitlines()[-1])
    assert check(problem, plan) == []
    assert plan.objective == terms(problem, plan).objective
    told = [json.loads(line)["progress"] for line in done.stderr.splitlines()]
    assert told[-1]["objective"] == plan.objective
    assert set(told[0]) >= {"seconds", "objective", "bound", "unplanned"}


def test_the_same_steps_processes_and_seed_print_the_same_plan() -> None:
    options = ("-", "--iterations", "48", "--workers", "2", "--seed", "7")
    answers = [json.loads(run(*options, text=public.text("public-010")).stdout.splitlines()[-1]) for _ in range(2)]
    assert answers[0] | {"seconds": 0} == answers[1] | {"seconds": 0}
    other = json.loads(run(*options[:-1], "8", text=public.text("public-010")).stdout.splitlines()[-1])
    assert other["stints"] != answers[0]["stints"]


def test_a_file_is_read_as_well_and_a_plan_to_begin_with(tmp_path: Path) -> None:
    (tmp_path / "problem.json").write_text(json.dumps(tiny_problem()))
    (tmp_path / "plan.json").write_text(json.dumps(tiny_plan().to_json()))
    done = run(str(tmp_path / "problem.json"), "--seconds", "0", "--warm-start", str(tmp_path / "plan.json"))
    assert done.returncode == 0
    assert Plan.from_json(done.stdout.splitlines()[-1]).objective == 3516


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_brings_the_best_plan_so_far(number: signal.Signals) -> None:
    with subprocess.Popen(
        [*COMMAND, "-", "--seconds", "120", "--seed", "1"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=ROOT,
        env=environment(),
    ) as process:
        assert process.stdin and process.stderr and process.stdout
        process.stdin.write(public.text("public-030"))
        process.stdin.close()
        first = json.loads(process.stderr.readline())["progress"]
        process.send_signal(number)
        rest = process.stderr.read().splitlines()
        lines = process.stdout.read().splitlines()
        assert process.wait(LIMIT_S) == 0
    plan = Plan.from_json(lines[-1])
    assert check(Problem.from_json(public.text("public-030")), plan) == []
    assert plan.objective == min([first, *(json.loads(line)["progress"] for line in rest)], key=cost)["objective"]


def cost(progress: dict[str, int]) -> int:
    return progress["objective"]


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("{", "The problem is not valid JSON, but must be: "),
        ("", "The problem is not valid JSON, but must be: "),
        (json.dumps(tiny_problem(now=-1)), "now is -1, but must be a whole number from 0 to 576."),
    ],
    ids=["half", "empty", "before day 0"],
)
def test_what_cannot_be_read_ends_with_a_sentence(text: str, sentence: str) -> None:
    done = run("-", text=text)
    assert done.returncode != 0
    assert done.stdout == ""
    assert done.stderr.startswith(sentence) and done.stderr.count("\n") == 1


@pytest.mark.parametrize("content", [None, b"\xff\xfe{}"], ids=["missing", "not UTF-8"])
def test_a_file_that_cannot_be_read_ends_with_a_sentence(tmp_path: Path, content: bytes | None) -> None:
    if content is not None:
        (tmp_path / "problem.json").write_bytes(content)
    done = run(str(tmp_path / "problem.json"))
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)


@pytest.mark.parametrize("option", [["--workers", "0"], ["--seconds", "nan"], ["--iterations", "-1"]])
def test_options_that_make_no_sense_end_with_a_sentence(option: list[str]) -> None:
    done = run("-", *option, text=json.dumps(tiny_problem()))
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    assert option[1] in done.stderr.splitlines()[-1]


def test_neither_the_command_nor_its_workers_need_django() -> None:
    program = (
        "import sys, scheduling.solver.__main__ as command, scheduling.solver.worker\n"
        "code = command.main(['-', '--seconds', '0'])\n"
        "print(sorted({name.split('.')[0] for name in sys.modules} & {'django', 'celery', 'redis', 'psycopg'}))\n"
        "sys.exit(code)\n"
    )
    done = run(text=json.dumps(tiny_problem()), program=[sys.executable, "-c", program])
    assert done.returncode == 0
    plan, modules = done.stdout.splitlines()
    assert Plan.from_json(plan).objective == 3516
    assert modules == "[]"
