"""What the page and its server say to each other, as closed JSON Schemas: what no schema names is not said."""

import json
import re
from typing import Any

import jsonschema

from analyzer.plan.player import KEYS
from analyzer.schemas import schema
from analyzer.schemas.build import (
    CAUTIONS,
    COUNT,
    FROM_ONE,
    FROM_ZERO,
    NUMBER,
    TEXT,
    TEXTS,
    WHOLE,
    YES_NO,
    Schema,
    many,
    maybe,
    words,
)

SHORT: Schema = {"type": "string", "maxLength": 200}
SIDE = words("slide", "valves")


def closed(fields: dict[str, Schema], *optional: str) -> Schema:
    return {"type": "object", "properties": fields, "required": [name for name in fields if name not in optional],
            "additionalProperties": False}


def by(key: str, values: Schema) -> Schema:
    return {"type": "object", "propertyNames": {"pattern": key}, "additionalProperties": values}


PLAYER = {"type": "object", "propertyNames": {"enum": list(KEYS)}}
PAPER = words("a4", "letter")
FORM = closed({"players": many({"type": "object"}), "spare": TEXTS}, "spare")
PIN = closed({"part": SHORT, "line": FROM_ONE, "ref": COUNT, "label": SHORT, "measure": TEXT, "nth": FROM_ONE,
              "written": TEXT})
NOTE = closed({
    "refs": many(COUNT, least=1), "measure": TEXT, "nth": FROM_ONE, "written": TEXT, "sounding": TEXT, "midi": WHOLE,
    "label": maybe(TEXT), "shown": TEXT, "aim": TEXT, "usual": maybe(TEXT), "changed": YES_NO,
    "pinned": YES_NO, "priced": YES_NO,
    "why": TEXTS, "prices": many({"type": "array", "prefixItems": [TEXT, FROM_ZERO], "items": False}),
    "travel_mm": many(maybe(FROM_ZERO)), "problem": maybe(TEXT)})
CANDIDATE = closed({"label": TEXT, "shown": TEXT, "detail": TEXT, "against": TEXT})
PLACE = closed({"measure": TEXT, "index": maybe(COUNT)})
FINDINGS = many(closed({
    "severity": words("stop", "care", "note"), "heading": TEXT,
    "groups": many(closed({"code": TEXT, "said": TEXT, "places": many(PLACE), "remedies": TEXTS}), least=1)}))
PLAN = closed({
    "part": TEXT, "line": FROM_ONE, "heading": TEXT, "lines": many(closed({"line": FROM_ONE, "of": FROM_ONE})),
    "others": by(r"^\d+$", FROM_ONE), "horn": TEXT, "assumed": YES_NO, "family": SIDE,
    "supposed": TEXTS, "treble": YES_NO, "notes": many(NOTE), "candidates": by(r"^\d+$", many(CANDIDATE)),
    "summary": TEXT, "practice_first": TEXTS, "unplayable": COUNT,
    "tempo": closed({"asked": maybe(NUMBER), "marked": many(COUNT), "ceiling": maybe(FROM_ZERO), "ample": YES_NO,
                     "hardest": TEXTS}),
    "measures": closed({"first": TEXT, "last": TEXT}),
    "misfits": many(closed({"part": TEXT, "line": FROM_ONE, "ref": COUNT, "label": TEXT})),
    "problems": TEXTS, "cautions": CAUTIONS, "name": TEXT, "groups": {"anyOf": [TEXTS, {"type": "null"}]},
    "differs": by(r"^\d+$", NOTE),
}, "notes", "candidates", "differs")
SOUND = closed({
    "notes": many(closed({"start_s": NUMBER, "sounds_s": FROM_ZERO, "move_s": FROM_ZERO, "midi": WHOLE,
                          "measure": TEXT, "gliss": YES_NO, "label": maybe(TEXT), "valves": TEXTS, "off_cents": NUMBER,
                          "target_cents": NUMBER, "half_mm": maybe(FROM_ZERO), "extension_mm": maybe(FROM_ZERO)})),
    "beats": many({"type": "array", "prefixItems": [NUMBER, YES_NO], "items": False}), "begin_s": NUMBER,
    "measures": TEXTS, "valves": TEXTS, "caution": TEXT,
    "slide": {"anyOf": [closed({"end_mm": FROM_ZERO, "reach_mm": FROM_ZERO, "places": by("", many(FROM_ZERO))}),
                        {"type": "null"}]}})
REVIEW_PAGE = closed({
    "said": TEXT, "lines": many(closed({"line": FROM_ONE, "findings": FINDINGS})),
    "changes": many(closed({"place": TEXT, "said": TEXT, "part": TEXT, "line": FROM_ONE, "index": maybe(COUNT)})),
    "left": TEXT, "problems": TEXTS})
FIT_PAGE = closed({
    "said": TEXT, "stops": TEXTS, "changes_heading": TEXT, "changes": TEXTS, "then": TEXTS, "seats_heading": TEXT,
    "seats": many(closed({"part": TEXT, "player": TEXT, "horn": TEXT, "goes": TEXT, "heading": TEXT, "part_id": TEXT,
                          "line": FROM_ONE, "findings": FINDINGS, "member": TEXT, "horn_name": maybe(TEXT)})),
    "first": closed({"lead": TEXT, "places": many(closed({"measure": TEXT, "seat": COUNT, "index": COUNT,
                                                          "said": TEXT}))}),
    "unfilled": many(closed({"part": TEXT, "why": TEXT})), "handed": TEXTS, "remarks": TEXTS, "problems": TEXTS})
BLOCKS = many({"anyOf": [
    closed({"kind": words("title", "head"), "text": TEXT}),
    closed({"kind": words("said"), "text": TEXT, "strong": YES_NO, "set_in": YES_NO}),
    closed({"kind": words("table"), "rows": many(TEXTS, least=1), "right": YES_NO}),
    closed({"kind": words("findings"), "heads": TEXTS, "rows": many(TEXTS, least=1)}),
    closed({"kind": words("cautions"), "lines": CAUTIONS})]})
HORN = closed({"name": TEXT, "description": TEXT, "family": SIDE, "own": YES_NO})
MEMORY = closed({
    "folder": maybe(TEXT), "desk": {"anyOf": [{"type": "object"}, {"type": "null"}]}, "most_scores": FROM_ONE,
    "most_mib": FROM_ONE,
    "scores": many(closed({"id": TEXT, "name": TEXT, "title": TEXT, "view": TEXT, "used": NUMBER}))})
SETTLED = {"anyOf": [closed({"states": many({"type": "object"}, least=1), "at": COUNT, "view": TEXT, "size": TEXT}),
                     {"type": "null"}]}
ANSWERS: dict[str, Schema] = {
    "start": closed({
        "memory": MEMORY,
        "samples": many(closed({"file": TEXT, "name": TEXT, "suits": TEXT,
                                "way": words("section", "passage", "bass")})),
        "horns": many(HORN, least=1),
        "paper": PAPER,
        "ceilings": many(closed({"value": TEXT, "text": TEXT}), least=1), "limit_mib": FROM_ONE,
        "section": {"anyOf": [FORM, {"type": "null"}]}}),
    "open": closed({
        "session": TEXT, "file": TEXT, "title": TEXT, "notice": TEXT, "compressed": YES_NO, "kept": maybe(TEXT),
        "settings": SETTLED,
        "parts": many(closed({"id": TEXT, "name": TEXT, "low_brass": YES_NO, "horn": TEXT}), least=1)}),
    "plan": PLAN, "pictures": closed({"pictures": TEXTS}),
    "music": closed({"svg": TEXT, "picture": TEXT, "prefix": TEXT, "systems": FROM_ONE, "next": maybe(FROM_ONE)}),
    "sound": SOUND, "player/read": closed({"player": PLAYER}), "section/read": FORM,
    "pins/read": closed({"pins": many(PIN), "missed": TEXTS}),
    "change": closed({"before": TEXT, "after": TEXT}), "remember": closed({"kept": YES_NO}), "forget": MEMORY,
    "compare": schema("compare"),
    "review": {"allOf": [schema("review"), {"properties": {"page": REVIEW_PAGE}, "required": ["page"]}]},
    "fit": {"allOf": [schema("fit"), {"properties": {"page": FIT_PAGE}, "required": ["page"]}]},
}
ANSWERS["apply"] = ANSWERS["open"]
ANSWERS |= {
    "horns/chart": closed({
        "description": TEXT, "family": SIDE, "said": TEXT, "picture": TEXT, "heads": TEXTS,
        "rows": many(TEXTS, least=1), "sheets": many(closed({"svg": TEXT, "label": TEXT}))}),
    "horns/change": closed({
        "picture": maybe(TEXT), "sheets": many(closed({"svg": TEXT, "label": TEXT})), "moves": BLOCKS, "aid": BLOCKS,
        "music": TEXT, "left_out": TEXT}),
    "horns/sheet": closed({"columns": TEXTS, "rows": many(TEXTS, least=1)}),
    "horns/fit": closed({"blocks": BLOCKS, "profile": TEXT, "name": TEXT, "cautions": TEXTS, "passed_over": TEXT}),
    "practice/sheet": {"anyOf": [closed({"pages": TEXTS}), closed({
        "blocks": BLOCKS, "exercises": COUNT, "line": FROM_ONE, "of": FROM_ONE, "problems": TEXTS})]},
    "practice/keep": closed({"text": TEXT, "said": TEXT, "rows": TEXTS}), "practice/heard": closed({"together": TEXT}),
    "library/begin": closed({"files": COUNT}), "library/add": closed({"files": COUNT}),
    "horns/keep": closed({"name": TEXT, "own": many(HORN)}), "horns/forget": closed({"own": many(HORN)}),
    "horns/pulled": closed({"name": TEXT, "own": many(HORN)}),
}
HEARD = closed({
    "said": TEXT, "supposed": TEXT, "well": TEXTS, "advice": many(closed({"what": TEXT, "where": TEXTS, "try": TEXT})),
    "notes": many(closed({"index": COUNT, "ref": COUNT, "off_cents": maybe(NUMBER), "short": TEXT, "said": TEXT,
                          "state": words("right", "off", "wrong", "missed", "short")})),
    "stays": many(closed({"start_s": NUMBER, "end_s": NUMBER, "index": COUNT, "label": TEXT, "out_mm": maybe(NUMBER),
                          "counts": YES_NO})), "scale_cents": NUMBER, "seconds": NUMBER, "problems": TEXTS})
STEP = closed({"doing": TEXT, "done": COUNT, "of": maybe(COUNT), "name": TEXT})
TOLD = {
    "library/survey": closed({"said": TEXT, "blocks": BLOCKS, "lines": COUNT, "held": TEXT}),
    "library/search": closed({
        "blocks": BLOCKS, "found": COUNT, "looked_at": COUNT, "held": TEXT,
        "files": many(closed({"file": TEXT, "part": TEXT, "line": FROM_ONE, "horn": TEXT}))}),
    "library/course": closed({"blocks": BLOCKS, "weeks": COUNT, "missing": COUNT, "problems": TEXTS, "held": TEXT}),
    "library/sheets": closed({"files": TEXTS, "problems": TEXTS, "held": TEXT}),
}
TOLD["practice/hear"] = closed({
    "heard": HEARD, "totals": {"type": "object"}, "cautions": CAUTIONS, "about": TEXT, "reference_hz": NUMBER,
    "row": TEXTS, "held": TEXT,
    "systems": many(closed({"svg": TEXT, "strip": TEXT, "places": by(r"^\d+$", NUMBER)}), least=1)})
TOLD["practice/moves"] = closed({
    "sheet": TEXTS, "found": maybe(closed({"said": TEXT, "rows": TEXTS, "cautions": CAUTIONS, "text": TEXT}))})
"""What is told line by line: steps, then the answer, or one line that says why there is none."""
ANSWERS["library/score"] = ANSWERS["open"]
FILES = {"file", "playable", "section/write", "player/write", "pins/write", "fit", "horns/write", "horns/chart",
         "horns/change", "horns/sheet", "library/file", "practice/sheet", "practice/heard", "compare"}
"""What answers with a file, or may; the rest is JSON."""
REFUSAL = closed({
    "line": {"type": "string", "pattern": r"^[^\n]+$"},
    "problem": {"type": "object"}, "mistakes": many(closed({"player": maybe(COUNT), "key": maybe(TEXT), "line": TEXT})),
}, "problem", "mistakes")

SETTINGS: dict[str, Schema] = {
    "session": SHORT, "part": SHORT, "line": FROM_ONE, "horn": SHORT, "from": SHORT, "to": SHORT,
    "tempo": maybe(NUMBER), "player": PLAYER, "pins": many(PIN), "width": COUNT, "chosen": maybe(COUNT),
    "reads": words("", "concert", "treble-b-flat"), "intonation": words("", "equal", "just")}
MORE: dict[str, dict[str, Schema]] = {
    "plan": {"standing": closed({"answer": SHORT, "pictures": many(SHORT), "marks": SHORT},
                                "answer", "pictures", "marks")},
    "music": {"at": COUNT},
    "file": {"ending": words("score", ".pdf", ".html", ".mid", ".json", "take-home", "practice", "chart"),
             "paper": PAPER},
    "playable": {"refuse": TEXTS}, "apply": {"refuse": TEXTS, "keep": YES_NO}, "change": {"place": SHORT},
    "practice/sheet": {"seed": FROM_ONE, "weeks": maybe(FROM_ONE), "paper": PAPER, "pages": YES_NO,
                       "start": TEXT, "drone": words("", "equal", "just"),
                       "ending": words(".pdf", ".musicxml", ".mid", ".wav", ".ics")},
    "practice/heard": {"ending": words("", ".html", ".pdf"), "students": many(
        {"anyOf": [closed({"held": SHORT}), closed({"file": TEXT, "why": TEXT})]}, least=1)},
    "practice/keep": {"held": SHORT, "text": TEXT, "name": TEXT},
    "compare": {"horns": {**many(SHORT, least=2), "uniqueItems": True}, "ending": words(".pdf"), "paper": PAPER},
    "fit": {"section": FORM, "ending": words(".html")},
    "pins/read": {"text": TEXT, "name": TEXT},
}
QUESTIONS: dict[str, Schema] = {
    **{path: closed({**SETTINGS, **MORE.get(path, {})}, "reads", "intonation", "ending", "refuse", "standing", "at",
                    "pages", "start", "drone", "paper")
       for path in ("practice/sheet", "practice/heard", "practice/keep", "plan", "music", "pictures", "file", "sound",
                    "review", "playable", "compare",
                    "fit", "apply", "change", "pins/read", "pins/write")},
    "section/write": FORM, "player/write": PLAYER, "forget": closed({"kept": SHORT, "back": YES_NO}, "kept", "back"),
    "horns/chart": closed({"horn": SHORT, "width": COUNT, "paper": words("a4", "a3", "letter"), "large": YES_NO},
                          "width", "paper", "large"),
    "horns/change": closed({"before": SHORT, "after": SHORT, "player": PLAYER, "session": SHORT,
                            "print": words("chart", "aid"), "paper": words("a4", "a3", "letter"), "width": COUNT},
                           "session", "print", "paper", "width"),
    "horns/sheet": closed({"horn": SHORT, "file": YES_NO}, "file"),
    "horns/fit": closed({"horn": SHORT, "table": TEXT, "file": SHORT, "name": SHORT}),
    "horns/keep": closed({"profile": TEXT, "file": SHORT, "keep": YES_NO}), "horns/forget": closed({"name": SHORT}),
    "horns/pulled": closed({"horn": SHORT, "midi": COUNT, "keep": YES_NO}),
    "horns/write": closed({"name": SHORT}),
    "library/begin": closed({}),
    "library/survey": closed({"folder": TEXT, "player": PLAYER, "horn": SHORT, "section": FORM, "bass_clef": YES_NO},
                             "horn", "section"),
    "library/search": closed({"folder": TEXT, "player": PLAYER, "horn": SHORT, "section": FORM, "bass_clef": YES_NO,
                              "most": FROM_ONE}, "horn", "section"),
    "library/course": closed({"folder": TEXT, "before": SHORT, "after": SHORT, "player": PLAYER, "clef": SHORT,
                              "weeks": maybe(FROM_ONE), "open_sheets": YES_NO}),
    "library/sheets": closed({"held": TEXT, "paper": PAPER, "start": TEXT, "phone": YES_NO}),
    "library/file": closed({"held": TEXT, "ending": words(".pdf", ".html", ".csv"), "paper": PAPER,
                            "most": FROM_ONE}, "ending", "paper", "most"),
    "library/score": closed({"held": TEXT, "file": TEXT, "keep": YES_NO}),
    "remember": {"anyOf": [closed({"kept": SHORT, "settings": SETTLED}), closed({"desk": {"type": "object"}})]},
}


def call_of(address: str) -> str | None:
    """The call's name, None for the page's own files."""
    found = re.search(r"/api/([a-z/]+)", address)
    return found[1] if found else None


def check_answer(address: str, status: int, kind: str, body: bytes) -> None:
    """Hold one answer of the server against its schema."""
    call = call_of(address)
    if kind.startswith("application/x-ndjson"):
        *steps, last = (json.loads(line) for line in body.splitlines())
        for step in steps:
            jsonschema.validate(step, STEP)
        jsonschema.validate(last, {"anyOf": [closed({"answer": TOLD[str(call)]}), REFUSAL]})
        return
    if call is None or not kind.startswith("application/json"):
        assert call is None or status != 200 or call in FILES, (call, kind)
        return
    answer: Any = json.loads(body, parse_constant=lambda word: (_ for _ in ()).throw(ValueError(word)))
    jsonschema.validate(answer, ANSWERS[call] if status == 200 else REFUSAL)


def check_question(address: str, body: str | None) -> None:
    """Hold one question of the page's own script against its schema."""
    call = call_of(address)
    if call in QUESTIONS:
        jsonschema.validate(json.loads(body or ""), QUESTIONS[call])
