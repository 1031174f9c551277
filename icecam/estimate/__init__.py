"""What a toolpath costs: hours on the machine."""
