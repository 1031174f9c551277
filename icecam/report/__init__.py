"""What is told: summary.json and tables."""
