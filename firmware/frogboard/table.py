"""Decision tables: which bus wire a feed is joined to, for settings of which some may be unknown.

A setting is 0, 1 or UNKNOWN (2); an answer is OFF (0), A (1) or B (2). Where a setting is unknown, the answer is
that of both its values if they agree, else OFF: so a feed stays on only while nothing unknown matters to it.
No hardware.
"""

if False:
    from typing import Any

UNKNOWN = 2
OFF = 0
A = 1
B = 2
NAMES = ("off", "A", "B")


def build(rows: "list[dict[str, Any]]", drives: "list[int]") -> bytearray:
    """All 3**n answers for `drives` (their order counts); entry sum(setting[i] * 3**i).

    `rows` as in the settings: {"when": [[drive, setting], ...], "feed": "A" | "B"}, excluding each other.
    """
    count = 3 ** len(drives)
    answers = bytearray(count)
    digits = bytearray(len(drives))
    for index in range(count):
        rest = index
        unknown = -1
        for i in range(len(drives)):
            digits[i] = rest % 3
            rest //= 3
            if digits[i] == UNKNOWN:
                unknown = i
        if unknown >= 0:
            step: int = 3**unknown
            one, other = answers[index - 2 * step], answers[index - step]
            answers[index] = one if one == other else OFF
        else:
            answers[index] = _answer(rows, drives, digits)
    return answers


def _answer(rows: "list[dict[str, Any]]", drives: "list[int]", settings: bytearray) -> int:
    for row in rows:
        if all(settings[drives.index(term[0])] == term[1] for term in row["when"]):
            return A if row["feed"] == "A" else B
    return OFF
