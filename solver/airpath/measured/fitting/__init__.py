"""Values of a case fitted to sweeps, and where a misfit comes from."""
