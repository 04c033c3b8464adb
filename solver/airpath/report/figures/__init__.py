"""Curves and pictures of results."""
