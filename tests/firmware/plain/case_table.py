from frogboard.table import OFF, UNKNOWN, A, B, build


def index(settings):
    return sum(s * 3**i for i, s in enumerate(settings))


def test_a_frog_follows_its_drive():
    answers = build([{"when": [[4, 0]], "feed": "B"}, {"when": [[4, 1]], "feed": "A"}], [4])
    assert list(answers) == [B, A, OFF]


def test_no_row_is_off():
    answers = build([{"when": [[0, 1]], "feed": "A"}], [0])
    assert list(answers) == [OFF, A, OFF]


def test_what_does_not_matter_may_be_unknown():
    rows = [
        {"when": [[0, 0], [1, 0]], "feed": "A"},
        {"when": [[0, 0], [1, 1]], "feed": "B"},
        {"when": [[0, 1]], "feed": "B"},
    ]
    answers = build(rows, [0, 1])
    assert answers[index([1, UNKNOWN])] == B
    assert answers[index([UNKNOWN, 1])] == B
    assert answers[index([UNKNOWN, 0])] == OFF
    assert answers[index([0, UNKNOWN])] == OFF
    assert answers[index([UNKNOWN, UNKNOWN])] == OFF


def test_an_empty_when_is_always():
    assert list(build([{"when": [], "feed": "B"}], [])) == [B]


def test_every_unknown_answer_agrees_with_all_its_completions():
    rows = [
        {"when": [[0, 0], [2, 1]], "feed": "A"},
        {"when": [[0, 1], [1, 0]], "feed": "B"},
        {"when": [[0, 1], [1, 1], [2, 0]], "feed": "A"},
    ]
    answers = build(rows, [0, 1, 2])
    for i in range(27):
        given = [i % 3, i // 3 % 3, i // 9]
        found = set()
        for j in range(8):
            full = [j & 1, j >> 1 & 1, j >> 2]
            if all(g in (UNKNOWN, f) for g, f in zip(given, full)):
                found.add(answers[index(full)])
        assert answers[i] == (found.pop() if len(found) == 1 else OFF)
