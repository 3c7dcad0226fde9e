"""Work a calculator out from the command line: without a database, for scripts and for those without a screen."""

from __future__ import annotations

import json
from difflib import get_close_matches
from typing import Any

from django.core.management.base import BaseCommand

from workshop.engineering import command
from workshop.engineering.calculate import calculate
from workshop.engineering.catalogue import calculators, find
from workshop.engineering.declare import InputErrors


class Command(BaseCommand):
    help = (
        "Work a calculator out. Without arguments: the list of all. Inputs are NAME=VALUE, each value with its unit: "
        'calculate torque-with-extension torque="80 N.m" length="400 mm" extension="50 mm" angle="0 deg"'
    )
    # It reads no record: neither the database nor the settings of a shop are looked at.
    requires_system_checks: list[str] = []

    def add_arguments(self, parser) -> None:
        parser.add_argument(
            "calculator", nargs="?", default="", help="which one, such as torque-with-extension"
        )
        parser.add_argument(
            "inputs", nargs="*", metavar="NAME=VALUE", help='an input, such as torque="80 N.m"'
        )
        parser.add_argument("--json", action="store_true", help="answer as JSON, errors too")
        parser.add_argument(
            "--inputs", action="store_true", dest="tell", help="say what it takes, with an example"
        )

    def handle(self, *, calculator: str, inputs: list[str], json: bool, tell: bool, **options) -> None:
        if not calculator:
            every = calculators().values()
            self._say(command.listed(every) if json else None, command.list_lines(every))
            return
        chosen = find(calculator)
        if chosen is None:
            near = get_close_matches(calculator, calculators(), n=1)
            hint = f" Is it {near[0]}?" if near else ""
            self._refuse({"": f"There is no calculator called “{calculator[:60]}”.{hint} "
                              "Without arguments this command lists them all."}, json)  # fmt: skip
        if tell:
            self._say(command.listed([chosen])[0] if json else None, command.help_lines(chosen))
            return
        try:
            pairs = [self._pair(text) for text in inputs]
            record = calculate(chosen, command.read_inputs(chosen, pairs)).record()
        except InputErrors as refused:
            self._refuse(refused.errors, json)
        self._say(record if json else None, command.result_lines(record))

    @staticmethod
    def _pair(text: str) -> tuple[str, str]:
        name, sign, value = text.partition("=")
        if not sign:
            raise InputErrors({"": f'“{text[:60]}” is no input. Write NAME=VALUE, such as torque="80 N.m".'})
        return name.strip(), value

    def _say(self, data: Any, lines: list[str]) -> None:
        if data is None:
            self.stdout.write("\n".join(lines))
        else:
            self.stdout.write(json.dumps(data, ensure_ascii=False, indent=1))

    def _refuse(self, errors: dict[str, str], as_json: bool) -> None:
        """One sentence for each input, and an exit code that a script sees."""
        if as_json:
            self.stdout.write(json.dumps({"errors": errors}, ensure_ascii=False, indent=1))
        else:
            for name, sentence in errors.items():
                self.stderr.write(f"{name}: {sentence}" if name else sentence)
        raise SystemExit(1)
