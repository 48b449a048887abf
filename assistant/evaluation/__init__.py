"""Numbers from the vials: statistics, acceptance schemes and indications, nothing else.

The package computes from results in memory. It reads no file, no clock and no record; randomness
comes from an explicit seed. `results.Result` is its only input model: whoever calls joins the
session record and the laboratory's sheet into a tuple of results, and `study.evaluate` turns
that tuple into one frozen answer. Each module names the source of its formulas in its first
lines, so that a reviewer can follow a number with the text at hand.
"""
