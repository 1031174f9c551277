"""Where the bit goes: roughing, finishing, linking. Toolpaths in block coordinates."""
