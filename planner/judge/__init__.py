"""The judge: a plan re-checked from the ledger's facts, without solver and without placement."""

from planner.judge.objection import Objection
from planner.judge.plan_check import judge_plan

__all__ = ["Objection", "judge_plan"]
