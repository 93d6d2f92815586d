"""Whole networks: plan, run one, map over many. Stands on the public list of `profiler` only."""
