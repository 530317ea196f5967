"""Text that any form can carry."""

import unicodedata


def plain(text: str) -> str:
    """The text without control characters, which neither XML nor a workbook takes; white space is a blank."""
    kept = (" " if mark.isspace() else mark for mark in text if mark.isspace() or _is_shown(mark))
    return "".join(kept)


def _is_shown(mark: str) -> bool:
    return unicodedata.category(mark) not in {"Cc", "Cs", "Cn"}
