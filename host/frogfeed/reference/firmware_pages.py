"""The pages of the settings document and of the link, from the firmware's own tables."""

from __future__ import annotations

from collections.abc import Iterator

from frogboard import bus_time, drive, frame, methods, outputs, settings, settings_rules

_KINDS = {
    "text": "text",
    "title": "text",
    "hex": "hex digits",
    "choice": "one of",
    "flag": "true or false",
    "table": "table",
    "list": "list of tables",
}

_SETTINGS = f"""\
# The settings document

<!-- Made by `python -m frogfeed.reference`; do not edit. -->

`frogfeed build` makes one settings document a board, and the board checks it again in full: a document that breaks
any of the rules below is refused with the key and the reason, and the old one stays in force. It is JSON text of at
most {settings.MAX_BYTES} bytes, without fractions. Its first key is `crc32`: the text begins
`{settings.PREFIX_START}xxxxxxxx{settings.PREFIX_END}` ({settings.PREFIX_BYTES} bytes), and the eight lower hex digits
are the CRC-32 (ISO-HDLC) of all bytes after that. Entries of lists are referred to by their place, counted from 0;
-1 is none. This page describes schema {settings.SCHEMA}.
"""

_RULES = f"""\
## What must hold besides

- Names are given once within `drives`, `feeds`, `groups`, `inputs`, `sensors` and `trips`; references exist; no pin,
  chip output or chip address has two uses, and no two servos share a PWM output.
- A servo has two different pulse ends; a drive moved by hand has at least one contact.
- The rows of a feed's table exclude each other, and name at most {settings_rules.MAX_DEPENDENCE} drives.
- A feed has one entry in `moves` for each servo in its table and each of its settings; both pulses lie between the
  pulse ends, and on does not come before off on the way. A trim moves the ends, and what is at an end goes with it.
- An output without an off (neither a pair nor behind an enable) has no `off_lead_ms`. Where its feed's blades are not
  bonded it changes over between the ends: not off at the start, not on at the end, and no drive moved by hand.
- A pair's `dead_ms` is no shorter than its `release_ms`. Where blades are not bonded and the feed is off before the
  move, neither is `off_lead_ms`; behind an enable it is the enable's `release_ms` that counts, but for a pair.
- `try_other` needs an output that has an off, and bonded blades.
- A hardware trip is on a GPIO, and every feed behind it has an off on a GPIO: a pair's own pins, or its group's. Bare
  changeover and latching outputs may be behind one: it is reported, and they stay.
- An expander has a RESET pin and a servo chip an OE pin, so that reset means off.
- Over I²C a tick takes at most half its length: a transfer is reckoned at {bus_time.CALL_US} µs and nine clocks a
  byte; each tick may send the servos that move and one that stops, both ports of every expander, one read of each
  expander with inputs, one sensor a bus, and one check of one chip.

To every time the firmware adds its own: a tick, and {drive.FRAME_MS} ms (a frame of the servo signal) to
`on_lag_ms` of an output that has an off, and to `lag_ms`. Before the first step of a move a servo whose pulse had been
stopped gets its remembered end for {drive.WAKE_MS} ms. A feed that has been on for {outputs.GOOD_MS} ms after a trip
has its retries back.
"""

_LINK = f"""\
# The link

<!-- Made by `python -m frogfeed.reference`; do not edit. -->

The board speaks over its USB serial port, and a person with a terminal program can read it. One line is one message:
the text of a JSON-RPC 2.0 object, a space, eight lower hex digits, a newline; at most {methods.MAX_LINE} bytes in all,
printable ASCII (other characters as `\\uxxxx`). The digits are the CRC-32 (ISO-HDLC, as in the settings) of the bytes
of the JSON text; of `123456789` it is `{frame.tail(b"123456789").decode().strip()}`. For example

```text
{frame.pack({"jsonrpc": "2.0", "id": 1, "method": "hello"}).decode().strip()}
```

A line that is not so is dropped in silence and counted: noise, boot text and half lines are never taken for a
request, and the next newline starts afresh. A request has a whole number as its `id` and an object as its `params`;
it is answered with a result or an error, in the order of arrival. Events and measurements are notifications with a
running number `seq`: a gap says how many were dropped because nobody read them.

Requests may be sent before the ones ahead of them are answered (a push sends a few chunks ahead): the board takes
them one by one. It sends only what can be taken at once. While nobody reads, the message under way waits where it is,
no further request is looked at, and events are dropped, the oldest first; the railway goes on as ever. As soon as
somebody reads again the rest of that message comes, then the answers to what was asked meanwhile, so whoever opens
a port sends a newline first and drops all that comes before the answer to its own `hello`.

This page describes protocol {methods.PROTOCOL}, whose table of methods has the fingerprint `{methods.fingerprint()}`;
a board says in its `hello` which one it has, and a laptop that has another one stops there.
"""


def settings_page() -> str:
    """The page of the settings document: every table, its keys, their range and meaning."""
    parts = [_SETTINGS, "## The document", ""]
    parts += _table(settings.SETTINGS)
    for title, fields in _below(settings.SETTINGS, ""):
        parts += [f"## `{title}`", "", *_table(fields)]
    return "\n".join([*parts, _RULES])


def _below(fields: tuple[settings.Field, ...], path: str) -> Iterator[tuple[str, tuple[settings.Field, ...]]]:
    for field in fields:
        if not field.of or field.of is settings.PIN:
            continue
        title = path + field.key + ("[]" if field.kind == "list" else "")
        yield title, field.of
        yield from _below(field.of, title + ".")
    if not path:
        yield "a pin", settings.PIN


def _table(fields: tuple[settings.Field, ...]) -> list[str]:
    rows = ["| key | what | if left out | meaning |", "|---|---|---|---|"]
    for f in fields:
        rows.append(f"| `{f.key}` | {_what(f)} | {_left_out(f)} | {_cell(f.meaning)} |")
    return [*rows, ""]


def _what(field: settings.Field) -> str:
    if field.of is settings.PIN:
        return "a pin"
    span = f"{field.low} to {field.high}"
    match field.kind:
        case "int":
            return span
        case "text" | "title":
            return f"text of {span} characters"
        case "hex":
            return f"{field.high} lower hex digits"
        case "choice":
            return ", ".join(f"`{o}`" if o else "empty" for o in field.options)
        case "ints":
            return f"list of {span} numbers from {field.options[0]} to {field.options[1]}"
        case "texts":
            return f"list of {field.low} texts"
        case "terms":
            return f"list of {span} pairs [drive, setting]"
        case "list":
            return f"list of {span} tables"
    return _KINDS[field.kind]


def _left_out(field: settings.Field) -> str:
    if not field.optional:
        return "refused"
    if field.default is None or field.kind == "table":
        return "none"
    if field.default == []:
        return "empty"
    if isinstance(field.default, bool):
        return "true" if field.default else "false"
    return f"`{field.default}`" if field.default != "" else "empty"


def link_page() -> str:
    """The page of the link: methods, state, events, errors."""
    parts = [_LINK, "## Methods", ""]
    for method in methods.METHODS:
        parts += [f"### `{method.name}`", "", method.meaning, ""]
        if method.params:
            parts += ["| parameter | what | meaning |", "|---|---|---|"]
            parts += [f"| `{p.name}` | {_param(p)} | {_cell(p.meaning)} |" for p in method.params]
            parts.append("")
        parts += ["| result | meaning |", "|---|---|"]
        parts += [f"| `{key}` | {_cell(meaning)} |" for key, meaning in method.result]
        codes = ", ".join(str(code) for code in method.errors)
        parts += ["", f"Errors of its own: {codes}." if codes else "It has no errors of its own.", ""]
    parts += ["## Parts of `state`", "", "| part | key | meaning |", "|---|---|---|"]
    parts += [f"| `{part}` | `{key}` | {_cell(meaning)} |" for part, key, meaning in methods.STATE_ITEMS]
    parts += [
        "",
        "## Events",
        "",
        f"Notifications of the method `{methods.EVENT_METHOD}`, each with `seq`, `ms` (milliseconds since the start) "
        "and `kind`.",
        "",
        "| kind | meaning | besides |",
        "|---|---|---|",
    ]
    for kind, meaning, params in methods.EVENTS:
        besides = ", ".join(f"`{name}` ({what})" for name, what in params) or "nothing"
        parts.append(f"| `{kind}` | {_cell(meaning)} | {_cell(besides)} |")
    parts += [
        "",
        "## Measurements",
        "",
        f"Notifications of the method `{methods.MEASURE_METHOD}`, as often as `watch` asks.",
        "",
    ]
    parts += ["| key | meaning |", "|---|---|"]
    parts += [f"| `{key}` | {_cell(meaning)} |" for key, meaning in methods.MEASURE_PARAMS]
    parts += ["", "## Errors", "", "| code | meaning |", "|---|---|"]
    parts += [f"| {code} | {_cell(meaning)} |" for code, meaning in methods.ERRORS]
    return "\n".join([*parts, ""])


def _param(param: methods.Param) -> str:
    match param.kind:
        case "int":
            what = f"{param.low} to {param.high}"
        case "flag":
            what = "true or false"
        case "choice":
            what = ", ".join(f"`{o}`" for o in param.options)
        case _:
            what = f"text of {param.low} to {param.high} characters"
    return what + (", may be left out" if param.optional else "")


def _cell(text: str) -> str:
    return text.replace("|", "\\|")
