"""A drive of the layout as a linkage and a motion, with what is wrong with its geometry."""

from __future__ import annotations

from frogfeed.findings.finding import Finding, Location, Severity
from frogfeed.findings.words import said
from frogfeed.layout.schema import Drive
from frogfeed.parts.gauges import Gauge
from frogfeed.throw.linkage import Linkage, default_pulses
from frogfeed.throw.motion import Motion
from frogfeed.throw.window import linkage_faults

TICK_MS = 5
"""The firmware's control tick."""

SERVO_MS_PER_DEGREE = 120.0 / 60.0
"""How fast a typical 9 g servo turns at 4.8 V: 0.10 to 0.12 s for 60° (typical datasheet)."""


def throw_of(drive: Drive, gauge: Gauge) -> float:
    """The blade throw in mm: as stated, else the gauge's default or what keeps both blades clear in mid-
    travel.
    """
    if drive.blade_throw_mm is not None:
        return drive.blade_throw_mm
    clear = drive.lost_motion_mm + 2.0 * drive.contact_clearance_mm + 0.4
    return round(max(gauge.default_throw_mm.value, clear), 2)


def linkage_of(drive: Drive, settings: tuple[str, ...], gauge: Gauge) -> Linkage | None:
    """The drive's linkage between its two settings; None where the defaults cannot reach the throw.

    Where the file states no pulses they are chosen about the middle of the servo's range, so that the blade
    is pressed home; where it states no blade throw, `throw_of` decides.
    """
    throw = throw_of(drive, gauge)
    if drive.pulse_us is not None:
        pulses: tuple[int, int] | None = (drive.pulse_us[settings[0]], drive.pulse_us[settings[1]])
    else:
        middle = round(sum(drive.range_us) / 2)
        pulses = default_pulses(drive.us_per_degree, drive.horn_mm, drive.ratio, throw, drive.lost_motion_mm, middle)
    if pulses is None:
        return None
    return Linkage(
        pulses,
        drive.us_per_degree,
        drive.horn_mm,
        drive.ratio,
        throw,
        drive.lost_motion_mm,
        drive.contact_clearance_mm,
    )


def motion_of(drive: Drive) -> Motion:
    """The drive's speed as the board will run it."""
    return Motion(float(round(drive.travel_ms)), float(round(drive.lag_ms)), TICK_MS)


def geometry_findings(
    name: str, drive: Drive, settings: tuple[str, ...], gauge: Gauge, at: Location | None
) -> tuple[Finding, ...]:
    """What is wrong with a servo drive by itself, with the numbers and the cure."""
    if len(settings) != 2:
        return (
            said(
                "throw-settings",
                Severity.ERROR,
                name,
                f"drive {name} has {len(settings)} settings; a servo moves blades between two",
                cure="give each servo a drive of its own",
                where=at,
            ),
        )
    linkage = linkage_of(drive, settings, gauge)
    if linkage is None:
        throw = throw_of(drive, gauge)
        return (
            said(
                "throw-horn-short",
                Severity.ERROR,
                name,
                f"drive {name}: a horn of {drive.horn_mm:g} mm with a ratio of {drive.ratio:g} cannot move the "
                f"blades by {throw:.2f} mm",
                "the blades would not be pressed home, and wheels would split them",
                "use a longer horn, or a linkage that moves the tie bar further",
                at,
            ),
        )
    gap = gauge.blade_gap
    found = [
        said(
            code,
            Severity.ERROR if code != "throw-short" or gap.confidence.firm else Severity.WARNING,
            name,
            f"drive {name}: {what}",
            why,
            cure,
            at,
        )
        for code, what, why, cure in linkage_faults(linkage, drive.range_us, gap.value)
    ]
    fastest = 2.0 * linkage.half_angle_deg * SERVO_MS_PER_DEGREE
    if drive.travel_ms < fastest:
        found.append(
            said(
                "throw-too-fast",
                Severity.WARNING,
                name,
                f"drive {name}: a travel of {drive.travel_ms:.0f} ms is faster than a typical servo turns "
                f"{2 * linkage.half_angle_deg:.0f}° ({fastest:.0f} ms)",
                "the blades then trail the pulse by more than lag_ms says, and the feed may change over too early",
                f"set travel_ms to {fastest:.0f} or more",
                at,
            )
        )
    return tuple(found)
