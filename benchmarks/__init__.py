"""Accuracy and speed as commands: every row printed, ratios in one run."""
