"""What a tonne costs: what each run uses up, what was paid, and which of it may be compared.

- `kinds`: the kinds of cost, and why one is left out;
- `parts`: what runs use up of parts;
- `spread`: amounts of a press and a season divided among its runs;
- `runs`: the costs and the income of each run, all kinds together;
- `money`: those of groups of runs;
- `presses`: presses against each other at the crops that all ran;
- `season`: this season against the last, lots and crops, and what was paid.
"""
