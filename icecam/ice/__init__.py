"""Properties of clear ice, and what cutting it takes; every number with its source."""
