"""Ten invented visits, written before the code: what speaks for what, and what is not settled."""

import pytest

from tests.visit.cases import CASES, judged


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["name"])
def test_a_case_comes_out_as_it_was_written(case):
    found = judged(case)
    status = {cause.key: cause.status for cause in found.causes}
    assert found.answer == case["answer"]
    assert {key for key, s in status.items() if s == "for"} == set(case.get("for", []))
    for wanted in ("open", "against"):
        said = {key: status.get(key) for key in case.get(wanted, [])}
        assert said == dict.fromkeys(said, wanted)
    if "first" in case:
        assert found.causes[0].key == case["first"]
    if "next" in case:
        assert found.next_tests[0].key == case["next"]


def test_there_are_ten():
    assert len(CASES) >= 10
