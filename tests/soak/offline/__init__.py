"""Two phones at the press, and a network that fails."""
