"""`python -m liftseries.cli`."""

import sys

from liftseries.cli.main import main

sys.exit(main())
