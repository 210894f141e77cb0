"""Two-parameter Weibull lives: `many` fits thousands of sets in one call, `one` a single set, and `pivotal`
has the limits that hold with few failures."""
