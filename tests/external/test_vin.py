"""VIN check digits against published worked examples.

1. 49 CFR 565.15(c), sample calculation (Table VI in today's edition, Table V in older ones): sum 411, remainder 4.
2. NHTSA, outline for new manufacturers, second sample VIN: sum 314, remainder 6.
3. and 4. Widely used test values, recomputed by hand for this test: X for a remainder of 10, and the VIN of ones only.
"""

import pytest

from shop import vin

EXAMPLES = [
    pytest.param("1G4AH59H_5G118341", 411, "4", id="49 CFR 565.15 Table VI"),
    pytest.param("1J9RP1A3_A1644345", 314, "6", id="NHTSA outline for new manufacturers"),
    pytest.param("1M8GDM9A_KP042788", 351, "X", id="remainder 10 is X"),
    pytest.param("11111111_11111111", 89, "1", id="all ones"),
]


@pytest.mark.parametrize(("open_vin", "weighted_sum", "digit"), EXAMPLES)
def test_published_check_digits(open_vin: str, weighted_sum: int, digit: str) -> None:
    assert vin.weighted_sum(open_vin) == weighted_sum
    assert vin.check_digit(open_vin) == digit
    assert vin.check_digit_agrees(open_vin.replace("_", digit))


def test_letters_that_iso_3779_and_49_cfr_565_13_g_leave_out() -> None:
    for letter in "ABCDEFGHIJKLMNOPQRSTUVWXYZ":
        problem = vin.problem_of("1" * 16 + letter)
        assert (problem is None) == (letter not in "IOQ")
        if problem is not None:
            assert (problem.character, problem.place) == (letter, 17)
