"""When thirty cars are ready, against the same runs one after the other with networkx; prints the ratio.

`OPENBLAS_NUM_THREADS=1 pytest tests/benchmarks/test_work_plan.py --benchmark-only -s`. Thirty jobs of twelve tasks, 400
runs. The peer knows the order of tasks alone: it finds the longest path of each job in each run. Ours, which is timed,
knows six people and four bays too; with somebody for every task and no bays its days are the peer's to the second.
"""

import datetime as dt
import statistics
import time
from collections.abc import Callable

import networkx as nx
import numpy as np
import pytest

from shop.planning.draws import minutes_left
from shop.planning.floor import PlannedTask, ShopFloor
from shop.planning.simulate import RUNS, simulate
from shop.planning.workdays import Hours, axis

NOW = dt.datetime(2026, 11, 23, 8, tzinfo=dt.UTC)
HOURS = Hours(dt.time(8), dt.time(17), 60, (True,) * 5 + (False,) * 2, "UTC")
JOBS, TASKS = 30, 12


def plans() -> tuple[PlannedTask, ...]:
    """Each task waits for up to two earlier ones of its job."""
    rng = np.random.default_rng(5)
    tasks = []
    for key in range(JOBS * TASKS):
        first = key - key % TASKS
        before = {first + int(rng.integers(0, key % TASKS)) for _each in range(2)} if key > first else set()
        planned = float(rng.integers(15, 480))
        tasks.append(PlannedTask(key, key // TASKS, planned, planned / 2, planned * 2.5, before=tuple(sorted(before))))
    return tuple(tasks)


def floor(people: int, bays: int) -> ShopFloor:
    promised = tuple((job, NOW.date() + dt.timedelta(days=job)) for job in range(JOBS))
    return ShopFloor(plans(), promised, tuple(range(people)), tuple(range(bays)), HOURS)


def run_by_run() -> dict[int, np.ndarray]:
    """Job -> minutes of work until it is ready, one for each run: the draws of `simulate`, in its order."""
    tasks, rng = plans(), np.random.default_rng(1)
    drawn = {task.key: minutes_left(task, rng, RUNS) for task in tasks}
    ready = {job: np.empty(RUNS) for job in range(JOBS)}
    for run in range(RUNS):
        for job in range(JOBS):
            graph = nx.DiGraph()
            for task in tasks[job * TASKS : (job + 1) * TASKS]:
                graph.add_weighted_edges_from((one, task.key, drawn[one][run]) for one in task.before)
                graph.add_edge(task.key, "end", weight=drawn[task.key][run])
            ready[job][run] = nx.dag_longest_path_length(graph)
    return ready


def milliseconds(call: Callable[[], object], rounds: int) -> float:
    """Processor time (median): what else the machine does counts little."""
    times = []
    for _round in range(rounds):
        start = time.process_time()
        call()
        times.append(time.process_time() - start)
    return 1000.0 * statistics.median(times)


def test_the_day_of_thirty_cars(benchmark):
    benchmark.pedantic(lambda: simulate(floor(6, 4), NOW), rounds=5)
    start = time.process_time()
    peer = run_by_run()
    theirs = 1000.0 * (time.process_time() - start)
    line, alone = axis(NOW, HOURS), simulate(floor(JOBS * TASKS, 0), NOW)
    for job, minutes in peer.items():
        expected = np.quantile(line.reached(minutes), (0.1, 0.5, 0.9)) * 60
        found = [at.timestamp() for at in (alone[job].early, alone[job].likely, alone[job].late)]
        assert found == pytest.approx(list(expected), abs=1)
    ours = milliseconds(lambda: simulate(floor(6, 4), NOW), 5)
    print(
        f"\n{JOBS} jobs of {TASKS} tasks, {RUNS} runs: {ours:.0f} ms with 6 people and 4 bays; "
        f"run by run with networkx, without people and bays, {theirs:.0f} ms. Ratio {theirs / ours:.0f}"
    )
