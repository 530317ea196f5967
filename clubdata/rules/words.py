"""How two spellings are the same word."""

import unicodedata


def fold(text: str) -> str:
    """Case, accents' composition and runs of white space do not matter; nothing else is guessed."""
    return " ".join(unicodedata.normalize("NFKC", text).casefold().split())
