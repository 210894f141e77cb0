"""Charts with axes: what they show is worked out here, and a library draws it (docs/decisions/charts.md)."""
