"""What the sculptor decides: block, bits, machine, quality; read from TOML and checked."""
