"""What instruments are called on the page, in the languages that band scores come in.

Origin: common vocabulary of printed music, no single source (judged). A word belongs here if printed parts use it; one
score that uses it otherwise moves it to `AMBIGUOUS`. Sound ids are those of the MusicXML 4.0 standard sounds
(W3C, sounds.xml); program numbers those of General MIDI level 1.

All words are in the form that `folded` gives: lower case, without accents.
"""

import html
import re
import unicodedata

from analyzer.plain import visible

# Stems: a word that contains one names that family (Bassposaune, bastrombone, trombones).
TROMBONE_STEMS = (
    "trombon",       # English, French, Italian, Spanish, Portuguese, Dutch, Czech, Scandinavian
    "posaun",        # German
    "puzon",         # Polish
    "pozoun",        # Czech
    "тромбон",       # Russian
    "トロンボーン",    # Japanese
    "长号", "長號", "長号", "트롬본",       # Chinese (simplified, traditional), Korean
    "sackbut", "saqueboute", "sacabuche", "harsona", "pasuuna", "basuun", "bazuin",
)
EUPHONIUM_STEMS = (
    "euphoni", "eufoni", "euphonion", "bombardin", "эуфони", "ユーフォ", "次中音号", "次中音號", "上低音号",
    "上低音號", "유포니",
)
BARITONE_STEMS = ("bariton", "baryton", "баритон", "バリトン")

# Whole words, most of them abbreviations.
TROMBONE_WORDS = frozenset((
    "tbn", "tbns", "tbne", "trb", "trbs", "trbn", "trbns", "trbni", "trne", "trni", "tromb", "trombs", "tbone",
    "tbones", "bone", "bones", "pos", "posn", "puz", "poz", "basun", "basuner", "тромб", "трбн",
))
BASS_TROMBONE_WORDS = frozenset(("btbn", "btrb", "btbns", "bpos", "bstbn", "basstbn", "basstrb", "basspos", "bsspos"))
EUPHONIUM_WORDS = frozenset(("euph", "euphs", "eup", "eupho", "euphon", "euf", "euphone", "эуф"))
BARITONE_WORDS = frozenset(("bar", "bari", "bart", "barit", "baryt"))

# Beside a trombone word these say "bass"; inside one they do too (Bassposaune, バストロンボーン).
BASS_WORDS = frozenset((
    "bass", "bas", "basse", "basso", "bajo", "baixo", "bs", "basowy", "basovy", "basova", "бас", "басовыи", "басовый",
    "バス", "contrabass", "contrabasso", "contrabbasso", "contrebasse", "kontrabass", "contrabas", "контрабасовыи",
))
BASS_STEMS = ("bass", "bas", "бас", "ハス")
HIGH_WORDS = frozenset((
    "tenor", "tenore", "alto", "alt", "contralto", "ten", "soprano", "tenorowy", "altowy", "テナー", "アルト", "тенор",
    "альт", "tenorovy", "altovy",
))
HIGH_STEMS = ("tenor", "alt", "sopran", "тенор", "альт", "テナー", "アルト")

VALVE_WORDS = frozenset(("valve", "valves", "valved", "ventil", "piston", "pistons", "pistoni", "pistones", "cilindri",
                         "embolos"))
VALVE_STEMS = ("ventilpos",)
"""Beside a trombone word: it has valves and no slide."""
FLEXIBLE_WORDS = frozenset(("part", "parts", "line", "low", "player", "flex", "flexible", "stimme"))
"""Beside a bass clef in a name (Part 4 in B.C., Bass Clef Low 2): a part of flexible instrumentation."""
BRASS_STEMS = ("trumpet", "trompet", "cornet", "kornett", "flugel", "fluegel", "horn", "corno", "tuba", "trombon",
               "posaun", "euphoni", "eufoni")
BRASS_WORDS = frozenset(("tpt", "trp", "cor", "crn", "hn", "hns", "flg", "tba", "tb", "tbn", "trb", "euph", "flhn"))
"""A baritone beside one of these is an instrument, no singer."""

# Beside a baritone word these make it something else (a saxophone, a singer).
NOT_BRASS_WORDS = frozenset((
    "sax", "saxo", "saxophon", "saxophone", "saxophones", "saxofon", "saxofono", "saksofon", "sass", "sassofono",
    "саксофон", "サックス", "サクソフォン", "oboe", "hautbois", "clarinet", "guitar", "gitarre", "ukulele",
    "voice", "voce",
    "voix", "stimme", "chorus", "choir", "singer", "vocal", "vocals", "violin", "viol", "gamba",
))
SAX_STEMS = ("sax", "saks", "sassof", "саксо", "サックス", "サクソ")
BRASS_HELPERS = frozenset(("horn", "hn", "hrn", "flicorno", "saxhorn", "tuba", "euphonium", "corno", "tc", "bc"))

# A word that contains one of these names another instrument.
OTHER_STEMS = (
    "trumpet", "trompet", "tromba", "trombe", "trump", "truba", "trabk", "труб", "トランペット", "cornet",
    "kornett", "корнет", "コルネット", "flugel", "fluegel", "flicorn", "horn", "corno", "corni", "валторн",
    "ホルン", "tuba",
    "туба", "チューバ", "bassoon", "fagot", "fagott", "basson", "фагот", "ファゴット", "clarin", "klarin",
    "кларнет", "クラリネット",
    "sax", "sassof", "saks", "саксофон", "サックス", "flut", "flot", "flaut", "flet", "флеит", "フルート",
    "picc", "oboe",
    "hautbois", "hoboj", "obo", "гобои", "オーボエ", "violin", "violon", "viola", "violo", "viole", "geige",
    "bratsche",
    "скрипк", "альт", "cello", "виолонч", "チェロ", "kontrabass", "contrabass", "contrebass", "контрабас",
    "コントラバス", "guitar", "gitar", "guitarra", "chitarra", "гитар", "ギター", "piano", "klavier",
    "фортепиано", "ピアノ",
    "keyboard", "organ", "orgel", "orgue", "harp", "harf", "arpa", "арфа", "ハープ", "timpan", "pauke", "timbal",
    "литавр", "ティンパニ", "drum", "trommel", "perc", "schlag", "cymbal", "glock", "xylo", "vibra", "marimba",
    "celest",
    "triang", "tambour", "choir", "chor", "coro", "chœur", "voice", "voix", "voce", "vocal", "singstimme", "хор",
    "recorder", "blockfl", "ukulele", "mandolin", "banjo", "accord", "sarrus", "bugle", "serpent", "ophicle",
    "sousaphon", "doublebas", "сузафон", "synth", "string", "streicher", "archi",
    "小号", "小號", "圆号", "圓號", "大号", "大號", "短号", "长笛", "單簧管", "单簧管", "萨克斯", "호른", "튜바",
    "트럼펫",
)
OTHER_WORDS = frozenset((
    "tpt", "tpts", "trp", "trpt", "trpts", "trbe", "trba", "tr", "tromp", "trp", "hn", "hns", "hrn", "hr",
    "cor", "fl",
    "ob", "cl", "clar", "bsn", "fg", "fag", "tb", "tba", "vl", "vln", "vla", "vlc", "vc", "vcl", "cb", "kb", "pno",
    "hp", "timp", "gtr", "dr", "mezzo", "sop",
))
# Singers, or the compass of some instrument that a group name tells.
AMBIGUOUS = frozenset((
    "bass", "bas", "basse", "basso", "tenor", "tenore", "alto", "alt", "soprano", "sopran", "contralto", "бас",
    "тенор",
    "t", "b", "s", "a",
))
SINGERS = frozenset(("voice", "voices", "choir", "chorus", "coro", "chor", "singstimme", "voix", "voce", "хор", "satb"))
VOCAL_WORDS = frozenset((
    "soprano", "sopran", "sopranos", "alto", "alt", "altos", "contralto", "mezzo", "tenor", "tenore", "tenors", "bass",
    "basso", "basses", "сопрано", "альт", "тенор", "бас", "s", "a", "t", "b", "ttbb",
))

SOUND_FAMILIES = (
    ("brass.trombone.bass", "bass trombone"), ("brass.trombone.contrabass", "bass trombone"),
    ("brass.trombone", "trombone"), ("brass.sackbutt", "trombone"),
    ("brass.euphonium", "euphonium"), ("brass.bugle.euphonium-bugle", "euphonium"),
    ("brass.baritone-horn", "baritone"), ("brass.bugle.baritone", "baritone"),
)
GENERAL_MIDI_TROMBONE = 58
GENERAL_MIDI_VOICES = frozenset((53, 54, 55))
GENERAL_MIDI_UNTOLD = frozenset((1, *range(57, 65)))
"""Programs that say nothing against low brass: the default 1, and the brass family (57 to 64)."""

_TOKEN = re.compile(r"[^\W\d_]+")


LONGEST_NAME = 200
"""Letters of a name or title that are kept; judged: three times the longest in the scores that other projects ship."""


def one_line(text: str | None) -> str:
    """Return text on one line, cut after `LONGEST_NAME` letters: a damaged file may hold megabytes in place of a name.

    Examples
    --------
    >>> one_line(" Low\\n Brass"), len(one_line("a" * 1_000_000))
    ('Low Brass', 200)
    """
    result = visible(" ".join((text or "").split()))
    return result if len(result) <= LONGEST_NAME else f"{result[:LONGEST_NAME - 1]}…"


def plain(text: str | None) -> str:
    """Return text on one line, with signs that were escaped twice made readable.

    Examples
    --------
    >>> plain("Trombone\\n 1 &amp;amp; 2")
    'Trombone 1 & 2'
    """
    result = text or ""
    for _ in range(2):
        if "&" not in result:
            break
        result = html.unescape(result)
    return one_line(result)


def folded(text: str) -> str:
    """Return text for comparison: lower case, no accents, full-width letters made usual."""
    if text.isascii():
        return text.lower()
    decomposed = unicodedata.normalize("NFKD", text).casefold()
    return "".join(sign for sign in decomposed if not unicodedata.combining(sign))


def tokens(text: str) -> tuple[str, ...]:
    """Return the words of a folded text; numbers and signs part them.

    Examples
    --------
    >>> tokens("b. tbn.1")
    ('b', 'tbn')
    """
    return tuple(_TOKEN.findall(text))
