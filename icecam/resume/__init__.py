"""A job taken up again at the machine: after a stop, or cut into parts for working days."""
