"""Trimming servos: an end moved in small steps while one watches, a speed tried, both saved into the layout file."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from typing import Any

from frogfeed.console.refusals import RefusedError
from frogfeed.console.session import Session
from frogfeed.layout.schema import Drive
from frogfeed.layout.writing import CannotWrite, with_values
from frogfeed.throw.linkage import Linkage
from frogfeed.throw.motion import Motion
from frogfeed.throw.window import linkage_faults, stretch

STEPS = 41
"""Points of the blade's curve that the page draws."""


class Trimmer:
    """Trims the drives of one session."""

    def __init__(self, session: Session) -> None:
        self._session = session

    def _drive(self, name: str) -> tuple[Linkage, Motion, tuple[str, ...]]:
        self._session.board_of(name)
        plan = self._session.railway.drives[name][1]
        if plan.linkage is None or plan.motion is None:
            raise RefusedError(f"{name} is thrown by hand", "there is no servo to trim", "choose a drive with a servo")
        return plan.linkage, plan.motion, plan.need.settings

    async def trim(self, name: str, setting: str, pulse_us: int) -> dict[str, Any]:
        """Move a servo at rest to a pulse, which is its end from now on. Raises RefusedError."""
        _, _, settings = self._drive(name)
        if setting not in settings:
            raise RefusedError(f"{name} has no setting {setting}", cure=f"it has {' and '.join(settings)}")
        low, high = self._table(name).range_us
        if not low <= pulse_us <= high:
            raise RefusedError(
                f"{pulse_us} µs is outside the servo's range of {low} to {high} µs",
                "it would run into its own stop, growl and burn out",
                "move the horn by a spline, or state range_us in the layout file",
            )
        board = self._session.board_of(name)
        got = await self._session.ask(board, lambda link: link.trim(name, setting, pulse_us, True))
        self._session.reporter.trims[(name, setting)] = got
        return await self.show(name)

    async def speed(self, name: str, travel_ms: int) -> dict[str, Any]:
        """Try another speed: the board gets settings with it, and all its feeds are off for a moment."""
        self._drive(name)
        text = self._session.railway.layout.text
        try:
            changed = with_values(text, {("drive", name, "travel_ms"): float(travel_ms), **self._ends(name)})
        except CannotWrite as problem:
            raise RefusedError(str(problem)) from problem
        await self._session.take_text(changed)
        await self._session.push(self._session.board_of(name))
        return await self.show(name)

    async def show(self, name: str) -> dict[str, Any]:
        """The drive's ends, speed, blade curve and window as they are now."""
        linkage, motion, settings = self._drive(name)
        ends = self._session.reporter.ends(name) or linkage.pulse_us
        live = replace(linkage, pulse_us=ends)
        table = self._table(name)
        needed = linkage.throw_mm
        faults = [list(f) for f in linkage_faults(live, table.range_us, needed)] if ends[0] != ends[1] else []
        low, high = min(ends) - 60, max(ends) + 60
        pulses = [low + (high - low) * k / (STEPS - 1) for k in range(STEPS)]
        feeds = []
        for output, (_, plan) in self._session.railway.feeds.items():
            for m in plan.moves:
                if m.drive == name:
                    w = m.window.move
                    feeds.append({"feed": output, "to": settings[m.to], "off_us": w.off_us, "on_us": w.on_us})
        return {
            "drive": name,
            "settings": list(settings),
            "ends": list(ends),
            "planned": list(linkage.pulse_us),
            "range": list(table.range_us),
            "travel_ms": round(motion.travel_ms),
            "throw_mm": linkage.throw_mm,
            "curve": [[round(p), *(round(v, 2) for v in live.blade_mm(p))] for p in pulses] if not faults else [],
            "windows": {} if faults else self._windows(live, motion, settings),
            "feeds": feeds,
            "faults": [{"what": f[1], "why": f[2], "cure": f[3]} for f in faults],
            "unsaved": list(ends) != list(linkage.pulse_us) or self._session.store.get("file", "dirty"),
        }

    def _windows(self, live: Linkage, motion: Motion, settings: tuple[str, ...]) -> dict[str, dict[str, int]]:
        found = {}
        for to in (0, 1):
            try:
                s = stretch(live, motion, to)
            except ValueError:
                continue
            found[settings[to]] = {"leave_us": round(s.leave_us), "arrive_us": round(s.arrive_us), "ms": round(s.ms)}
        return found

    async def save(self, name: str) -> dict[str, Any]:
        """Write the drive's ends and speed into the layout file; comments and everything else stay."""
        _, motion, _ = self._drive(name)
        values: dict[tuple[str | int, ...], Any] = {**self._ends(name)}
        if round(motion.travel_ms) != 1000 or self._table(name).travel_ms != 1000.0:
            values[("drive", name, "travel_ms")] = float(round(motion.travel_ms))
        try:
            saved = with_values(self._session.saved_text, values)
            working = with_values(self._session.railway.layout.text, values)
        except CannotWrite as problem:
            raise RefusedError(str(problem)) from problem
        self._session.save(saved)
        await self._session.take_text(saved if tomllib.loads(saved) == tomllib.loads(working) else working)
        return await self.show(name)

    def _ends(self, name: str) -> dict[tuple[str | int, ...], Any]:
        linkage, _, settings = self._drive(name)
        ends = self._session.reporter.ends(name) or linkage.pulse_us
        return {("drive", name, "pulse_us", s): e for s, e in zip(settings, ends, strict=True)}

    def _table(self, name: str) -> Drive:
        return self._session.railway.layout.file.drive.get(name) or Drive()
