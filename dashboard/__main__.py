"""`python -m dashboard` is `roundsheet`."""

from dashboard.cli import main

main()
