"""The command line: reads arguments, calls the package, prints; it computes nothing itself."""
