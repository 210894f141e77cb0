"""Made-up mills whose wear is known, in many kinds of trouble, and what forecasts are held against there.

`python -m tests.calc.rough --help` says how to score the forecast on them.
"""
