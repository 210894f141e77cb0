"""The mills that tests begin with: invented, small and each with something of its own."""
