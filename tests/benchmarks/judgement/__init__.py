"""How good the judgement is, on simulated systems whose seeds no number was chosen on.

    python -m tests.benchmarks.judgement                          the exam, about 1,100 systems
    python -m tests.benchmarks.judgement --half tuning            where numbers may be chosen
    python -m tests.benchmarks.judgement --systems 60 --days 3    a smaller one

Systems, not samples, are drawn and split; each is analysed day by day as the product does and
judged as of its last moment. Intervals are 95 %. Cases are kept between runs, see ``cases``.
"""
