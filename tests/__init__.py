"""The checks, laid out like the tree they check.

``standards/`` holds numbers from outside, one file a source; ``faults/`` broken
files beside the exact words that they earn.
"""
