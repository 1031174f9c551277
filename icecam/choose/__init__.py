"""Which bits of a rack are worth their time on a sculpture."""
