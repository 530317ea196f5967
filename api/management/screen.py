"""What the demo says in the terminal, to three people who have never seen it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from api.management.people import LIFETIME, Person


@dataclass(frozen=True, slots=True)
class Example:
    """One request worth pasting: who asks, what for, and the request itself.

    What is no JSON is saved as a file beside the one who asks.
    """

    title: str
    person: Person
    path: str
    body: str = ""
    save_as: str = ""


def fact(name: str, text: str) -> str:
    """One aligned line of the start: `  returns    6,129 landed, …`."""
    return f"  {name:<10} {text}"


def import_facts(report: dict[str, Any]) -> str:
    """An import's report in one line."""
    return (
        f"{report['rows_read']:,} rows read: {report['landed']:,} landed, {report['refused']:,} refused, "
        f"{report['duplicates']:,} duplicates"
    )


def people_table(people: Sequence[Person]) -> list[str]:
    """Who may sign in, and with what."""
    hours = round(LIFETIME.total_seconds() / 3600)
    lines = [
        f"Three people of the club. Logins and tokens are new at every start and last {hours} hours.",
        "",
        f"  {'who':<16} {'login':<10} {'password':<13} token",
    ]
    for person in people:
        lines.append(f"  {person.title:<16} {person.login:<10} {person.password:<13} {person.token}")
    return lines


def example_lines(examples: Sequence[Example], *, address: str) -> list[str]:
    """The requests, each whole, so that any one of them may be pasted alone."""
    lines = ["Worth pasting:"]
    for example in examples:
        lines += [
            "",
            f"  # {example.title} (asked by the {example.person.title})",
            f"  curl -s '{address}{example.path}' \\",
            f"    -H 'Authorization: Bearer {example.person.token}' \\",
        ]
        if example.body:
            lines += ["    -H 'Content-Type: application/json' \\", f"    -d '{example.body}' \\"]
        # JSON on many lines, for eyes.
        json_lines = "    -H 'Accept: application/json; indent=2'"
        lines.append(f"    -o {example.save_as}" if example.save_as else json_lines)
    return lines
