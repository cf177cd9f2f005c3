"""The relaxation as a network: wishes, then links (wish set, boot class), then pair classes, and back.

A boot class that reaches pairs of several wish sets has a link for each; that its boots are not used
twice is then a side constraint, and so are bindings, minutes and money: see `side_constraints`.
"""

from dataclasses import dataclass

import numpy as np

from planner.plan.objective import Level
from planner.planning.assign.circulation import Circulation
from planner.planning.assign.linear_program import Ints
from planner.planning.assign.problem import Problem


@dataclass(frozen=True, slots=True, kw_only=True)
class Network:
    """The circulation, and the arc numbers of everything in it.

    ``serve[k]``: wish of the k-th serving arc and its link; the arrays ``*_arc`` give arc numbers.
    """

    circulation: Circulation
    wish_arc: Ints
    serve_wish: Ints
    serve_link: Ints
    serve_arc: Ints
    link_boot: Ints
    way_arc: Ints
    way_link: Ints


def network_of(problem: Problem) -> Network:
    """The network with nothing settled."""
    sets, _, links, way_link = problem.links()
    wishes, pairs = len(problem.wishes), len(problem.pairs)
    pair_node = 1 + wishes
    in_node = pair_node + pairs
    out_node = in_node + len(links)
    boots = np.array([len(b.tags) for b in problem.boots], dtype=np.int64)
    link_boot = np.array([boot for _, boot in links], dtype=np.int64)
    sizes = np.array([len(p.tags) for p in problem.pairs], dtype=np.int64)
    served = [(w, k) for k, link in enumerate(links) for w in problem.link_wishes(sets, link)]
    serve_wish = np.array([w for w, _ in served], dtype=np.int64)
    serve_link = np.array([k for _, k in served], dtype=np.int64)
    quantity = np.array([w.quantity for w in problem.wishes], dtype=np.int64)
    arcs, link_cap = problem.arcs, boots[link_boot] if len(links) else np.zeros(0, dtype=np.int64)
    blocks = [
        (np.zeros(wishes), 1 + np.arange(wishes), quantity),
        (1 + serve_wish, in_node + serve_link, link_cap[serve_link]),
        (in_node + np.arange(len(links)), out_node + np.arange(len(links)), link_cap),
        (out_node + way_link, pair_node + arcs.pair, np.minimum(link_cap[way_link], sizes[arcs.pair])),
        (pair_node + np.arange(pairs), np.zeros(pairs), sizes),
    ]
    tail, head, upper = (np.concatenate([b[i] for b in blocks]).astype(np.int64) for i in range(3))
    first = np.cumsum([0, *(len(b[0]) for b in blocks)])
    return Network(
        circulation=Circulation(
            nodes=out_node + len(links), tail=tail, head=head, lower=np.zeros_like(upper), upper=upper
        ),
        wish_arc=np.arange(first[0], first[1]),
        serve_wish=serve_wish,
        serve_link=serve_link,
        serve_arc=np.arange(first[1], first[2]),
        link_boot=link_boot,
        way_arc=np.arange(first[3], first[4]),
        way_link=way_link,
    )


def flow_costs(problem: Problem, network: Network, level: Level) -> Ints:
    """The costs of one level, by arc of the network."""
    nothing = np.zeros(len(network.way_arc), dtype=np.int64)
    cost = way_costs(network, nothing if level.priority is not None else problem.arcs.cost(level))
    cost[network.wish_arc] = problem.served_costs(level)
    return cost


def way_costs(network: Network, costs: Ints) -> Ints:
    """The costs of the ways, by arc of the network."""
    found = np.zeros(len(network.circulation.tail), dtype=np.int64)
    found[network.way_arc] = costs
    return found
