"""How good the judgement is, on simulated systems whose seeds no number was chosen on.

    python -m tests.benchmarks.judgement                          the exam, about 1,100 systems
    python -m tests.benchmarks.judgement --half tuning            where numbers may be chosen
    python -m tests.benchmarks.judgement --systems 60 --days 3    a smaller one

Without further words that is the exam proper and slow leaks. Its other parts:

    --ablation       what each step is worth: the exam without it
    --naive          the usual practice on the same data
    --degradation    channels left out, refrigerants, logging intervals
    --leaks          slow leaks and healthy seasons alone
    --all            everything

The exit status is 1 when a bar is not met, and "not surely" says that the bar lies inside the
figure's interval. Where the physics forbids a bar, the line below it shows the limit.

Systems, not samples, are drawn and split; each is analysed day by day as the product does and
judged as of its last moment. Intervals are 95 %. Cases are kept between runs, see ``cases``.
"""
