"""The model made wrong line by line: what was once wrong unnoticed is noticed, and so is all but what `mutants.csv` names.

`mutants` makes them, in a process of plain Python of its own; run as a program it tries all of them and writes the list.
"""

import json
import os
import re
import subprocess
import sys
from collections import Counter

import mutants
import pytest
from mutants import ANSWER, FILES, LAWS_AND_PLANT, NAMED, NOT_RUN, NOTHING, ROOT, Source

MOST_UNNOTICED = 0.05  # of laws and plant


def answered(option: str):
    """What the process of plain Python answers."""
    environment = dict(os.environ, NUMBA_DISABLE_JIT="1", PYTHONPATH=str(ROOT))
    run = subprocess.run(
        [sys.executable, mutants.__file__, option],
        env=environment,
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=900,
        check=False,
    )
    assert run.returncode == 0, run.stdout[-2000:] + run.stderr[-2000:]
    (answer,) = (line for line in run.stdout.splitlines() if line.startswith(ANSWER))
    return json.loads(answer.removeprefix(ANSWER))


@pytest.fixture(scope="module")
def named() -> dict[str, bool]:
    return answered("--named")


@pytest.mark.parametrize("what", [row[0] for row in NAMED])
def test_what_was_once_wrong_unnoticed_is_noticed(named, what):
    assert named[what]


def test_a_mutant_has_a_name_that_says_what_it_changes_and_no_two_have_the_same():
    keys = [mutant.key for file in FILES for mutant in Source(file).mutants()]
    assert len(set(keys)) == len(keys) > 1400
    wanted = ("sim/laws/foot.py", "speed_hold_demand", "return integral + error / below")
    assert [key[3:] for key in keys if key[:3] == wanted] == [("x 1.03", "1"), ("sign", "1")]


@pytest.mark.slow
def test_of_a_sample_nothing_goes_unnoticed_but_what_is_listed():
    assert answered("--sample") == []


@pytest.mark.slow
def test_of_laws_and_plant_few_lines_can_be_wrong_unnoticed_and_each_for_a_reason_with_a_figure():
    results = mutants.read_results()
    by_file = Counter((key[0], who) for key, (who, _) in results.items() if who in {NOTHING, NOT_RUN})
    tried = sum(key[0] in LAWS_AND_PLANT for key in results)
    assert not any(by_file[file, NOT_RUN] for file in LAWS_AND_PLANT)
    assert sum(by_file[file, NOTHING] for file in LAWS_AND_PLANT) <= MOST_UNNOTICED * tried
    silent = [key for key, (who, why) in results.items() if who == NOTHING and not re.search(r"\d", why)]
    assert not silent, silent
