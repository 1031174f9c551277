"""RS-274/NGC text: written from toolpaths, and read back by a reader that trusts nobody."""
