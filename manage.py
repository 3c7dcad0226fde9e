#!/usr/bin/env python
"""Command line of Witness Mark; `python manage.py help` lists what it can do."""

import os
import sys


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "workshop.settings")
    if sys.argv[1:2] == ["demo"]:
        # Before the settings are read: the demo has a data folder and a database of its own.
        from workshop.environment import enter_demo

        enter_demo(sys.argv[2:])
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
