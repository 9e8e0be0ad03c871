"""Tempo and jumps, from whichever part has them (MusicXML 4.0: sound, metronome, repeat, ending)."""

import pytest

from analyzer.score.document import read_document
from analyzer.score.reader import read_part
from analyzer.score.timeline import Part
from tests.score.build import note, part, score, words


def metronome(unit: str, number: str, dot: bool = False) -> str:
    return (f"<direction><direction-type><metronome><beat-unit>{unit}</beat-unit>{'<beat-unit-dot/>' if dot else ''}"
            f"<per-minute>{number}</per-minute></metronome></direction-type></direction>")


def tempi(data: bytes) -> list[tuple[str, float, bool]]:
    return [(str(one.onset), round(one.bpm, 3), one.ramp) for one in part(data).tempi]


@pytest.mark.parametrize(("sign", "bpm"), [
    (metronome("quarter", "96"), 96), (metronome("half", "60"), 120), (metronome("quarter", "60", dot=True), 90),
    (metronome("eighth", "120"), 60), (metronome("quarter", "ca. 72"), 72), (metronome("quarter", "88,5"), 88.5),
    ('<direction><direction-type><words>x</words></direction-type><sound tempo="132"/></direction>', 132),
    ('<sound tempo="54"/>', 54),
])
def test_tempo_in_quarter_notes(sign: str, bpm: float) -> None:
    assert tempi(score(sign + note("C3", 16))) == [("0", bpm, False)]


def test_printed_number_outweighs_the_playback_tempo() -> None:
    both = metronome("half", "60").replace("</direction>", '<sound tempo="99"/></direction>')
    assert tempi(score(both + note("C3", 16))) == [("0", 120, False)]


def test_new_unit_takes_the_time_of_the_old() -> None:
    relation = ("<direction><direction-type><metronome><beat-unit>quarter</beat-unit><beat-unit>half</beat-unit>"
                "</metronome></direction-type></direction>")
    assert tempi(score(metronome("quarter", "80") + note("C3", 16), relation + note("C3", 16))) == [
        ("0", 80, False), ("4", 160, False)]


def test_place_inside_the_measure_with_offset() -> None:
    late = metronome("quarter", "60").replace("</direction>", "<offset>2</offset></direction>")
    data = score(metronome("quarter", "120") + note("C3", 4) + late + note("D3", 12))
    assert tempi(data) == [("0", 120, False), ("3/2", 60, False)]


def test_ramp_and_return() -> None:
    data = score(metronome("quarter", "100") + note("C3", 16), words("poco rit.") + note("C3", 16),
                 words("a tempo") + note("C3", 16), metronome("quarter", "60") + note("C3", 16),
                 words("Tempo primo") + note("C3", 16))
    assert tempi(data) == [("0", 100, False), ("4", 100, True), ("8", 100, False), ("12", 60, False),
                           ("16", 100, False)]


def test_tempo_words_count_only_where_there_is_no_number() -> None:
    assert tempi(score(words("Allegro") + metronome("quarter", "140") + note("C3", 16))) == [("0", 140, False)]
    ((_, bpm, _),) = tempi(score(words("Allegro") + note("C3", 16)))
    assert 109 <= bpm <= 168          # the span that metronome dials print for it (common practice, no source)


def test_tempo_of_the_first_part_holds_for_the_last() -> None:
    body = "".join(f'<part id="P{n}"><measure number="1"><attributes><divisions>{n}</divisions></attributes>'
                   + (note("C3", 1) + '<sound tempo="72"/>' if n == 1 else "") + note("C3", n) + "</measure></part>"
                   for n in (1, 2))
    entries = "".join(f'<score-part id="P{n}"><part-name>Trombone</part-name></score-part>' for n in (1, 2))
    document = read_document(f"<score-partwise><part-list>{entries}</part-list>{body}</score-partwise>".encode(), "a")
    told, _ = read_part(document, "P2")
    assert [(one.onset, one.bpm) for one in told.tempi] == [(1, 72)]


def test_timewise_tempo() -> None:
    data = (b'<score-timewise><part-list><score-part id="P1"><part-name>T</part-name></score-part></part-list>'
            + b"".join(b'<measure number="%d"><part id="P1">%s</part></measure>' % (n, body.encode()) for n, body in (
                (1, "<attributes><divisions>2</divisions></attributes>" + note("C3", 8)),
                (2, note("C3", 4) + '<sound tempo="88"/>' + note("C3", 4)))) + b"</score-timewise>")
    told = part(data)
    assert [(one.onset, one.bpm) for one in told.tempi] == [(6, 88)]
    assert [one.onset for one in told.notes] == [0, 4, 6]


def bar(inner: str, where: str = "right") -> str:
    return f'<barline location="{where}">{inner}</barline>'


def jumps(told: Part) -> list[tuple[int, int]]:
    return [(one.from_measure, one.to_measure) for one in told.jumps]


FORWARD = bar('<repeat direction="forward"/>', "left")
BACKWARD = bar('<repeat direction="backward"/>')
N = note("C3", 16)


def ending(number: str, back: bool = False) -> tuple[str, str]:
    left = bar(f'<ending number="{number}" type="start"/>', "left")
    inner = f'<ending number="{number}" type="stop"/>' + ('<repeat direction="backward"/>' if back else "")
    return left, bar(inner)


def test_repeats_go_back_to_their_start_or_to_the_beginning() -> None:
    assert jumps(part(score(N, N + BACKWARD, FORWARD + N, N + BACKWARD, N + BACKWARD))) == [(1, 0), (3, 2), (4, 4)]


def test_endings() -> None:
    first, second, third = ending("1", back=True), ending("2", back=True), ending("3")
    data = score(N, FORWARD + N, first[0] + N + first[1], second[0] + N + second[1], third[0] + N + third[1], N)
    assert jumps(part(data)) == [(1, 3), (1, 4), (2, 1), (3, 1)]


def test_da_capo_dal_segno_and_coda() -> None:
    def sound(what: str) -> str:
        return f"<direction><direction-type><words>x</words></direction-type><sound {what}/></direction>"
    data = score(N, sound('segno="s"') + N, N + sound('tocoda="c"'), N + sound('dalsegno="s"'), sound('coda="c"') + N)
    assert jumps(part(data)) == [(2, 4), (3, 1)]
    assert jumps(part(score(N, N, N + sound('dacapo="yes"')))) == [(2, 0)]
    assert jumps(part(score(N, N, N + words("D.C. al Fine")))) == [(2, 0)]
    segno = "<direction><direction-type><segno/></direction-type></direction>"
    assert jumps(part(score(N, segno + N, N + words("D.S. al Coda")))) == [(2, 1)]
