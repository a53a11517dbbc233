"""The view of swings as one row a value, written in SQL that every engine reads alike.

The columns to turn into rows stand in the table of measures, so the text follows a dataset's own."""

from __future__ import annotations

CARRIED = "session_id, player_id, block_no, block, phase, swing"


def swing_values(measures: list[tuple[str, str, str]]) -> str:
    """Text of the view: of each counted swing a row for every measure it has, with its definition."""
    parts = (
        f"SELECT {CARRIED}, '{key}' AS measure, {value} AS value, {definition} AS definition\n"
        f"FROM counted_swings WHERE {value} IS NOT NULL"
        for key, value, definition in measures
    )
    return "\nUNION ALL\n".join(parts)
