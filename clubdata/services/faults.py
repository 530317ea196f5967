"""All faults of an input in one answer: on one bar of signal nobody wants to learn them one by one."""

from collections.abc import Iterator
from contextlib import contextmanager

from clubdata.errors import ClubdataError, InvalidInput


class ManyInvalid(InvalidInput):
    """Several fields at fault at once, each with its own code and sentence."""

    def __init__(self, problems: tuple[InvalidInput, ...]) -> None:
        first = problems[0]
        super().__init__(" ".join(one.message for one in problems), field=first.field)
        self.problems = problems


class VersionMoved(ClubdataError):
    """The return has changed since the version that the caller names; `problems` say what stands now."""

    code = "version_moved"

    def __init__(self, problems: tuple[InvalidInput, ...]) -> None:
        super().__init__("The return has changed meanwhile: read it again, then amend that.")
        self.problems = problems


class Faults:
    """Collects refusals field by field, then raises them together."""

    def __init__(self) -> None:
        self.found: list[InvalidInput] = []

    def add(self, field: str, code: str, message: str) -> None:
        self.found.append(InvalidInput(message, field=field, code=code))

    @contextmanager
    def at(self, field: str) -> Iterator[None]:
        """Keep an `InvalidInput` raised inside, under the field's name, and go on."""
        try:
            yield
        except InvalidInput as fault:
            self.add(field, fault.code, fault.message)

    def check(self) -> None:
        """Raise `ManyInvalid` if anything was found."""
        if self.found:
            raise ManyInvalid(tuple(self.found))
