"""How lists, counts and melts are said."""

import pytest

from meltdoe.wording import capital, counted, listed, melts_phrase


@pytest.mark.parametrize(
    ("parts", "said"), [((), ""), (("a",), "a"), (("a", "b"), "a and b"), (("a", "b", "c"), "a, b and c")]
)
def test_a_list_ends_with_and(parts, said):
    assert listed(parts) == said


def test_a_list_that_is_too_long_counts_the_rest_and_never_a_single_one():
    assert listed(["a", "b", "c"], most=3) == "a, b and c"
    assert listed(["a", "b", "c", "d"], most=3) == "a, b and 2 others"


@pytest.mark.parametrize(
    ("melts", "said"),
    [
        ([3], "melt 3"),
        ([3, 4], "melts 3 and 4"),
        ([3, 5, 6], "melts 3, 5 and 6"),
        ([1, 3, 4, 5, 6], "melts 1 and 3 to 6"),
        ([1, 2, 3, 7, 8, 9], "melts 1 to 3 and 7 to 9"),
    ],
)
def test_a_run_of_melts_is_said_from_first_to_last(melts, said):
    assert melts_phrase(melts) == said


def test_counts_and_capitals():
    assert (counted(1, "edit"), counted(2, "edit")) == ("1 edit", "2 edits")
    assert (capital("flux at 20"), capital("")) == ("Flux at 20", "")
