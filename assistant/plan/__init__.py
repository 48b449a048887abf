"""The plan: what is to be sampled, with what, where; and the numbers that follow from it."""

from assistant.plan.model import Location, Person, Plan, Position, Sampler
from assistant.plan.parse import parse_plan

__all__ = ["Location", "Person", "Plan", "Position", "Sampler", "parse_plan"]
