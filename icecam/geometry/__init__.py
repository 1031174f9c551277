"""The sculpture in its block: mesh, bit profiles, tip surfaces, slices, height fields."""
