"""What was measured on the bench: sweeps read, checked, compared with a case, and turned into driver values."""
