import json

from frogboard import bus_time, settings

from documents import (
    changeover,
    document,
    follow,
    hand,
    latching,
    middle_moves,
    pair,
    sealed,
    servo,
    simple,
    stretch_moves,
    strict_moves,
)


def refused(doc, start):
    """The reason, which must begin so."""
    checked, reason = settings.load(sealed(doc))
    assert checked is None, "taken"
    assert reason.startswith(start), reason
    return reason


def changed(path, value, doc=None):
    doc = simple(2) if doc is None else doc
    at = doc
    for key in path[:-1]:
        at = at[key]
    if value is DELETE:
        del at[path[-1]]
    else:
        at[path[-1]] = value
    return doc


DELETE = object()


def test_a_sound_document_is_taken_and_defaults_are_filled_in():
    doc, reason = settings.load(sealed(simple(3)))
    assert reason is None
    assert doc["tick_ms"] == 5 and doc["feeds"][2]["enable"] == -1 and doc["panel"]["buttons"] == []
    assert doc["drives"][0]["rest"] == "release" and doc["feeds"][0]["a"] == {"pin": 16, "chip": -1, "active": 1}


def test_the_prefix():
    text = sealed(simple())
    assert text[:10] == b'{"crc32":"' and text[18:20] == b'",' and settings.PREFIX_BYTES == 20
    assert settings.crc_of(text) == text[10:18].decode()
    assert json.loads(text.decode())["schema"] == settings.SCHEMA
    for at in range(0, len(text), 7):
        spoilt = text[:at] + bytes([text[at] ^ 4]) + text[at + 1 :]
        assert settings.load(spoilt)[0] is None
    for n in range(0, len(text), 11):
        assert settings.load(text[:n])[0] is None


def test_not_a_document():
    for body in (b'{"schema":1.0}', b'{"schema":true}', b'{"a":[[[[', b'{"schema":1}', b'{"schema":null,"x":{}}'):
        doc, reason = settings.load(settings.seal(body))
        assert doc is None and reason
    for text in (b"", b"{}", b"\xff" * 40, b"x" * 40000):
        assert settings.load(text)[0] is None
    deep = b'{"a":' + b"[" * 5000 + b"]" * 5000 + b"}"
    assert settings.load(settings.seal(deep))[0] is None


def test_reasons_name_the_key():
    cases = (
        (("schema",), 3, "schema: 3 is more than 2"),
        (("schema",), 1, "schema: 1 is less than 2"),
        (("tick_ms",), 4, "tick_ms: 4 is less than 5"),
        (("layout",), DELETE, "layout: missing"),
        (("layuot",), "x", "layuot: no such key"),
        (("layout_hash",), "0123", "layout_hash: not 16"),
        (("control",), "ac", "control: not one of dc, dcc"),
        (("max_moving",), 2.0, "max_moving: not a whole number"),
        (("max_moving",), True, "max_moving: not a whole number"),
        (("drives",), {}, "drives: not a list"),
        (("drives", 1, "pulse_us", 0), 299, "drives[1].pulse_us[0]: 299 is less than 300"),
        (("drives", 1, "pulse_us", 0), 10**30, "drives[1].pulse_us[0]: more than 2700"),
        (("drives", 1, "pulse_us"), [1000], "drives[1].pulse_us: needs two"),
        (("drives", 1, "pulse_us"), [1000, 1000], "drives[1].pulse_us: both ends"),
        (("drives", 1, "name"), "D1", "drives[1].name: D1 is the name of drives[0]"),
        (("drives", 1, "name"), "D\n1", "drives[1].name: holds other"),
        (("drives", 1, "settings"), ["left", "left"], "drives[1].settings: both"),
        (("drives", 1, "out", "pin"), 0, "drives[1].out"),
        (("drives", 1, "out", "pin"), 16, "feeds[0].a: GP16 is drives[1].out already"),
        (("drives", 1, "out"), DELETE, "drives[1].out: missing"),
        (("feeds", 0, "a"), DELETE, "feeds[0].a: missing"),
        (("feeds", 0, "coil"), {"pin": 3}, "feeds[0].coil: is not for a pair"),
        (("feeds", 0, "a", "pin"), 17, "feeds[0].b: GP17 is feeds[0].a already"),
        (("feeds", 0, "a", "chip"), 0, "feeds[0].a.chip: chips[0] is no port expander"),
        (("feeds", 0, "dead_ms"), 14, "feeds[0].dead_ms: 14 is shorter"),
        (("feeds", 0, "bonded"), DELETE, "feeds[0].bonded: missing"),
        (("feeds", 0, "bonded"), 1, "feeds[0].bonded: neither true nor false"),
        (("feeds", 0, "bonded"), True, None),
        (("feeds", 0, "enable"), 0, "feeds[0].enable: no such group"),
        (("feeds", 0, "table", 0, "when", 0, 0), 2, "feeds[0].table[0].when[0]: no such drive"),
        (("feeds", 0, "table", 0, "when", 0, 1), 2, "feeds[0].table[0].when[0]: 2 is more"),
        (("feeds", 0, "table", 0, "when", 0, 1), 1, "feeds[0].table[1]: can hold together"),
        (("feeds", 0, "table", 0, "feed"), "C", "feeds[0].table[0].feed: not one of"),
        (("feeds", 0, "moves"), [], "feeds[0].moves: none for drives[0] to setting 0"),
        (("feeds", 0, "moves", 1, "to"), 0, "feeds[0].moves[1]"),
        (("feeds", 0, "moves", 1, "drive"), 1, "feeds[0].moves[1].drive: not a servo that the table names"),
        (("feeds", 0, "moves", 1, "off_us"), 999, "feeds[0].moves[1].off_us: outside"),
        (("feeds", 0, "moves", 1, "off_us"), 2000, None),
        (("led_pin",), 16, "led_pin: GP16"),
        (("hold_input",), 0, "hold_input: no input"),
        (("buses",), [{"sda": 5, "scl": 4, "hz": 400000}], "buses[0].sda"),
        (("buses",), [{"sda": 4, "scl": 7, "hz": 400000}], "buses[0].scl"),
        (("panel",), {"buttons": [{"input": 0, "does": "set"}]}, "panel.buttons[0].input: no such input"),
        (("trips",), [{"name": "K", "input": {"pin": 3}, "watches": [2]}], "trips[0].watches[0]: no such feed"),
        (("sensors",), [{"name": "C", "kind": "adc", "pin": 3, "na_per_count": 1000}], "sensors[0].pin: GP3"),
    )
    for path, value, start in cases:
        doc = changed(path, value)
        if start is None:
            assert settings.load(sealed(doc))[1] is None, path
        else:
            refused(doc, start)


def test_the_order_of_off_and_on():
    doc = simple()
    doc["feeds"][0]["moves"][1]["on_us"] = 1200
    doc["feeds"][0]["moves"][1]["off_us"] = 1300
    refused(doc, "feeds[0].moves[1].on_us: comes before off_us")
    doc["feeds"][0]["moves"][0]["on_us"] = 1800
    doc["feeds"][0]["moves"][0]["off_us"] = 1900
    doc["feeds"][0]["moves"][1]["on_us"] = 1300
    assert settings.load(sealed(doc))[1] is None


def test_hand_drives():
    doc = document([hand("D1", [0, -1])], [pair("F", 16, 17, follow(0), [])], inputs=[{"name": "I", "pin": 3}])
    assert settings.load(sealed(doc))[1] is None
    doc["drives"][0]["contacts"] = [-1, -1]
    refused(doc, "drives[0].contacts: at least one")
    doc["drives"][0]["contacts"] = [1, 0]
    refused(doc, "drives[0].contacts[0]: no such input")
    doc["drives"][0]["contacts"] = [0, -1]
    doc["feeds"][0]["moves"] = strict_moves(0)
    refused(doc, "feeds[0].moves[0].drive")


def test_chips_need_what_turns_them_off():
    doc = simple()
    doc["buses"] = [{"sda": 4, "scl": 5, "hz": 400000}]
    doc["chips"] = [{"kind": "mcp23017", "bus": 0, "address": 32}]
    refused(doc, "chips[0].reset_pin")
    doc["chips"] = [{"kind": "pca9685", "bus": 0, "address": 64}]
    refused(doc, "chips[0].oe_pin")
    doc["chips"] = [{"kind": "pca9685", "bus": 0, "address": 0x70, "oe_pin": 6}]
    refused(doc, "chips[0].address")
    doc["chips"] = [{"kind": "pca9685", "bus": 0, "address": 0x40, "oe_pin": 6}]
    assert settings.load(sealed(doc))[1] is None
    doc["chips"].append({"kind": "ina219", "bus": 0, "address": 0x40})
    refused(doc, "chips[1].address: chips[0] is there too")


def test_bus_time_over_half_a_tick_is_refused():
    drives = [servo("D%d" % i, out={"kind": "pca9685", "chip": 0, "channel": i}) for i in range(16)]
    doc = document(drives, [], max_moving=16)
    doc["buses"] = [{"sda": 4, "scl": 5, "hz": 400000}]
    doc["chips"] = [{"kind": "pca9685", "bus": 0, "address": 0x40, "oe_pin": 6}]
    reason = refused(doc, "buses: up to ")
    assert "over half of 5 ms" in reason
    doc["max_moving"] = 4
    checked, reason = settings.load(sealed(doc))
    assert reason is None
    assert 4 * 6 * 9 * 1000 // 400 < bus_time.worst_us(checked) < 2500


def test_two_servos_on_one_pwm_output():
    refused(document([servo("D1", 3), servo("D2", 19)], []), "drives[1].out.pin: shares its PWM output")


def test_a_trip_must_reach_pins_of_the_chip_itself():
    doc = document([servo()], [pair("F", 16, 17, follow(0), strict_moves(0))])
    doc["buses"] = [{"sda": 4, "scl": 5, "hz": 400000}]
    doc["chips"] = [{"kind": "mcp23017", "bus": 0, "address": 32, "reset_pin": 7}]
    doc["feeds"][0]["a"]["chip"] = doc["feeds"][0]["b"]["chip"] = 0
    doc["feeds"][0]["a"]["pin"] = 0
    doc["feeds"][0]["b"]["pin"] = 1
    doc["trips"] = [{"name": "K", "input": {"pin": 20, "active": 0}, "watches": [0]}]
    refused(doc, "trips[0].watches: F has no off")
    doc["groups"] = [{"name": "E", "out": {"pin": 21}, "release_ms": 15, "operate_ms": 10}]
    doc["feeds"][0]["enable"] = 0
    assert settings.load(sealed(doc))[1] is None


def test_an_output_without_an_off_cannot_try_the_other_side():
    doc = document([servo()], [changeover("F", 16, "A", follow(0), stretch_moves(0), try_other=True)])
    refused(doc, "feeds[0].try_other: an output without an off")
    doc = document([servo()], [pair("F", 16, 17, follow(0), strict_moves(0), try_other=True)])
    refused(doc, "feeds[0].try_other: a blade that is not bonded")


def test_an_output_without_an_off_changes_over_between_the_ends_unless_blades_are_bonded():
    for kind in ("changeover", "latching"):
        for form, bonded, start in (
            (stretch_moves(0), False, None),
            (stretch_moves(0), True, None),
            (middle_moves(0), False, None),
            (strict_moves(0, lead_ms=0), True, None),
            (strict_moves(0), True, "feeds[0].moves[0].off_lead_ms"),
            (strict_moves(0, lead_ms=0), False, "feeds[0].moves[0].off_us: blades that are not bonded"),
            (middle_moves(0, off=0.5, on=1.0), False, "feeds[0].moves[0].on_us: blades that are not bonded"),
        ):
            feed = latching("F", 16, 17, follow(0), form, bonded=bonded)
            if kind == "changeover":
                feed = changeover("F", 16, "A", follow(0), form, bonded=bonded)
            doc = document([servo()], [feed])
            if start is None:
                assert settings.load(sealed(doc))[1] is None, (kind, form, bonded)
            else:
                refused(doc, start)
            doc["groups"] = [{"name": "E", "out": {"pin": 21}, "release_ms": 15, "operate_ms": 10}]
            doc["feeds"][0]["enable"] = 0
            if form[0]["off_us"] != 2000 or form[0]["off_lead_ms"] or bonded:
                assert settings.load(sealed(doc))[1] is None, "behind an enable it has an off"


def test_contacts_have_let_go_before_a_blade_that_is_not_bonded_moves():
    for lead_ms, bonded, start in (
        (14, False, "feeds[0].moves[0].off_lead_ms: 14 is shorter than its contacts need to let go (release_ms 15)"),
        (15, False, None),
        (0, True, None),
    ):
        moves = strict_moves(0, lead_ms=lead_ms)
        groups = [{"name": "E", "out": {"pin": 21}, "release_ms": 15, "operate_ms": 10}]
        for feed in (
            pair("F", 16, 17, follow(0), moves, bonded=bonded),
            changeover("F", 16, "A", follow(0), moves, bonded=bonded, enable=0, release_ms=40),
        ):
            doc = document([servo()], [feed], groups=groups)
            if start is None:
                assert settings.load(sealed(doc))[1] is None
            else:
                refused(doc, start)


def test_blades_moved_by_hand_need_an_off_or_a_bond():
    feed = latching("F", 16, 17, follow(0), [])
    inputs = [{"name": "I%d" % i, "pin": 2 + i} for i in range(2)]
    doc = document([hand("D1", [0, 1])], [feed], inputs=inputs)
    refused(doc, "feeds[0].output: blades that are not bonded and moved by hand")
    doc["feeds"][0]["bonded"] = True
    assert settings.load(sealed(doc))[1] is None
