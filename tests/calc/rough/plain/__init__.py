"""Plain methods that a forecast of wear should beat, and an oracle that knows the truth.

Each sees what the log holds at the end of a day (`seen.py`), and spends what an edge has left along the plan
known then (`path.py`). Each gives the early, middle and late day of an edge (10, 50 and 90 %), as days of the
record, or None where it has nothing to say.
"""
