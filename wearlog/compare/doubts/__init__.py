"""What in the log looks wrong, with what a person may do about it (`calc.doubts`)."""
