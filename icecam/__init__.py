"""Proven cut files for carving clear ice on a 3-axis gantry router."""

__version__ = "0.1.0"
