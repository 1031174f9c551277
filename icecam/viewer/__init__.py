"""The dry run: every move with the ice at that moment, in one file that needs no server."""
