"""Run the command line: ``python -m airpath``."""

from airpath.cli.main import main

raise SystemExit(main())
