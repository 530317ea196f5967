"""The clubs that every claim about the truth is held against: declared beforehand, every one counts."""

SEEDS = tuple(range(1, 101))
