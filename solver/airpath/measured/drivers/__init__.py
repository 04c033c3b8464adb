"""Driver values from sweeps."""
