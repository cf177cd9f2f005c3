"""The judge: a plan re-checked from the ledger's facts, without solver and without placement."""

from planner.planning.judge.limits import Objection
from planner.planning.judge.plan_check import judge_plan

__all__ = ["Objection", "judge_plan"]
