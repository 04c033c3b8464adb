"""The box as the case draws it."""
