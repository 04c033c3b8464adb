"""Draws and writes what the other layers found; computes nothing of its own."""
