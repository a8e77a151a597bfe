"""Running a proof: the board's steps by themselves, the person's as they answer; the record at the end."""

from __future__ import annotations

import asyncio
import json
import time
from pathlib import Path
from typing import Any

from frogfeed.console.proving import IDLE_MA, Kind, Result, Step, feeds_wanted, record, steps_of, verdict
from frogfeed.console.refusals import RefusedError
from frogfeed.console.session import Session
from frogfeed.layout.atomic import replace_file
from frogfeed.track.meter.readings import meter_plan

HAND_S = 120.0
"""How long the proof waits for a turnout to be thrown by hand."""
FEED_S = 3.0


class Prover:
    """The proof of one session, shown in the store's section `proof`."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._task: asyncio.Task[None] | None = None
        self._steps: list[Step] = []
        self._answer: asyncio.Future[tuple[str, str]] | None = None
        self._asked = ""
        self._by = ""
        self._began = ""
        self.record: dict[str, Any] | None = None
        self.saved: Path | None = None

    async def start(self, meter: bool, by: str) -> dict[str, int]:
        """Begin a proof. Raises RefusedError where one runs, or no plan can be made."""
        if self._task is not None and not self._task.done():
            raise RefusedError("a proof is running", cure="go on with it, or stop it first")
        railway = self._session.railway
        if railway.plan is None:
            raise RefusedError(
                "this layout cannot be proven",
                "it has errors that stand against a plan",
                "cure what the fault list shows first",
            )
        readings = await asyncio.to_thread(meter_plan, railway.network) if meter else None
        self._steps = list(steps_of(railway, readings))
        self._by, self._began = by, _now()
        self.record, self.saved = None, None
        self._show("running")
        self._task = asyncio.create_task(self._run())
        return {"steps": len(self._steps)}

    async def answer(self, step: str, answer: str, note: str) -> None:
        """A person's answer to the step that is asked."""
        if self._answer is None or self._answer.done() or step != self._asked:
            raise RefusedError("this step is not asked now", "another page has answered it", "see what is asked now")
        self._answer.set_result((answer, note))

    async def stop(self) -> None:
        """End the proof here; what is done is kept in the record as unfinished."""
        if self._task is not None and not self._task.done():
            self._task.cancel()
            await asyncio.gather(self._task, return_exceptions=True)
            self._finish()

    async def wait(self) -> dict[str, Any]:
        """Wait for the end of a running proof; its record."""
        if self._task is not None:
            await asyncio.gather(self._task, return_exceptions=True)
        if self.record is None:
            raise RefusedError("no proof has run")
        return self.record

    # ---- steps ----------------------------------------------------------------------------------------

    async def _run(self) -> None:
        for n, step in enumerate(self._steps):
            self._show("running", step.name)
            try:
                self._steps[n] = await self._one(step)
            except RefusedError as problem:
                self._steps[n] = step.ended(Result.FAIL, " ".join(t for t in (problem.what + ".", problem.cure) if t))
        self._finish()

    async def _one(self, step: Step) -> Step:
        if step.kind is Kind.BOARD:
            return self._board(step)
        if step.kind is Kind.THROW:
            return await self._throw(step)
        if step.kind is Kind.HAND:
            return await self._hand(step)
        if step.kind is Kind.IDLE:
            return self._idle(step)
        return await self._meter(step)

    def _board(self, step: Step) -> Step:
        b = self._session.store.get("boards", step.facts["board"])
        if not b or not b.get("up"):
            return step.ended(Result.FAIL, "no answer")
        found = f"id {b['id']}, firmware {b['firmware']}, settings {b['settings']}"
        return step.ended(Result.PASS if b["matches"] else Result.FAIL, found)

    async def _throw(self, step: Step) -> Step:
        drive, to = step.facts["drive"], step.facts["to"]
        clock = asyncio.get_running_loop().time
        began = clock()
        await self._session.throw(drive, to)
        await self._session.wait_rest(drive, to, self._session.travel_s(drive))
        took = clock() - began
        if (self._session.store.get("drives", drive) or {}).get("stalled"):
            return step.ended(Result.FAIL, "the servo drew a stalled servo's current")
        problem = await self._feeds(drive)
        return step.ended(
            Result.FAIL if problem else Result.PASS, problem or f"at rest after {took:.1f} s, feeds as expected"
        )

    async def _hand(self, step: Step) -> Step:
        drive, to = step.facts["drive"], step.facts["to"]
        left_out = await self._by_hand(step, drive, to)
        if left_out is not None:
            return left_out
        problem = await self._feeds(drive)
        return step.ended(Result.FAIL if problem else Result.PASS, problem or "its contacts say so, feeds as expected")

    async def _by_hand(self, step: Step, drive: str, to: str) -> Step | None:
        """Wait until a hand has thrown a drive; the step as left out, where the person says so."""
        if (self._session.store.get("drives", drive) or {}).get("at") == to:
            return None
        answer = self._ask(step, f"throw {drive} to {to} by hand")
        seen = asyncio.ensure_future(self._session.wait_rest(drive, to, HAND_S))
        both: set[asyncio.Future[Any]] = {answer, seen}
        try:
            await asyncio.wait(both, return_when=asyncio.FIRST_COMPLETED)
            if answer.done():
                return step.ended(Result.SKIP, "left out", answer.result()[1])
            await seen
        finally:
            seen.cancel()
            answer.cancel()
        return None

    async def _feeds(self, drive: str) -> str:
        """Wait a moment for feeds to follow; what is wrong with them, or nothing."""
        loop = asyncio.get_running_loop()
        end = loop.time() + FEED_S
        while True:
            version = self._session.store.version
            standing = {d: s.at for d, s in self._session.reporter.standing().items() if s.at is not None}
            wrong = []
            for output, want in feeds_wanted(self._session.railway, drive, standing).items():
                feed = self._session.store.get("feeds", output) or {}
                if feed.get("fault") or feed.get("is") != want:
                    wrong.append(f"{output} is {feed.get('fault') or feed.get('is')}, expected {want}")
            if not wrong or loop.time() > end:
                return "; ".join(wrong)
            try:
                await asyncio.wait_for(self._session.store.changed(version), 0.5)
            except TimeoutError:
                continue

    def _idle(self, step: Step) -> Step:
        sensor = self._session.store.get("sensors", step.facts["sensor"])
        ma = sensor.get("ma") if sensor else None
        if ma is None:
            return step.ended(Result.FAIL, "the sensor does not answer")
        return step.ended(Result.PASS if abs(ma) <= IDLE_MA else Result.FAIL, f"{ma} mA")

    async def _meter(self, step: Step) -> Step:
        first = {d: settings[0] for d, settings in self._session.railway.network.drives.items()}
        for drive, to in {**first, **step.facts["settings"]}.items():
            if (self._session.store.get("drives", drive) or {}).get("at") == to:
                continue
            if drive in self._session.railway.hand:
                left_out = await self._by_hand(step, drive, to)
                if left_out is not None:
                    return left_out
            elif drive in self._session.railway.drives:
                await self._session.throw(drive, to)
                await self._session.wait_rest(drive, to, self._session.travel_s(drive))
        answer = self._ask(step)
        said, note = await answer
        if said == "skip":
            return step.ended(Result.SKIP, "left out", note)
        right = (said == "closed") == step.facts["closed"]
        return step.ended(
            Result.PASS if right else Result.FAIL, said + ("" if right else f": {step.facts['finds']}"), note
        )

    def _ask(self, step: Step, by_hand: str = "") -> asyncio.Future[tuple[str, str]]:
        """Ask the person: for a reading, or (`by_hand`) to do something that the board sees by itself."""
        self._answer = asyncio.get_running_loop().create_future()
        self._asked = step.name
        self._show("asking", step.name, by_hand)
        return self._answer

    # ---- the end --------------------------------------------------------------------------------------

    def _finish(self) -> None:
        self._answer = None
        boards = self._session.store.section("boards")
        self.record = record(self._session.railway, tuple(self._steps), boards, self._by, self._began, _now())
        self.saved = self._save(self.record)
        self._show("ended")

    def _save(self, found: dict[str, Any]) -> Path | None:
        path = self._session.path
        if path is None:
            return None
        stamp = found["ended"].replace(":", "").replace("-", "")
        target = path.with_name(f"{path.stem}.proof-{stamp}.json")
        try:
            replace_file(target, (json.dumps(found, indent=1, ensure_ascii=False) + "\n").encode("utf-8"))
        except OSError as problem:
            self._session.reporter.note("console", "record not saved", str(problem.strerror))
            return None
        return target

    def _show(self, state: str, step: str = "", by_hand: str = "") -> None:
        done = [s for s in self._steps if s.result is not Result.OPEN]
        self._session.store.put(
            "proof",
            "now",
            {
                "state": state,
                "step": step,
                "by_hand": by_hand,
                "done": len(done),
                "steps": [
                    [s.name, str(s.kind), s.what, s.expected, str(s.result), s.found, s.facts.get("finds", "")]
                    for s in self._steps
                ],
                "verdict": verdict(tuple(self._steps)),
                "by": self._by,
                "saved": self.saved.name if self.saved else None,
            },
        )


def _now() -> str:
    return time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime())
