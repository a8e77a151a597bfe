"""What people and mishaps do to a bench: trains, fingers, faults; and a look at where everything stands."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from frogfeed.bench.errors import BenchError
from frogfeed.bench.railway import Railway
from frogfeed.bench.shapes import Scenario, TrainSpec
from frogfeed.bench.slot import Slot


class Controls:
    """The part of `Bench` that acts on the world outside the boards."""

    scenario: Scenario
    _slots: Sequence[Slot]
    _railway: Railway | None
    now_us: int
    _stirred_us: int

    def ask(self, board: str | None = None, **message: Any) -> Any:
        """Send a command to the physics of a board and return its answer."""
        raise NotImplementedError

    def _slot(self, board: str | None) -> Slot:
        raise NotImplementedError

    def fault(self, kind: str, /, board: str | None = None, **facts: Any) -> None:
        """Bring a fault about; with `off=True` end it. Kinds and facts: docs/reference/bench.md."""
        if self._railway is not None and self._railway.fault(kind, facts):
            self._stirred_us = self.now_us
            return
        self.ask(board, do="fault", kind=kind, facts=facts)

    def cut_power(self, board: str | None = None) -> None:
        """The board's power fails now, for an instant: it starts again with nothing but its flash."""
        slot = self._slot(board)
        if slot.child is not None:
            slot.child.send({"do": "power"})

    def cut_at_flash(self, operation: int, how: str = "torn", board: str | None = None) -> None:
        """Let the power go at the so-manieth erase or program from now on: "before" it, "torn", or "after"."""
        self.ask(board, do="cut", at=operation, how=how)

    def cut_in_next_life(self, operation: int, how: str = "torn", board: str | None = None) -> None:
        """As `cut_at_flash`, counted from the board's next start."""
        self._slot(board).next_cut = (operation, how)

    def run_code(self, code: str, board: str | None = None) -> str:
        """Run Python on the board (at its prompt, or between ticks); what it prints. Raises BenchError if it raises."""
        answer = self.ask(board, do="code", code=code)
        if "raised" in answer:
            raise BenchError(f"the board answered: {answer['raised']}")
        return str(answer["out"])

    def at_prompt(self, board: str | None = None) -> bool:
        """Whether a board is at its prompt."""
        child = self._slot(board).child
        return child is not None and child.at_prompt

    def flash_counts(self, board: str | None = None) -> dict[str, int]:
        """Operations of the simulated flash in the board's present life."""
        return dict(self.ask(board, do="flash"))

    def hang(self, where: str, board: str | None = None) -> None:
        """Put a loop without end in the place of a function of the firmware: "frogboard.feed:Feed.step"."""
        self.ask(board, do="hang", where=where)

    def hand(self, drive: str, setting: str | int, travel_ms: float = 300.0) -> None:
        """Throw a hand-thrown turnout."""
        for slot, spec in zip(self._slots, self.scenario["boards"], strict=True):
            for hand in spec["hands"]:
                if hand["name"] == drive:
                    number = self._setting(drive, setting)
                    self.ask(slot.name, do="hand", drive=drive, setting=number, travel_us=round(1000 * travel_ms))
                    return
        raise BenchError(f"no hand-thrown drive {drive} on the bench")

    def _setting(self, drive: str, setting: str | int) -> int:
        if isinstance(setting, int):
            return setting
        for d in self.scenario["rails"]["drives"]:
            if d["name"] == drive and setting in d["settings"]:
                return int(d["settings"].index(setting))
        raise BenchError(f"drive {drive} has no setting {setting}")

    def press(self, name: str, closed: bool = True, board: str | None = None) -> None:
        """Press (or release) a button, close (or open) a contact, by its input's name."""
        self.ask(board, do="press", input=name, closed=closed)

    def place_train(self, spec: TrainSpec) -> None:
        """Put a train on the rails (see `route.train_spec`); one of that name that is there already is taken off."""
        if self._railway is not None:
            self._railway.place(spec.copy())
        else:
            self.ask(do="place", train=spec)

    def drive_train(self, name: str, speed_mm_per_s: float) -> None:
        """Let a train run; negative is backwards, 0 stops it."""
        if self._railway is not None:
            self._railway.drive(name, round(speed_mm_per_s))
        else:
            self.ask(do="drive", train=name, speed=round(speed_mm_per_s))

    def remove_train(self, name: str) -> None:
        """Take a train off the rails."""
        if self._railway is not None:
            self._railway.remove(name)
        else:
            self.ask(do="remove", train=name)

    def query(self, board: str | None = None) -> dict[str, Any]:
        """Where everything stands now: drives, horns, rails and their wires, outputs, trains, memory in use."""
        found = dict(self.ask(board, do="query"))
        if self._railway is not None:
            found["rails"] = self._railway.rails_now()
            found["trains"] = self._railway.trains_now()
        return found

    def wire_of(self, rail: str, board: str | None = None) -> str | None:
        """The bus wire that feeds a rail now, by the bench's own reckoning; None: none."""
        number = self.scenario["classes"][rail]
        spec = self.scenario["rails"]
        if number < spec["nw"]:
            return str(spec["names"][number])
        wire = self.query(board)["rails"][spec["names"][number]]
        return None if wire is None else str(wire)
