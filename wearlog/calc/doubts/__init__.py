"""What in a log looks wrong: runs of an odd pace, steps that no entry explains, days that two presses were
mixed up, and days without a run where there usually is one. Nothing here changes anything; a person decides.
"""
