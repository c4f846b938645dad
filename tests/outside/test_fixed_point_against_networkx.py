"""Grounded competence against reachability in a graph of who signed for whom.

Each person needs one hour, signed by somebody who had one, unless a certificate
makes them a root. Who is entitled is then a question of reachability from the
roots, once the question's own worker is taken out of the graph.
"""

from __future__ import annotations

import random
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import networkx as nx
import pytest

from registry.engine.decide import decide
from registry.engine.evidence import Certification, Countersignature, Employer, Evidence, HoursEntry, Model, Person
from registry.engine.files.standard_file import parse_standard
from registry.engine.question import Question
from registry.engine.standard import Standard

UTC_ZONE = ZoneInfo("UTC")
FIRST = datetime(2024, 1, 1, 8, tzinfo=UTC)
START = datetime(2026, 6, 1, 8, tzinfo=UTC)


def leaf(kind: str, key: str, **more: Any) -> dict[str, Any]:
    return {kind: {"key": key, "sentence": key, "source": "own", **more}}


def standard() -> Standard:
    return parse_standard(
        {
            "standard": "graph",
            "version": 1,
            "title": "Graph",
            "jurisdiction": "US",
            "in_force": {"from": "2000-01-01"},
            "sources": {"own": {"title": "common practice, no source", "kind": "common_practice"}},
            "sign_off": {"countersigners": ["erector"], "assessors": ["erector"]},
            "provenance": {"counts_in_full": ["witnessed"], "countersign_within_days": 0},
            "plausibility": {
                "crane_not_on_site": "in_full",
                "recorded_late": "in_full",
                "recorded_late_after_days": 0,
            },
            "crew": {
                "trainees_per_erector": 1,
                "longest_day_minutes": 720,
                "source": "own",
                "longest_day_source": "own",
            },
            "roles": [
                {
                    "role": "erector",
                    "operations": ["erection"],
                    "requirement": {
                        "all_of": [
                            leaf("no_stand_down", "no_stand_down"),
                            {
                                "any_of": [
                                    leaf("hours", "hours", minimum_minutes=60, scope="model"),
                                    leaf("certification", "certificate", schemes=["erection"]),
                                ]
                            },
                        ]
                    },
                }
            ],
        }
    )


STANDARD = standard()


def world(people: range, roots: set[int], signed: list[tuple[int, int, datetime]]) -> Evidence:
    """``signed``: ``(signer, worker, start of the hour)``."""
    return Evidence(
        people={str(each): Person(str(each), f"Person {each}") for each in people},
        employers={"kestrel": Employer("kestrel", "Kestrel Tower Works")},
        models={"m": Model("m", "Norrland Hoist", "NH 280", "flat top")},
        certifications=tuple(
            Certification(
                id=f"root-{each}",
                recorded_at=FIRST,
                worker=str(each),
                scheme="erection",
                number="1",
                issued=date(2020, 1, 1),
            )
            for each in roots
        ),
        hours=tuple(
            HoursEntry(
                id=f"hours-{number}",
                recorded_at=start + timedelta(hours=1),
                worker=str(worker),
                model="m",
                operation="erection",
                start=start,
                end=start + timedelta(hours=1),
                employer="kestrel",
                zone=UTC_ZONE,
                countersignatures=(
                    Countersignature(str(signer), start + timedelta(hours=1), start + timedelta(hours=1)),
                ),
            )
            for number, (signer, worker, start) in enumerate(signed)
        ),
    )


def permitted(evidence: Evidence, worker: int) -> bool:
    question = Question(
        worker=str(worker),
        role="erector",
        model="m",
        operation="erection",
        employer="kestrel",
        jurisdiction="US",
        start=START,
        end=START + timedelta(hours=8),
        zone=UTC_ZONE,
    )
    return decide(evidence, STANDARD, question).permitted


# Source: networkx, descendants (reachability), on a graph expanded in time: a node for every
# record, an edge from a signer's earlier record to the record signed.
@pytest.mark.parametrize("seed", range(40))
def test_who_is_entitled_equals_reachability_in_the_graph_of_records(seed: int) -> None:
    chance = random.Random(seed)
    people = range(chance.randint(2, 8))
    roots = {each for each in people if chance.random() < 0.25}
    signed = [
        (chance.choice(people), chance.choice(people), FIRST + timedelta(hours=2 * chance.randrange(40)))
        for _ in range(chance.randint(0, 16))
    ]
    signed = list({(worker, start): (signer, worker, start) for signer, worker, start in signed}.values())
    evidence = world(people, roots, signed)
    for asked in people:
        graph: nx.DiGraph[Any] = nx.DiGraph()
        graph.add_node("ground")
        for number, (signer, worker, start) in enumerate(signed):
            if signer in (worker, asked):
                continue
            if signer in roots:
                graph.add_edge("ground", number)
            for earlier, (_, by, then) in enumerate(signed):
                if by == signer and then + timedelta(hours=1) <= start:
                    graph.add_edge(earlier, number)
        reached = nx.descendants(graph, "ground")
        expected = asked in roots or any(
            number in reached and worker == asked for number, (_, worker, _) in enumerate(signed)
        )
        assert permitted(evidence, asked) == expected


# Source: networkx, descendants, on the plain graph of people. Everybody signed everything of
# theirs in rounds that repeat, so that the order of time is no obstacle.
@pytest.mark.parametrize("seed", range(25))
def test_where_time_is_no_obstacle_people_reachable_from_a_root_are_entitled(seed: int) -> None:
    chance = random.Random(1000 + seed)
    people = range(chance.randint(2, 6))
    roots = {each for each in people if chance.random() < 0.3}
    edges = {(chance.choice(people), chance.choice(people)) for _ in range(chance.randint(1, 9))}
    signed = [
        (signer, worker, FIRST + timedelta(days=turn, hours=2 * place))
        for turn in range(len(people))
        for place, (signer, worker) in enumerate(sorted(edges))
    ]
    evidence = world(people, roots, signed)
    for asked in people:
        graph: nx.DiGraph[Any] = nx.DiGraph((signer, worker) for signer, worker in edges if signer != asked)
        graph.add_nodes_from(people)
        reached = roots.union(*(nx.descendants(graph, root) for root in roots if root != asked))
        assert permitted(evidence, asked) == (asked in reached)
