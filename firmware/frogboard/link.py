"""The board's end of the link: takes lines apart, answers requests, sends events and measurements.

At most one request is answered a tick, and only when the answer before it is out, so whatever arrives, and
however little is read, the work of a tick is bounded. `port` is anything with the methods of `usb.Usb`.
"""

import json

from frogboard import events, methods
from frogboard.frame import LineReader, pack
from frogboard.methods import MAX_LINE
from frogboard.push import LinkError, check_params
from frogboard.reason import Refused

if False:
    from typing import Any

    from frogboard.board import Board
    from frogboard.usb import Usb

BYTES_AT_REST = 256
BYTES_MOVING = 48
"""Most bytes taken and sent in a tick; fewer while drives move."""


class Link:
    """Serves `board` over `port`."""

    def __init__(self, port: "Usb", board: "Board") -> None:
        self._port = port
        self._board = board
        self._reader = LineReader()
        self._line_waits = False
        self._answered = False
        """An answer was sent last: an event that waits comes next."""

    @property
    def busy(self) -> bool:
        """Whether something is to be sent or done now."""
        return self._port.sending or self._line_waits or len(self._board.log) > 0

    def counts(self) -> "tuple[int, int]":
        """(good, dropped) lines so far."""
        return self._reader.good, self._reader.bad

    def step(self, moving: bool) -> bool:
        """The link's share of a tick. Whether there was anything to do."""
        budget = BYTES_MOVING if moving else BYTES_AT_REST
        port = self._port
        sent = port.push(budget)
        if port.sending or self._board.restart:  # what is asked from now on is for what comes after the restart
            return sent > 0
        got = not self._line_waits and self._receive(budget)
        if self._line_waits and not (self._answered and len(self._board.log)):
            self._line_waits = False
            self._answered = True
            self._answer()
        elif len(self._board.log):
            self._answered = False
            self._event()
        else:
            self._measure()
        if sent < budget and port.sending:
            sent += port.push(budget - sent)
        return got or sent > 0

    def _receive(self, budget: int) -> bool:
        reader = self._reader
        left = budget
        while left > 0:
            begin = reader.length
            end = self._port.receive(reader.buffer, begin, min(left, MAX_LINE - begin))
            if end == begin:
                break
            left -= end - begin
            if reader.took(end):
                self._line_waits = True
                break
        return left < budget

    def _send(self, message: "dict[str, Any]") -> None:
        try:
            self._port.send(pack(message))
        except ValueError:
            self._port.send(pack(_error(message.get("id"), methods.INTERNAL, "the answer would be too long")))

    def _answer(self) -> None:
        ident: "Any" = None
        try:
            try:
                request = json.loads(self._reader.text())
            except (ValueError, RuntimeError):
                raise LinkError(methods.PARSE, "not JSON")
            ident, method, params = _request(request)
            result = self._board.call(method.name, params)
        except RequestError as error:
            self._send(_error(error.ident, error.code, error.message))
            return
        except LinkError as error:
            self._send(_error(ident, error.code, error.message))
            return
        except (OSError, MemoryError) as error:
            self._send(_error(ident, methods.INTERNAL, "%s" % error))
            return
        self._send({"jsonrpc": "2.0", "id": ident, "result": result})

    def _event(self) -> None:
        event = self._board.log.take()
        params = self._board.describe(event)
        params["seq"], params["ms"], params["kind"] = event[0], event[1], events.KINDS[event[2]]
        self._send({"jsonrpc": "2.0", "method": methods.EVENT_METHOD, "params": params})

    def _measure(self) -> None:
        params = self._board.measurement()
        if params is not None:
            self._send({"jsonrpc": "2.0", "method": methods.MEASURE_METHOD, "params": params})


def _error(ident: "Any", code: int, message: str) -> "dict[str, Any]":
    return {"jsonrpc": "2.0", "id": ident, "error": {"code": code, "message": message[:400]}}


def _request(raw: "Any") -> "tuple[int, methods.Method, dict[str, Any]]":
    """(id, method, checked parameters). Raises LinkError."""
    if type(raw) is not dict or raw.get("jsonrpc") != "2.0" or type(raw.get("method")) is not str:
        raise LinkError(methods.NO_REQUEST, "not a JSON-RPC 2.0 request")
    ident = raw.get("id")
    if type(ident) is not int or not 0 <= ident < 0x40000000:
        raise LinkError(methods.NO_REQUEST, "id: not a whole number below 2^30")
    method = methods.find(raw["method"])
    if method is None:
        raise RequestError(ident, methods.NO_METHOD, "no method %s" % raw["method"][:40])
    try:
        return ident, method, check_params(method, raw.get("params"))
    except Refused as refused:
        raise RequestError(ident, methods.BAD_PARAMS, "%s: %s" % (refused.path, refused.reason))


class RequestError(LinkError):
    """An error of a request whose id is known."""

    def __init__(self, ident: int, code: int, message: str) -> None:
        super().__init__(code, message)
        self.ident = ident
