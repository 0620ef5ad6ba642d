"""Order, slack and the critical path of a work plan, and three-point times, against published worked examples and a
general-purpose graph library."""

import itertools
import math
from statistics import NormalDist

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shop.planning.durations import expectation, variance
from shop.planning.network import CycleError, in_order, schedule


def numbered(network):
    """`network`: letter -> (duration, letters before it). Durations, predecessors and the letters by number."""
    letters = list(network)
    place = {letter: number for number, letter in enumerate(letters)}
    minutes = {place[letter]: float(duration) for letter, (duration, _before) in network.items()}
    before = {place[letter]: [place[one] for one in first] for letter, (_duration, first) in network.items()}
    return minutes, before, letters


# A course's example 1, "project network" of seven activities in hours, with its table of earliest and latest times and
# slack (studylib.net, document 8378728, read as a search extract).
PROTOTYPE = {
    "A": (6, ""), "B": (2, "A"), "C": (2, "A"), "D": (3, "B"), "F": (2, "C"), "E": (4, "DF"), "G": (1, "E"),
}  # fmt: skip
PRINTED = {
    "A": (0, 6, 0, 6, 0), "B": (6, 8, 6, 8, 0), "D": (8, 11, 8, 11, 0), "E": (11, 15, 11, 15, 0),
    "G": (15, 16, 15, 16, 0), "C": (6, 8, 7, 9, 1), "F": (8, 10, 9, 11, 1),
}  # fmt: skip


@pytest.mark.parametrize("letter", PROTOTYPE)
def test_a_network_of_seven_with_its_printed_times(letter):
    minutes, before, letters = numbered(PROTOTYPE)
    one = schedule(minutes, before)[letters.index(letter)]
    times = (one.earliest_start, one.earliest_finish, one.latest_start, one.latest_finish, one.slack)
    assert times == PRINTED[letter]


# A course module's network of fourteen activities (in the public set Nemotron-CC-Math-v1, "Network Construction –
# Critical Path Method", read as a search extract): its longest path A B F I K L N takes 41.
FOURTEEN = {
    "A": (2, ""), "B": (10, "A"), "C": (13, "A"), "D": (12, "A"), "E": (12, "B"), "F": (7, "B"), "G": (10, "D"),
    "H": (16, "D"), "I": (6, "F"), "J": (12, "CG"), "K": (5, "I"), "L": (8, "EK"), "M": (5, "H"), "N": (3, "JLM"),
}  # fmt: skip


def test_a_network_of_fourteen_has_its_published_critical_path():
    minutes, before, letters = numbered(FOURTEEN)
    times = schedule(minutes, before)
    assert times[letters.index("N")].earliest_finish == 41
    assert "".join(letters[key] for key in in_order(before) if times[key].slack == 0) == "ABFIKLN"
    # The other published paths to N: A D G J N takes 39, A D H M N 38, A B E L N 35, A C J N 30.
    slack = {letter: times[letters.index(letter)].slack for letter in "DGHMEC"}
    assert slack == {"D": 2, "G": 2, "H": 3, "M": 3, "E": 6, "C": 11}


def test_the_textbooks_three_points():
    """2, 4 and 12 give 5 with a variance of 2.78."""
    assert expectation(2, 4, 12) == 5
    assert variance(2, 12) == pytest.approx(2.78, abs=0.005)


# A textbook's project, Porta-Vac (An Introduction to Management Science, Cengage 2014, chapter 9). Its page 386 (figure
# 9.12: durations, earliest and latest times; the chain A E H I J, 17 weeks), and its page 387 (table 9.6 and z for
# 20 weeks) were read as search extracts of an online copy. The extract has no table of predecessors: they stand in a
# course's solved sheet of the project (sweetstudy.com, "m2porta-vac-solution", search extract), which lists all four
# paths, A E H I J, A C F J, A D G J and B H I J, beside the three points, variances and probabilities below.
PORTA_VAC = {
    "A": (6, ""), "B": (2, ""), "C": (3, "A"), "D": (5, "A"), "E": (3, "A"), "F": (2, "C"), "G": (3, "D"),
    "H": (4, "BE"), "I": (2, "H"), "J": (2, "FGI"),
}  # fmt: skip
TABLE = {
    "A": (0, 6, 0, 6, 0), "B": (0, 2, 7, 9, 7), "C": (6, 9, 10, 13, 4), "D": (6, 11, 7, 12, 1), "E": (6, 9, 6, 9, 0),
    "F": (9, 11, 13, 15, 4), "G": (11, 14, 12, 15, 1), "H": (9, 13, 9, 13, 0), "I": (13, 15, 13, 15, 0),
    "J": (15, 17, 15, 17, 0),
}  # fmt: skip
# Least, most probable, most; expectation and variance as printed.
POINTS = {
    "A": (4, 5, 12, 6, 1.78), "B": (1, 1.5, 5, 2, 0.44), "C": (2, 3, 4, 3, 0.11), "D": (3, 4, 11, 5, 1.78),
    "E": (2, 3, 4, 3, 0.11), "F": (1.5, 2, 2.5, 2, 0.03), "G": (1.5, 3, 4.5, 3, 0.25), "H": (2.5, 3.5, 7.5, 4, 0.69),
    "I": (1.5, 2, 2.5, 2, 0.03), "J": (1, 2, 3, 2, 0.11),
}  # fmt: skip
PATHS = {
    "AEHIJ": (17, 2.722, 1.818),
    "ACFJ": (13, 2.028, 4.916),
    "ADGJ": (16, 3.917, 2.021),
    "BHIJ": (10, 1.278, 8.847),
}


@pytest.mark.parametrize("letter", PORTA_VAC)
def test_a_textbooks_network_of_ten_with_its_printed_times(letter):
    minutes, before, letters = numbered(PORTA_VAC)
    times = schedule(minutes, before)
    one = times[letters.index(letter)]
    assert (one.earliest_start, one.earliest_finish, one.latest_start, one.latest_finish, one.slack) == TABLE[letter]
    assert "".join(letters[key] for key in in_order(before) if times[key].slack == 0) == "AEHIJ"


@pytest.mark.parametrize("letter", POINTS)
def test_the_textbooks_expectations_and_variances(letter):
    least, likely, most, expected, spread = POINTS[letter]
    assert expectation(least, likely, most) == expected == PORTA_VAC[letter][0]
    assert variance(least, most) == pytest.approx(spread, abs=0.005)


def test_the_textbooks_chance_of_twenty_weeks():
    """Of each path, its weeks, variance and z; of all four together 94.5 % within 20 weeks, 83.0 % within 19 (the
    sheet). The book itself has z = 1.82 of the critical chain (page 387)."""
    within = {20: 1.0, 19: 1.0}
    for path, (weeks, spread, z) in PATHS.items():
        expected = sum(expectation(*POINTS[letter][:3]) for letter in path)
        found = sum(variance(POINTS[letter][0], POINTS[letter][2]) for letter in path)
        assert expected == weeks
        assert found == pytest.approx(spread, abs=0.0005)
        assert (20 - expected) / math.sqrt(found) == pytest.approx(z, abs=0.0005)
        for goal in within:
            within[goal] *= NormalDist(expected, math.sqrt(found)).cdf(goal)
    assert within[20] == pytest.approx(0.945, abs=0.0005)
    assert within[19] == pytest.approx(0.830, abs=0.0005)


@st.composite
def networks(draw):
    count = draw(st.integers(1, 12))
    minutes = {key: float(draw(st.integers(0, 500))) for key in range(count)}
    before = {key: sorted(draw(st.sets(st.integers(0, key - 1), max_size=3))) if key else [] for key in range(count)}
    return minutes, before


@settings(max_examples=150, deadline=None)
@given(networks())
def test_the_longest_path_and_every_slack_are_those_of_networkx(network):
    minutes, before = network
    graph = nx.DiGraph()
    graph.add_nodes_from(minutes)
    for key, first in before.items():
        graph.add_weighted_edges_from((one, key, minutes[one]) for one in first)
    times = schedule(minutes, before)
    ends = nx.DiGraph(graph)
    ends.add_weighted_edges_from((key, "end", minutes[key]) for key in minutes)
    longest = nx.dag_longest_path_length(ends)
    assert max(one.earliest_finish for one in times.values()) == longest
    for key, one in times.items():
        upstream = ends.subgraph(nx.ancestors(ends, key) | {key})
        downstream = ends.subgraph(nx.descendants(ends, key) | {key})
        through = nx.dag_longest_path_length(upstream) + nx.dag_longest_path_length(downstream)
        assert one.slack == longest - through
        assert one.earliest_start == nx.dag_longest_path_length(upstream)


@settings(max_examples=150, deadline=None)
@given(st.dictionaries(st.integers(0, 7), st.sets(st.integers(0, 7), max_size=3), min_size=8, max_size=8))
def test_a_ring_is_found_where_networkx_finds_one_and_named_as_one(before):
    graph = nx.DiGraph((one, key) for key, first in before.items() for one in first)
    if nx.is_directed_acyclic_graph(graph):
        order = in_order(before)
        assert sorted(order) == list(range(8))
        assert all(order.index(one) < order.index(key) for key, first in before.items() for one in first)
        return
    with pytest.raises(CycleError) as found:
        in_order(before)
    ring = found.value.cycle
    assert ring[0] == ring[-1]
    assert all(graph.has_edge(one, after) for one, after in itertools.pairwise(ring))
