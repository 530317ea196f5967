"""What may be wrong with a request, said once: a stable code, a sentence, and the field at fault."""


class ClubdataError(Exception):
    """The base of every refusal that a caller can act on; defects raise ordinary exceptions.

    `code` is stable and becomes the `type` of the API's problem details; `field` names the input
    at fault, dotted for nested input (`parts.0.hook_bait`), or is empty for the request as a whole.
    """

    code = "refused"

    def __init__(self, message: str, *, field: str = "", code: str | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.field = field
        if code is not None:
            self.code = code


class InvalidInput(ClubdataError):
    """The input has the right shape but cannot be true or is not allowed."""

    code = "invalid_input"


class NotFound(ClubdataError):
    """No such thing, or not the caller's to see: the two are never told apart."""

    code = "not_found"


class NotAllowed(ClubdataError):
    """The caller may see the thing but lacks the role that this needs."""

    code = "not_allowed"


class Conflict(ClubdataError):
    """The state of the record does not allow it now."""

    code = "conflict"
