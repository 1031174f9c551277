"""The block carved by what was read back: gouges, ice left, rapids, contacts, limits."""
