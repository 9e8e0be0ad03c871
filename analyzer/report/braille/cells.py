"""Words and numbers in braille cells, uncontracted, and cells in the letters that embossers and displays read."""

_LETTERS = {letter: chr(0x2800 + dots) for letter, dots in zip(
    "abcdefghijklmnopqrstuvwxyz",
    (1, 3, 9, 25, 17, 11, 27, 19, 10, 26, 5, 7, 13, 29, 21, 15, 31, 23, 14, 30, 37, 39, 58, 45, 61, 53), strict=True)}
"""Dots 1 to 6 are the bits from 1 to 32: the order of the Unicode block (The Unicode Standard, Braille Patterns)."""
_DIGITS = {str((nth + 1) % 10): _LETTERS[letter] for nth, letter in enumerate("abcdefghij")}
_NUMBER, _CAPITAL = "⠼", "⠠"
_SIGNS = {" ": "⠀", ",": "⠂", ";": "⠆", ":": "⠒", ".": "⠲", "-": "⠤", "–": "⠤", "'": "⠄", "’": "⠄", "?": "⠦", "!": "⠖",
          "/": "⠸⠌", "(": "⠐⠣", ")": "⠐⠜", "=": "⠐⠶", "♯": "⠼⠩", "♭": "⠼⠣", "♮": "⠼⠡", "%": "⠨⠴", "*": "⠐⠔", "·": "⠠⠲"}
"""Punctuation of Unified English Braille, from memory; held against the tables of a braille library in the tests."""
_ASCII = " A1B'K2L@CIF/MSP\"E3H9O6R^DJG>NTQ,*5<-U8V.%[$+X!&;:4\\0Z7(_?W]#Y)="
"""North American braille ASCII: the letter of each of the 64 cells, in the order of the Unicode block."""


def words(text: str) -> str:
    """Return a line of words in braille; what has no sign is left out.

    Examples
    --------
    >>> words("T2, 1-3")
    '⠠⠞⠼⠃⠂⠀⠼⠁⠤⠼⠉'
    """
    out: list[str] = []
    counting = False
    for letter in text:
        if letter in _DIGITS:
            out.append(_DIGITS[letter] if counting else _NUMBER + _DIGITS[letter])
            counting = True
            continue
        counted, counting = counting, False
        plain = letter.lower()
        if plain in _LETTERS:
            # a to j after a number would be read as figures.
            sign = "⠰" if counted and letter in "abcdefghij" else _CAPITAL if plain != letter else ""
            out.append(sign + _LETTERS[plain])
        else:
            out.append(_SIGNS.get(letter, ""))
    return "".join(out)


def ascii_of(cells: str) -> str:
    """Return cells as the letters of a braille file; line ends stay.

    Raises
    ------
    ValueError
        If a cell has dots 7 or 8, or is none.
    """
    out = []
    for cell in cells:
        if cell == "\n":
            out.append(cell)
            continue
        place = ord(cell) - 0x2800
        if not 0 <= place < 64:
            raise ValueError(f"{cell!r} is no braille cell of six dots")
        out.append(_ASCII[place])
    return "".join(out)


def wrapped(cells: str, width: int, indent: int = 0) -> list[str]:
    """Break a line of cells between words; the lines after the first are indented by blank cells.

    A word longer than a line is broken after dot 5, the music hyphen.
    """
    lines: list[str] = []
    here = ""
    longest = width - indent
    for word in (piece for whole in cells.split("⠀") for piece in _pieces(whole, longest)):
        start = "⠀" * (indent if lines else 0)
        longer = f"{here}⠀{word}" if here.strip("⠀") else f"{start}{word}"
        if len(longer) <= width or not here.strip("⠀"):
            here = longer
        else:
            lines.append(here)
            here = "⠀" * indent + word
    return [*lines, here] if here.strip("⠀") else lines


def _pieces(word: str, longest: int) -> list[str]:
    if len(word) <= longest:
        return [word]
    cut = longest - 1
    return [f"{word[:cut]}⠐", *_pieces(word[cut:], longest)]
