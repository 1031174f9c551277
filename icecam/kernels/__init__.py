"""Compiled inner loops, one file a family; nothing else in the project imports numba.

A kernel takes plain arrays and numbers, checks nothing and allocates nothing inside its loops; each
has one plain caller that checks and allocates.
"""
