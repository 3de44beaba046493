"""Fit the likelihoods of weights.toml, so that what is stated of tuning fleets comes true.

    python -m tests.benchmarks.fitting            # print what would change
    python -m tests.benchmarks.fitting --write    # and change it

Takes the means and spreads of the table as they stand and moves them as little as makes the true
conditions of the tuning fleets likeliest (conditional likelihood, with a penalty on every move).
The seeds are this module's own and never those of an exam. Starting from the likelihoods that
`tests.benchmarks.spread` prints keeps every number near what the finding shows by itself.
"""
