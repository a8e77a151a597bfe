"""Every code a finding may carry, with one line of meaning and the severity it has unless a check says otherwise.

A code is a stable kebab-case word: programs and `accept` entries in layout files refer to it. To add one, add a row to
the table of its family below; `docs/reference/findings.md` is made from these tables.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from frogfeed.findings.finding import Severity


@dataclass(frozen=True, slots=True)
class CodeInfo:
    """What a code means; `acceptable` says whether a layout file's `accept` may turn it into a note."""

    meaning: str
    severity: Severity
    acceptable: bool


def _errors(rows: Mapping[str, str]) -> dict[str, CodeInfo]:
    """Codes that are always errors and never accepted."""
    return {code: CodeInfo(meaning, Severity.ERROR, acceptable=False) for code, meaning in rows.items()}


FILE_CODES: Mapping[str, CodeInfo] = _errors(
    {
        "file-unreadable": "the layout file cannot be opened or read",
        "file-too-big": "the file is far larger than any layout",
        "file-too-deep": "tables or lists are nested deeper than any layout needs",
        "file-not-utf8": "the file is not UTF-8 text",
        "file-empty": "the file holds nothing",
        "file-not-toml": "the file breaks a rule of TOML, so nothing in it can be read for certain",
        "file-more": "more mistakes were found than are listed",
        "file-unknown-key": "a table or key that a layout file does not have",
        "file-missing-key": "a table or key that a layout file must have is not there",
        "file-wrong-type": "a value of the wrong type: text for a number, a number for a list",
        "file-out-of-range": "a value outside the limits of its key",
        "file-bad-choice": "a word that is not one of the words its key allows",
        "file-bad-name": "a name with characters that names may not have, or too long a name",
        "file-name-twice": "one name for two things",
        "file-unknown-gauge": "a gauge without a track and wheel standard here",
        "file-unknown-wire": "a wire size that is not in the table of wires",
        "file-unknown-colour": "a wire colour that is not in the table of colours",
        "file-unknown-rail": "a rail code that is not in the table of rails",
        "file-unknown-profile": "a board profile that does not exist",
        "file-unknown-kind": "a kind of piece that no catalogue has",
        "file-unknown-make": "a make in which this kind of piece does not exist",
        "file-bad-catalogue": "a catalogue file of the modeller's own cannot be read",
        "file-slip-kind": "what a slip is is said twice, or not at all",
        "file-unknown-district": "a district that the file does not declare",
        "file-unknown-drive": "a drive that the file does not declare",
        "file-unknown-code": "an `accept` entry names a code that no finding has",
        "file-not-acceptable": "an `accept` entry names a finding that cannot be accepted",
        "file-no-track": "no line joins anything, so there is nothing to check",
        "file-line-item": "an item of a line that is neither a place, an end, a gap, a length, a feed nor a joiner",
        "file-line-short": "a line that joins nothing to anything",
        "file-line-end": "a gap or joiner at the end of a line, with nothing beyond it to insulate or join",
        "file-unknown-place": "a line names a place that the file does not declare",
        "file-unknown-piece": "a line names an end of a piece that the file does not declare",
        "file-unknown-end": "a line names an end that its piece does not have",
        "file-end-twice": "an end of a piece is joined twice",
        "file-end-unjoined": "an end that no line joins to anything",
        "file-no-road": "a line runs through a piece where no road does",
        "file-no-exit": "a line enters a piece and does not come out",
        "file-inside-piece": "a gap, length, feed or joiner between two ends of one piece",
        "file-gaps-adjacent": "two gaps in one rail with nothing named between them",
        "file-place-twice": "a place is joined more often than it has ends",
        "file-place-inside": "a buffer stop or open end in the middle of a line",
        "file-place-unused": "a declared place that no line names",
        "file-section": "a switched section that takes in what it cannot, or a selector with nothing to select",
        "file-pulse-range": "a servo pulse outside the range its servo takes",
        "file-pulse-setting": "a servo pulse for a setting that its drive does not have",
        "file-pulse-missing": "a drive's pulses leave out one of its settings",
        "file-pulse-same": "two settings of a drive with the same pulse",
        "file-home-setting": "a drive's home is none of its settings",
        "file-drive-mapping": "a piece and its drive call their settings by different names",
        "file-drive-unused": "a declared drive that no piece uses",
        "file-unknown-route": "a button or lamp names a stored route that the file does not declare",
        "file-unknown-board": "a button or lamp names a board that the file does not declare",
        "file-unknown-feed": "a lamp names a switched feed of nothing that the file declares",
        "file-panel-job": "a button or lamp with two jobs, with none, or with half of one",
        "file-panel-setting": "a button, lamp or stored route names a setting that its drive does not have",
        "file-panel-hand": "a button or stored route throws a drive that is thrown by hand",
        "file-route-way": "a stored route that says its way twice, by halves, or not at all",
        "file-trip-keys": "a feed that stays off after a trip is said to be tried again",
        "file-channel-unknown": "a board's channel is kept for something the layout does not have",
        "file-channel-twice": "one channel is kept for two things, or one thing is given two channels",
        "file-serial-twice": "two boards with one USB serial number",
    }
)


def _row(meaning: str, severity: Severity, acceptable: bool = True) -> CodeInfo:
    return CodeInfo(meaning, severity, acceptable)


TRACK_CODES: Mapping[str, CodeInfo] = {
    "short": _row("two bus wires are joined at some settings, or at all of them", Severity.ERROR, acceptable=False),
    "return-loop": _row("the track comes back to itself turned round", Severity.ERROR, acceptable=False),
    "never-fed": _row("rails that no setting feeds", Severity.ERROR),
    "dead-on-road": _row("rails without a feed though the road over them is set", Severity.ERROR),
    "dead-held": _row("rails that go dead while their road is set against", Severity.NOTE),
    "clash": _row("a wheel at a gap joins two bus wires", Severity.ERROR, acceptable=False),
    "one-wire": _row("both rails of a set road carry the same bus wire", Severity.ERROR),
    "no-common": _row("the two rails of a road belong to districts without a common", Severity.WARNING),
    "hangs-on-blade": _row("rails fed only by a blade touching its stock rail", Severity.WARNING),
    "hangs-on-joiner": _row("rails fed only through a metal joiner marked as not trusted", Severity.WARNING),
    "undecided": _row("no drive decides what a switched feed must carry", Severity.WARNING),
    "section-apart": _row(
        "a switched section takes in a piece that it does not touch", Severity.ERROR, acceptable=False
    ),
    "outputs-joined": _row("two switched outputs feed one conductor", Severity.ERROR, acceptable=False),
    "section-short": _row("a reversing section shorter than the longest vehicle that conducts", Severity.ERROR),
    "section-length-unknown": _row("a reversing section or a vehicle whose length is not stated", Severity.NOTE),
    "reversing-dc": _row("a reversing section on DC, which changes polarity when its drive is thrown", Severity.NOTE),
    "run-through": _row("where a train shorts that trails through a piece set against it", Severity.NOTE),
    "not-proven": _row("a question that could not be decided in the time allowed", Severity.WARNING),
    "vee-bridged": _row("a wheel tread can join the two vee rails beyond a plastic frog", Severity.WARNING),
    "vee-unknown": _row(
        "too little is known of a plastic frog to say whether a tread can join its vee rails", Severity.NOTE
    ),
    "blade-back": _row("an open live blade can touch the backs of wheels", Severity.WARNING),
}

THROW_CODES: Mapping[str, CodeInfo] = {
    "throw-settings": _row("a servo drive without exactly two settings", Severity.ERROR, acceptable=False),
    "throw-horn-short": _row("a horn too short to move the blades from end to end", Severity.ERROR),
    "throw-pulse-range": _row("a pulse outside what the servo stands", Severity.ERROR, acceptable=False),
    "throw-pulse-same": _row("both ends of a drive have the same pulse", Severity.ERROR, acceptable=False),
    "throw-angle": _row("a horn that turns too far to move the rod", Severity.ERROR),
    "throw-short": _row("a blade throw smaller than the wheels need", Severity.ERROR),
    "throw-reach": _row("a servo that does not press the blades home", Severity.ERROR),
    "throw-too-fast": _row("a travel faster than a typical servo can follow", Severity.WARNING),
}

PLAN_CODES: Mapping[str, CodeInfo] = {
    "plan-output-kind": _row("a feed asks for a kind of output that no board has", Severity.ERROR, acceptable=False),
    "plan-one-way-switch": _row(
        "a switch that blocks one polarity only, where polarity reverses", Severity.ERROR, acceptable=False
    ),
    "plan-bare-changeover": _row(
        "an output without an off feeds blades that are not bonded", Severity.ERROR, acceptable=False
    ),
    "plan-hand-no-off": _row(
        "an output without an off feeds blades that are not bonded and thrown by hand", Severity.ERROR, acceptable=False
    ),
    "plan-changeover-window": _row(
        "a changeover does not fit while neither blade touches", Severity.ERROR, acceptable=False
    ),
    "plan-needs-off": _row(
        "an output without an off serves a feed that must be off at some settings", Severity.ERROR, acceptable=False
    ),
    "plan-two-districts": _row(
        "one feed must carry wires of two districts that are not in phase", Severity.ERROR, acceptable=False
    ),
    "plan-hand-settings": _row(
        "a feed depends on a hand drive whose settings two position contacts cannot tell apart",
        Severity.ERROR,
        acceptable=False,
    ),
    "plan-hand-unread": _row("a hand drive that no board reads, as no feed depends on it", Severity.NOTE),
    "settings-refused": _row(
        "a value of the layout that a board's firmware does not take", Severity.ERROR, acceptable=False
    ),
    "plan-channel-fixed": _row("a channel kept for something that cannot use it", Severity.ERROR, acceptable=False),
    "plan-channel-twice": _row("one channel or pin is kept for two things", Severity.ERROR, acceptable=False),
    "plan-no-output": _row("no board has an output for a feed", Severity.ERROR, acceptable=False),
    "plan-no-room": _row("the layout does not fit its boards", Severity.ERROR, acceptable=False),
    "plan-table-drives": _row("more drives decide one feed than a board can hold", Severity.ERROR, acceptable=False),
    "plan-single-contact": _row(
        "one position contact where blades that are not bonded need two", Severity.ERROR, acceptable=False
    ),
    "plan-too-slow": _row("no assignment was found in the time allowed", Severity.ERROR, acceptable=False),
    "plan-sensor-blind": _row("a current sensor that cannot see this track's current", Severity.NOTE),
    "plan-common-mode": _row(
        "an output or sensor on the board's ground that the track's polarity takes out of its range",
        Severity.ERROR,
        acceptable=False,
    ),
    "plan-implied-board": _row("no board is stated, so one is assumed", Severity.NOTE),
    "plan-no-off": _row("a feed on an output that cannot turn it off", Severity.NOTE),
    "plan-try-other": _row(
        "a feed that must not flip to the other bus wire after a trip is said to", Severity.ERROR, acceptable=False
    ),
    "plan-trip-no-off": _row(
        "a feed is said to be tried again after a trip, on an output without an off", Severity.ERROR, acceptable=False
    ),
    "plan-trip-unwatched": _row("what a feed is to do after a trip has no effect: nothing trips it", Severity.WARNING),
    "plan-route-way": _row(
        "a stored route between two places for which there is no way, or not just one", Severity.ERROR, acceptable=False
    ),
    "plan-route-unused": _row("a stored route that no button lays and no lamp shows", Severity.NOTE),
    "plan-panel-forbidden": _row(
        "a button or stored route sets a combination without a road", Severity.ERROR, acceptable=False
    ),
    "plan-panel-drive": _row(
        "a button or lamp names a drive that no board serves", Severity.ERROR, acceptable=False
    ),
    "plan-panel-board": _row(
        "a button or lamp on no single board: it names none, or its drives and feeds are on several",
        Severity.ERROR,
        acceptable=False,
    ),
    "plan-lamp-feed": _row("a lamp names a switched feed that the layout does not have", Severity.ERROR, False),
}

ELECTRICS_CODES: Mapping[str, CodeInfo] = {
    "elec-trip-never": _row("a supply trips above what a short can draw", Severity.ERROR, acceptable=False),
    "elec-trip-weak": _row("a short somewhere draws too little to trip the supply for certain", Severity.WARNING),
    "elec-volts": _row("wires and rails lose more than a tenth of the volts under load", Severity.WARNING),
    "elec-load": _row("the stated load is no less than the trip current", Severity.WARNING),
    "elec-wire-thin": _row("a wire too thin for what the supply may feed for good", Severity.WARNING),
    "elec-wire-heat": _row("a short cooks a wire before the supply trips", Severity.WARNING),
    "elec-output-volts": _row("an output rated for fewer volts than the track has", Severity.ERROR),
    "elec-output-carry": _row("an output too weak for what the supply may feed for good", Severity.WARNING),
    "elec-output-surge": _row("a short lets more through an output than it survives", Severity.WARNING),
    "elec-output-break": _row("a trip makes an output break more than it is rated for", Severity.WARNING),
    "elec-output-heat": _row("a solid-state output that gets hot", Severity.NOTE),
    "elec-trip-order": _row("a feed's own trip acts no sooner than its district's", Severity.NOTE),
    "elec-servo-supply": _row("a servo supply that cannot start one servo", Severity.WARNING),
}

CODES: Mapping[str, CodeInfo] = MappingProxyType(
    {**FILE_CODES, **TRACK_CODES, **THROW_CODES, **PLAN_CODES, **ELECTRICS_CODES}
)
"""Every code, by name."""


def info(code: str) -> CodeInfo:
    """What a code means. Raises KeyError for a code that no table has."""
    return CODES[code]
