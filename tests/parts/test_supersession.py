"""Parts that supersede one another are planned as one."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from parts.planning.part_plan import Stock
from parts.planning.supersession import Chain, RingError, chains, pooled

LINE = {"old": "middle", "middle": "new", "new": None, "alone": None}


def test_demand_for_a_chain_is_demand_for_its_last():
    found = chains(LINE, usable={"old", "middle"})
    assert set(found) == {"new", "alone"}
    assert set(found["new"].olds) == set(found["new"].usable) == {"old", "middle"}
    assert found["alone"] == Chain("alone", (), ())


def test_old_stock_counts_only_where_every_step_from_it_allows_it():
    assert chains(LINE, usable={"middle"})["new"].usable == ("middle",)
    assert chains(LINE, usable={"old"})["new"].usable == ()


def test_usable_stock_is_pooled_and_whatever_is_promised_counts():
    stock = {"old": Stock(4, 1, 1), "middle": Stock(2, 0, 1), "new": Stock(1, 3, 0)}
    assert pooled(chains(LINE, usable={"middle"})["new"], stock) == Stock(3, 3, 2)
    assert pooled(chains(LINE)["new"], stock) == Stock(1, 3, 2)
    assert pooled(chains(LINE)["alone"], stock) == Stock()


def test_two_parts_may_have_the_same_successor():
    found = chains({"left": "both", "right": "both", "both": None}, usable={"left"})["both"]
    assert (set(found.olds), found.usable) == ({"left", "right"}, ("left",))


@pytest.mark.parametrize(
    ("successors", "ring"),
    [
        ({"a": "b", "b": "c", "c": "b"}, ("b", "c", "b")),
        ({"a": "a"}, ("a", "a")),
        ({"x": None, "c": "a", "a": "b", "b": "c"}, ("c", "a", "b", "c")),
    ],
)
def test_a_ring_is_refused_by_its_names(successors, ring):
    with pytest.raises(RingError, match=" → ".join(ring)) as refused:
        chains(successors)
    assert refused.value.ring == ring


@given(st.lists(st.integers(0, 30), max_size=30), st.sets(st.integers(0, 30)))
def test_every_part_is_in_one_chain(links, usable):
    """Each part's successor has a higher number or there is none: no ring can come about."""
    successors = {
        str(part): str(part + 1 + link) if part + 1 + link < len(links) else None for part, link in enumerate(links)
    }
    found = chains(successors, usable={str(part) for part in usable})
    assert sorted(part for chain in found.values() for part in (chain.part, *chain.olds)) == sorted(successors)
    for chain in found.values():
        assert set(chain.usable) <= set(chain.olds)
        assert successors[chain.part] is None
