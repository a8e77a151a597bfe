"""Conditions over drive settings: a term fixes some drives, a condition is a list of alternative terms."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

Term = tuple[tuple[str, str], ...]
"""(drive, setting) pairs, sorted by drive, one a drive: all must hold. The empty term always holds."""

When = tuple[Term, ...]
"""Alternative terms, any of which holds."""

ALWAYS: When = ((),)
NEVER: When = ()


def term(settings: Mapping[str, str]) -> Term:
    """The term that fixes these drives."""
    return tuple(sorted(settings.items()))


def join(a: Term, b: Term) -> Term | None:
    """Both terms at once, or None where they contradict each other."""
    if not a:
        return b
    if not b:
        return a
    merged = dict(a)
    for drive, setting in b:
        if merged.setdefault(drive, setting) != setting:
            return None
    return tuple(sorted(merged.items()))


def both(a: When, b: When) -> When:
    """The condition that holds where `a` and `b` hold."""
    return absorb(t for x in a for y in b if (t := join(x, y)) is not None)


def either(a: When, b: When) -> When:
    """The condition that holds where `a` or `b` holds."""
    return absorb((*a, *b))


def absorb(terms: Iterable[Term]) -> When:
    """Drop doubles and terms that a shorter one covers; shortest first, then by name."""
    kept: list[tuple[frozenset[tuple[str, str]], Term]] = []
    for t in sorted(set(terms), key=lambda t: (len(t), t)):
        as_set = frozenset(t)
        if not any(k <= as_set for k, _ in kept):
            kept.append((as_set, t))
    return tuple(t for _, t in kept)


def holds(when: When, settings: Mapping[str, str]) -> bool:
    """Whether the condition holds for these settings (a drive they lack satisfies no term that names it)."""
    return any(all(settings.get(d) == s for d, s in t) for t in when)


def to_json(when: When) -> list[dict[str, str]]:
    """The netlist's form: a list of alternatives {drive: setting}; [{}] is always."""
    return [dict(t) for t in when]
