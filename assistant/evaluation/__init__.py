"""Evaluation of assay results: statistics, acceptance schemes and indications.

The package computes from results in memory. It reads no file, no clock and no record; random
numbers come from an explicit seed. `results.Result` is its only input model: the caller joins the
session record and the laboratory's sheet into a tuple of results, and `study.evaluate` turns
that tuple into one frozen result. Each module names the source of its formulas at the top, so
that a reviewer can check a number against the source.
"""
