"""Pages, paper and the folders they are written to."""
