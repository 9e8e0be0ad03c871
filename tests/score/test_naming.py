"""Names of parts in the languages of band scores (common practice, no source)."""

import pytest

from analyzer.score.naming import read_name


@pytest.mark.parametrize("name", [
    "Trombone", "trombone1", "1st Trombone", "Trombones 1 & 2", "Tbn.", "Tbn. 2", "Trb. 1",
    "T-bone", "Tbone",
    "Posaune", "Posaunen", "Pos. 1", "Tenorposaune", "Tenor-Posaune", "Altposaune", "A. Trb.", "T. Tbn.",
    "Trombone ténor", "Trombone tenore", "Tromboni", "Trbni. I. II.", "Trombón", "Trombones", "Puzon", "Puzony",
    "Pozoun",
    "Trombóny", "Тромбон", "Тромбоны", "トロンボーン", "テナー・トロンボーン", "Trombone in B♭", "Posaune in B",
    "Trombone (B Flat)",
    "Bb Trombone", "B♭ Tbn.", "Tenorbassposaune", "Tenor-Bass Trombone", "Sackbut", "3rd Trombone", "Basun",
    "Pasuuna",
    "TROMBONE", "Trombone &amp; Tuba",
])
def test_trombones(name: str) -> None:
    assert read_name(name).family == "trombone"


@pytest.mark.parametrize("name", [
    "Bass Trombone", "B. Tbn.", "B Trb", "BTbn", "Bs. Tbn.", "Bassposaune", "Baßposaune", "Bass-Posaune",
    "Trombone basse",
    "Trombone basso", "Trombón bajo", "Trombone baixo", "Bastrombone", "Puzon basowy", "Basový trombon",
    "Бас-тромбон",
    "Басовый тромбон", "バストロンボーン", "バス・トロンボーン", "Kontrabassposaune", "Contrabass Trombone",
    "B.Pos.", "3rd (Bass) Trombone",
    "Trombone (bass)", "Trombone 3 (Bass)", "bass trombone 1",
])
def test_line_trombones(name: str) -> None:
    assert read_name(name).family == "bass trombone"


@pytest.mark.parametrize("name", [
    "Euphonium", "Euph.", "Eufonio", "Eufónio", "Bombardino", "Eufonium", "Eufónium", "Эуфониум",
    "ユーフォニアム", "Euphonium T.C.",
    "Euphonium (Baritone)", "Baritone/Euphonium", "Saxhorn basse", "Euphonium in B♭",
])
def test_euphoniums(name: str) -> None:
    assert read_name(name).family == "euphonium"


@pytest.mark.parametrize("name", [
    "Baritone", "Baritone T.C.", "Baritone (Treble Clef)", "Baritone Horn", "Bariton", "Baryton", "Баритон",
    "バリトン", "Baritono",
    "Saxhorn baryton", "Flicorno baritono", "1st Baritone", "Solo Baritone",
])
def test_baritones(name: str) -> None:
    assert read_name(name).family == "baritone"


@pytest.mark.parametrize("name", [
    "Tromba", "Trombe", "Trombe in C", "Trbe. I. II.", "Tromba bassa", "Trompete", "Trompette", "Trompeta",
    "Trumpet", "Tpt.", "Trp.",
    "Bar. Sax.", "Baritone Saxophone", "Bariton sax", "Bariton-Saxofon", "Saxophone baryton",
    "Sassofono baritono", "バリトン・サックス",
    "バリトンサックス", "Баритон-саксофон", "Baritone Voice", "Baritone Guitar", "Baritone Ukulele",
    "Baritone Oboe", "Tenor Horn", "Bass", "Tenor",
    "Double Bass", "Kontrabass", "Tuba", "Tuba basse", "Bass Tuba", "Basstuba", "Bassoon", "Bass Clarinet",
    "Fagott", "Horn in F",
    "Corno", "Cornet", "Flugelhorn", "Basset Horn", "Viola da gamba", "Timpani", "Труба",
    "Туба", "トランペット", "Flute",
])
def test_others(name: str) -> None:
    assert read_name(name).family == "other"


@pytest.mark.parametrize("name", ["", "1 2", "3", "III", "Solo", "Part 1", "1º"])
def test_names_that_say_nothing(name: str) -> None:
    assert read_name(name).family is None


def test_a_baritone_beside_another_voice_sings() -> None:
    # as in Mahler's eighth symphony, among the scores that maialib ships
    assert read_name("Solo Baritone & Bass").firm < 0.5
    assert read_name("Baritone").firm > 0.5
    assert read_name("Baritone Horn & Bass").firm == read_name("Baritone BC").firm == 1.0
