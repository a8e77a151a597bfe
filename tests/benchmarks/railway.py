"""Generated railways of any size: yards with ladders, slips and crossovers, well droppered."""

from __future__ import annotations


def railway(turnouts: int) -> str:
    """A layout file of about this many turnouts: yards of ten, each with a ladder, a double slip and a crossover."""
    head = '[layout]\nname = "Generated"\ngauge = "OO"\ncontrol = "dcc"\n[district.main]\n'
    tables: list[str] = []
    lines: list[str] = []
    for yard in range(max(1, turnouts // 10)):
        y = f"Y{yard}"
        feed = '{ feed = "main", left = "A" }'
        run: list[str] = [f'"{y}in"', feed]
        tables.append(f'[place.{y}in]\nkind = "buffer"\n')
        for n in range(7):
            state = "isolated-frog" if n % 3 else "bonded"
            make = "live-frog" if n % 3 else "insulated-frog"
            tables.append(
                f'[turnout.{y}T{n}]\nmake = "{make}"\nstate = "{state}"\nplastic_mm = 30\nfrog_number = 6\n'
                f'[place.{y}p{n}]\nkind = "buffer"\n'
            )
            run += [f'"{y}T{n}.toe"', f'"{y}T{n}.left"', '"|"', feed]
            lines.append(f'{y}s{n} = ["{y}T{n}.right", "|", {feed}, "{y}p{n}"]')
        tables.append(f'[place.{y}out]\nkind = "buffer"\n')
        lines.append(f"{y}main = [{', '.join([*run, f'{chr(34)}{y}out{chr(34)}'])}]")
        tables.append(f'[slip.{y}X]\nmake = "live-frog"\nstate = "isolated-frog"\n')
        for n, end in enumerate(("a.left", "a.right", "b.left", "b.right")):
            tables.append(f'[place.{y}x{n}]\nkind = "buffer"\n')
            side = '"A"' if end.startswith("a") else '"B"'
            vee = "|right" if end.endswith("left") else "|left"
            lines.append(f'{y}x{n}l = ["{y}x{n}", {{ feed = "main", left = {side} }}, "{vee}", "{y}X.{end}"]')
        tables.append(
            f'[turnout.{y}C1]\nstate = "isolated-frog"\ndrive = "{y}C"\n[turnout.{y}C2]\nstate = "isolated-frog"\n'
            f'drive = "{y}C"\n[drive.{y}C]\n'
        )
        for n in range(4):
            tables.append(f'[place.{y}c{n}]\nkind = "buffer"\n')
        lines.append(f'{y}u = ["{y}c0", {feed}, "{y}C1.toe", "{y}C1.left", "|", {feed}, "{y}c1"]')
        lines.append(f'{y}d = ["{y}c2", {feed}, "|", "{y}C2.left", "{y}C2.toe", {feed}, "{y}c3"]')
        lines.append(f'{y}v = ["{y}C1.right", "|", "{y}C2.right"]')
    return head + "".join(tables) + "[lines]\n" + "\n".join(lines) + "\n"
