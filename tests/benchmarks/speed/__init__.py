"""Parts of ``python -m tests.benchmarks``, a module and a process each."""
