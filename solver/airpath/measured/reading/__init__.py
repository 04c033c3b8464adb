"""Sweeps from files, what is doubtful about them, and their features."""
