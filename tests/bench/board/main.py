"""A few lines of firmware to try the bench with: one letter throws, others choose what to do wrong."""

import select
import sys
import time

import machine

FROM, TO = 1000, 2000
servo = machine.PWM(machine.Pin(0), freq=50)
leg_b = machine.Pin(10, machine.Pin.OUT, value=0)
leg_a = machine.Pin(11, machine.Pin.OUT, value=0)
poll = select.poll()
poll.register(sys.stdin, select.POLLIN)
state = {"pulse": FROM, "off_late": False, "on_early": False, "dead_ms": 20, "inverted": False}


def leg(setting):
    first, second = (leg_b, leg_a) if not state["inverted"] else (leg_a, leg_b)
    return second if setting else first


def throw(setting):
    if not state["off_late"]:
        leg_a.value(0)
        leg_b.value(0)
        time.sleep_ms(state["dead_ms"])
    if state["on_early"]:
        leg(setting).value(1)
    goal = TO if setting else FROM
    while state["pulse"] != goal:
        state["pulse"] += 5 if goal > state["pulse"] else -5
        servo.duty_ns(state["pulse"] * 1000)
        time.sleep_ms(5)
    if state["off_late"]:
        leg_a.value(0)
        leg_b.value(0)
        time.sleep_ms(20)
    time.sleep_ms(150)
    leg(setting).value(1)


print("ready", machine.reset_cause(), time.ticks_ms())
watchdog = None
while True:
    if poll.poll(0):
        letter = sys.stdin.buffer.read(1)
        if letter == b"s":
            leg(0).value(1)
            servo.duty_ns(FROM * 1000)
        elif letter == b"r":
            throw(1)
            print("right", time.ticks_ms())
        elif letter == b"l":
            throw(0)
            print("left", time.ticks_ms())
        elif letter == b"O":
            state["off_late"] = True
        elif letter == b"E":
            state["on_early"] = True
        elif letter == b"D":
            # dead time 0: the other leg at once
            leg_b.value(0)
            leg_a.value(1)
        elif letter == b"I":
            state["inverted"] = True
        elif letter == b"b":
            leg_a.value(1)
            leg_b.value(1)
        elif letter == b"z":
            machine.reset()
        elif letter == b"w":
            watchdog = machine.WDT(timeout=1000)
        elif letter == b"x":
            raise ValueError("on purpose")
        elif letter == b"q":
            break
    time.sleep_ms(5)
