"""Builds the schema files: ``python -m analyzer.schemas.build`` writes them; a test tells when they are old.

A field that stands in `obj` is required; one in `more` may be absent. Fields that are not named here are allowed
everywhere, so that a newer program may say more.
"""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from analyzer.review.line import CODES

Schema = dict[str, Any]

TEXT: Schema = {"type": "string"}
WHOLE: Schema = {"type": "integer"}
COUNT: Schema = {"type": "integer", "minimum": 0}
FROM_ONE: Schema = {"type": "integer", "minimum": 1}
NUMBER: Schema = {"type": "number"}
FROM_ZERO: Schema = {"type": "number", "minimum": 0}
YES_NO: Schema = {"type": "boolean"}
PITCH: Schema = {"type": "string", "pattern": "^[A-G](b{0,3}|#{0,3})-?[0-9]+$"}
MIDI: Schema = {"type": "integer", "minimum": 0, "maximum": 127}
FRACTION: Schema = {"type": "string", "pattern": "^[0-9]+(/[1-9][0-9]*)?$"}
SHADE: Schema = {"enum": ["", "#", "b"]}


def obj(required: Mapping[str, Schema], more: Mapping[str, Schema] | None = None) -> Schema:
    """Return an object with these fields, and any others."""
    fields = {**required, **(more or {})}
    return {"type": "object", "properties": fields, "required": list(required)}


def many(items: Schema, *, least: int = 0) -> Schema:
    """Return a list."""
    return {"type": "array", "items": items, **({"minItems": least} if least else {})}


def maybe(schema: Schema) -> Schema:
    """Return the same or null."""
    if set(schema) & {"$ref", "enum", "pattern"}:
        return {"anyOf": [schema, {"type": "null"}]}
    return {**schema, "type": [schema["type"], "null"]}


def by_name(values: Schema) -> Schema:
    """Return an object whose keys are free."""
    return {"type": "object", "additionalProperties": values}


def words(*known: str) -> Schema:
    """Return one of a few words."""
    return {"enum": list(known)}


def ref(name: str) -> Schema:
    """Return a reference to a definition."""
    return {"$ref": f"#/$defs/{name}"}


FAMILY = words("trombone", "bass trombone", "euphonium", "baritone", "other")
SIDE = words("slide", "valves")
TEXTS = many(TEXT)
CAUTIONS = many(TEXT, least=1)
PROBLEMS = many(ref("problem"))
FINDINGS = many(ref("finding"))
ASSUMPTIONS = many(ref("assumption"))
LINE_OF = {"part": ref("part"), "line": FROM_ONE, "of": FROM_ONE}
KIND = words("cited", "derived", "judged", "measured")
ORIGIN = {"kind": KIND, "source": TEXT, "why": TEXT, "range": TEXT}

DEFS: dict[str, Schema] = {
    "score": obj({"file": TEXT, "title": TEXT}),
    "part": obj({"id": TEXT, "name": TEXT}),
    "problem": obj({"severity": words("error", "warning", "note"), "code": TEXT, "where": TEXT, "what": TEXT,
                    "try": TEXT}),
    "course_skill": obj({"id": TEXT, "name": TEXT, "needs": TEXTS, "level": FROM_ONE,
                         "order": words("cited", "judged"), "source": TEXT}),
    "remedy": obj({"kind": TEXT, "text": TEXT},
                  {"sounding": PITCH, "written": PITCH, "midi": MIDI, "horns": TEXTS, "tune_cents": NUMBER,
                   "bpm": FROM_ZERO, "label": TEXT}),
    "remark": obj({"code": TEXT, "severity": words("stop", "care", "note"), "part": ref("part"),
                   "line": maybe(FROM_ONE), "measure": maybe(TEXT), "index": maybe(COUNT),
                   "written": maybe(PITCH), "sounding": maybe(PITCH), "what": TEXT, "try": TEXTS},
                  {"remedies": many(ref("remedy"))}),
    "finding": {"allOf": [ref("remark")], "properties": {"code": words(*sorted(CODES))}},
    "assumption": obj({"about": TEXT, "value": TEXT, "from": TEXT}),
    "group": obj({"first": COUNT, "last": COUNT, "measures": {**many(TEXT, least=2), "maxItems": 2},
                  "labels": many(maybe(TEXT)), "chart_labels": many(maybe(TEXT)), "saves_mm": maybe(NUMBER),
                  "why": TEXT}),
    "beat": obj({"unit": TEXT, "dots": COUNT, "bpm": FROM_ZERO}),
    "choice": obj({"label": TEXT, "valves": TEXTS, "position": maybe(FROM_ONE), "shade": SHADE, "partial": FROM_ONE,
                   "extension_mm": maybe(FROM_ZERO), "off_cents": NUMBER, "usual": YES_NO, "advice": maybe(TEXT)},
                  {"typical_cents": maybe(many(NUMBER, least=2))}),
    "cents": obj({"from": words("your horn", "harmonic series"), "others_cents": maybe(FROM_ZERO),
                  "partials": many(obj({"partial": FROM_ONE, "low_cents": NUMBER, "high_cents": NUMBER,
                                        "sources": COUNT, "horns": maybe(COUNT), "stands_on": TEXT, **ORIGIN}))},
                 {"horn": TEXT}),
    "tuned_chord": obj({
        "measure": TEXT, "root": TEXT, "kind": TEXT, "seconds": FROM_ZERO, "before_cents": FROM_ZERO,
        "after_cents": FROM_ZERO, "shift_cents": NUMBER, "drone": TEXT, "players": many(obj({
            "part": TEXT, "line": FROM_ONE, "horn": TEXT, "label": TEXT, "sounding": PITCH, "member": TEXT,
            "target_cents": NUMBER, "move_mm": maybe(NUMBER), "left_cents": NUMBER, "instead": TEXTS}))}),
    "alternative": obj({"label": TEXT, "valves": TEXTS, "position": maybe(FROM_ONE), "extra_cost": NUMBER}),
    "note": obj(
        {"index": COUNT, "measure": TEXT, "onset": FRACTION, "duration": FRACTION, "written": PITCH, "sounding": PITCH,
         "midi": WHOLE, "grace": YES_NO, "label": maybe(TEXT), "valves": TEXTS, "position": maybe(FROM_ONE),
         "shade": SHADE, "partial": maybe(FROM_ONE), "extension_mm": maybe(FROM_ZERO), "off_cents": maybe(NUMBER),
         "chart_label": maybe(TEXT), "familiarity": maybe(words("usual", "common", "rare", "avoid")),
         "toss_up": YES_NO, "pinned": YES_NO, "why": TEXTS, "alternatives": many(ref("alternative")),
         "problem": maybe(ref("problem")), "slur": maybe(words("lip", "natural", "with grain", "smear", "valve")),
         "chord": maybe(obj({"root": TEXT, "kind": TEXT, "member": TEXT})), "target_cents": NUMBER,
         "root_cents": NUMBER, "shift_mm": maybe(NUMBER)}),
    "totals": obj({"notes": COUNT, "unplayable": COUNT, "travel_mm": maybe(FROM_ZERO),
                   "chart_travel_mm": maybe(FROM_ZERO), "valve_changes": COUNT, "peak_speed_mm_s": maybe(FROM_ZERO),
                   "tempo_ceiling_bpm": maybe(FROM_ZERO),
                   "ceiling_by": words("slide", "valves", "tongue", "lip", "none"), "beat": maybe(ref("beat"))}),
    "line": obj({**LINE_OF, "horn": TEXT, "horn_assumed": YES_NO, "assumptions": ASSUMPTIONS,
                 "notes": many(ref("note")), "groups": many(ref("group")), "totals": ref("totals"), "cost": NUMBER},
                {"cents_from": words("your horn", "harmonic series"),
                 "slide": maybe(obj({"measured": YES_NO, "seventh_mm": maybe(FROM_ZERO),
                                     "published_mm": maybe(many(FROM_ZERO, least=2))})),
                 "axes": many(obj({"axis": words("slide", "valves", "tongue", "leap and lip", "range", "endurance",
                                                 "reading", "tuning"),
                                   "share": maybe(FROM_ZERO), "measure": TEXT, "index": COUNT, "reason": TEXT})),
                 "plans": many(obj({"cost": NUMBER, "labels": many(maybe(TEXT))})),
                 "variants": many(obj({"cost": NUMBER, "labels": many(maybe(TEXT)), "travel_mm": maybe(FROM_ZERO),
                                       "valve_changes": COUNT, "differs": many(COUNT), "what": TEXT}))}),
    "horn": obj({"name": TEXT, "family": SIDE, "description": TEXT, "low": PITCH, "high": PITCH},
                {"instrument": TEXT, "gaps": many(PITCH)}),
    "column": obj({"horn": TEXT, "notes": COUNT, "beyond": COUNT, "unplayable": COUNT, "travel_mm": maybe(FROM_ZERO),
                   "fastest": maybe(obj({"peak_speed_mm_s": FROM_ZERO, "index": COUNT, "measure": TEXT, "from": TEXT,
                                         "to": TEXT})),
                   "sixth": maybe(COUNT), "seventh": maybe(COUNT), "off_over_10_cents": COUNT,
                   "off_over_20_cents": COUNT, "off_over_30_cents": COUNT, "valve_changes": COUNT,
                   "tempo_ceiling_bpm": maybe(FROM_ZERO), "cost": NUMBER}),
    "fact": obj({"value": {}, **ORIGIN}),
    "need": obj({"score": TEXT, "part": ref("part"), "line": FROM_ONE, "sounding": PITCH, "midi": WHOLE,
                 "reason": TEXT, "lack": TEXT,
                 "have": TEXT, "measures": TEXTS, "count": FROM_ONE}),
    "taught": obj({"move": TEXT, "kinds": TEXTS, "count": COUNT, "measure": TEXT}),
}
COMPARED_HORN = {"allOf": [ref("horn")], **obj({
    "bore_mm": ref("fact"), "weight_kg": ref("fact"), "valves": TEXTS, "compensating": YES_NO,
    "valve_type": ref("fact"), "fourth_valve": ref("fact"), "main_slide_trigger": ref("fact"),
    "left_hand_carries": ref("fact"), "left_hand_works": ref("fact")})}
PHRASES = many(obj({"first": COUNT, "last": COUNT, "measures": {**many(TEXT, least=2), "maxItems": 2},
                    "octaves": WHOLE, "why": maybe(TEXT)}))
COVER = obj({"of": FAMILY, "by": TEXT, "clef": TEXT, "octaves": PHRASES,
             "lost": many(obj({"code": words("gliss", "mute", "notes", "octave", "blend", "cue"), "what": TEXT,
                               "measures": TEXTS}), least=1), "price": NUMBER})
SEAT = obj(
    {**LINE_OF, "player": TEXT, "horn": TEXT, "cost": NUMBER, "price": NUMBER, "findings": FINDINGS, "doubling": YES_NO,
     "cost_items": by_name(NUMBER), "unplayable": COUNT, "out_of_range": COUNT, "too_fast": COUNT,
     "cover": maybe(COVER), "reach_estimated": YES_NO, "remarks": many(ref("remark")), "assumptions": ASSUMPTIONS,
     "checked": TEXTS, "not_told": TEXTS})
STATUS = words("read", "no low brass", "duplicate", "archive", "not a score", "unreadable")
CHAIR_MAYBE = {"part": maybe(ref("part")), "line": maybe(FROM_ONE), "of": maybe(FROM_ONE)}
ON_HORN = obj({"unplayable": COUNT, "travel_mm": maybe(FROM_ZERO), "cost_per_note": NUMBER})
MOVE_END = obj({"sounding": PITCH, "midi": WHOLE, "label": TEXT})
SHARE = maybe(obj({"lines": COUNT, "lines_needing": COUNT, "notes_needing": COUNT, "share": FROM_ZERO}))
LOOPS = obj({"horns": TEXTS, "out_of_tune": COUNT, "off_mean_cents": FROM_ZERO, "off_worst_cents": FROM_ZERO})
SURVEYED = obj({
    "file": TEXT, "title": TEXT, "part_id": TEXT, "part": TEXT, "family": FAMILY, "line": FROM_ONE, "of": FROM_ONE,
    "horn": TEXT, "horn_family": SIDE, "horn_kind": TEXT, "horn_assumed": YES_NO, "horn_valves": COUNT,
    "horn_compensating": YES_NO, "clefs": TEXTS, "measures": COUNT, "notes": COUNT, "unplayable": COUNT,
    "written_low": maybe(PITCH), "written_high": maybe(PITCH), "sounding_low": maybe(PITCH),
    "sounding_high": maybe(PITCH), "midi_low": maybe(WHOLE), "midi_high": maybe(WHOLE),
    "notes_by_pitch": by_name(COUNT), "notes_by_position": by_name(COUNT), "notes_by_valves": by_name(COUNT),
    "needs_valve": maybe(COUNT), "needs_two_valves": maybe(COUNT), "changed": COUNT, "travel_mm": maybe(FROM_ZERO),
    "chart_travel_mm": maybe(FROM_ZERO), "valve_changes": COUNT, "peak_speed_mm_s": maybe(FROM_ZERO),
    "tempo_ceiling_bpm": maybe(FROM_ZERO), "tempo_there_bpm": maybe(FROM_ZERO), "difficulty": FROM_ZERO,
    "hardest_measure": maybe(TEXT), "hardest_why": maybe(TEXT), "out_of_tune": COUNT, "off_sum_cents": FROM_ZERO,
    "off_worst_cents": FROM_ZERO})
SURVEYED_HORN = obj({
    "horn": TEXT, "lines": COUNT, "notes": COUNT, "unplayable": COUNT, "lines_with_unplayable": COUNT,
    "travel_m": maybe(FROM_ZERO), "chart_travel_m": maybe(FROM_ZERO), "valve_changes": COUNT, "out_of_tune": COUNT,
    "off_mean_cents": maybe(FROM_ZERO), "off_worst_cents": FROM_ZERO, "lines_too_fast": COUNT})
PURCHASE = obj({
    "owned": TEXTS, "lines": COUNT, "open_now": COUNT,
    "steps": many(obj({"kind": words("buy", "learn", "lower", "higher", "read"), "what": TEXT, "player": maybe(TEXT),
                       "text": TEXT, "adds_lines": COUNT})),
    "together": many(obj({"steps": TEXTS, "open": COUNT, "at_most": COUNT, "exact": YES_NO}))})
TUNED_NOTE = obj({"note": PITCH, "off_cents": NUMBER})
PLAYED = obj({"label": maybe(TEXT), "labels": TEXTS, "off_cents": maybe(NUMBER)})
WRITTEN = obj({"part": ref("part"), "line": FROM_ONE, "measure": maybe(TEXT), "index": maybe(COUNT),
               "was_written": maybe(PITCH)}, {"written": PITCH, "sounding": PITCH, "was_sounding": maybe(PITCH)})

LISTENED = obj({
    "recording": TEXT, **LINE_OF, "horn": TEXT, "horn_assumed": YES_NO, "assumptions": ASSUMPTIONS,
    "reference_hz": NUMBER, "reference_told": YES_NO, "tempo_bpm": maybe(FROM_ZERO),
    "notes": many(obj({
        "index": COUNT, "measure": TEXT, "sounding": PITCH, "label": maybe(TEXT), "heard": YES_NO,
        "start_s": maybe(FROM_ZERO), "end_s": maybe(FROM_ZERO), "late_s": maybe(NUMBER), "off_cents": maybe(NUMBER),
        "spread_cents": maybe(FROM_ZERO), "slide_mm": maybe(NUMBER), "heard_as": maybe(PITCH),
        "settle_ms": maybe(FROM_ZERO),
        "attack": words("clean", "scoop", "late slide", "cracked", "smear", "unknown"), "what": maybe(TEXT)},
        {"played": maybe(obj({"label": maybe(TEXT), "confidence": FROM_ZERO, "why": TEXT}))})),
    "totals": obj({"heard": COUNT, "missed": COUNT, "wrong": COUNT, "extra": COUNT,
                   "median_off_cents": maybe(NUMBER),
                   "median_abs_off_cents": maybe(FROM_ZERO), "tempo_steadiness": maybe(FROM_ZERO)}),
    "passes": many(obj({"first": COUNT, "last": COUNT, "measures": {**many(TEXT, least=2), "maxItems": 2},
                        "start_s": FROM_ZERO, "end_s": FROM_ZERO, "heard": COUNT,
                        "median_abs_off_cents": maybe(FROM_ZERO)})),
    "well": TEXTS, "advice": many(obj({"what": TEXT, "where": TEXTS, "try": TEXT})), "problems": PROBLEMS,
    "cautions": CAUTIONS})
LISTENED_IN_CLASS = {**LISTENED, "properties": {"schema": {"const": "lowbrass.listen/1"}, **LISTENED["properties"]},
                     "required": ["schema", *LISTENED["required"]]}
MOVES = obj({
    "file": TEXT, "horn": TEXT, "key": words("slide_acceleration_m_s2", "valve_notes_s"), "value": FROM_ZERO,
    "low": FROM_ZERO, "high": FROM_ZERO,
    "moves": many(obj({"from": TEXT, "to": TEXT, "distance_mm": FROM_ZERO, "notes": FROM_ONE, "move_s": FROM_ZERO})),
    "cautions": CAUTIONS})
DOCUMENTS: dict[str, Schema] = {
    "parts": obj({"score": ref("score"), "parts": many(obj(
        {"id": TEXT, "name": TEXT, "family": FAMILY, "low_brass": YES_NO, "evidence": TEXTS, "clefs": TEXTS,
         "written_low": maybe(PITCH), "written_high": maybe(PITCH), "sounding_low": maybe(PITCH),
         "sounding_high": maybe(PITCH), "notes": COUNT, "lines": COUNT, "horn": maybe(TEXT)}, {"full_name": TEXT})),
        "problems": PROBLEMS}),
    "map": obj({"score": ref("score"), "lines": many(ref("line")), "problems": PROBLEMS, "cautions": CAUTIONS}),
    "chart": obj({"horn": TEXT, "description": TEXT,
                  "notes": many(obj({"midi": MIDI, "note": PITCH, "choices": many(ref("choice"))}), least=1)},
                 {"cents": ref("cents")}),
    "transition": obj({
        "from": TEXT, "to": TEXT,
        "places": many(obj({"label": TEXT, "valves": TEXTS, "position": FROM_ONE, "kind": TEXT,
                            "before_mm": maybe(NUMBER), "after_mm": maybe(NUMBER), "by_mm": maybe(NUMBER),
                            "near": maybe(WHOLE), "beside_mm": maybe(NUMBER)})),
        "combinations": many(obj({"label": TEXT, "valves": TEXTS, "kind": TEXT, "before_cents": maybe(NUMBER),
                                  "after_cents": maybe(NUMBER)})),
        "notes": many(obj({"midi": MIDI, "note": PITCH, "kind": TEXT, "by_mm": maybe(NUMBER), "by_cents": maybe(NUMBER),
                           **{side: maybe(obj({"label": TEXT, "extension_mm": maybe(NUMBER), "off_cents": NUMBER}))
                              for side in ("before", "after")}})),
        "cautions": CAUTIONS}),
    "horns": obj({"horns": many(ref("horn"), least=1)}),
    "horn": {"allOf": [ref("horn")], **obj({"facts": many(obj({"what": TEXT, **ORIGIN, "value": TEXT,
                                                                "range": TEXT}), least=1)})},
    "calibrate": obj({"horn": TEXT, "file": TEXT, "tube_mm": FROM_ZERO, "tube_before_mm": FROM_ZERO, "measured": TEXT,
                      "lost": many(PITCH)}),
    "review": obj({"score": ref("score"), "horn": TEXT,
                   "lines": many(obj({**LINE_OF, "horn": TEXT, "horn_assumed": YES_NO, "assumptions": ASSUMPTIONS,
                                      "findings": COUNT})),
                   "findings": FINDINGS, "problems": PROBLEMS, "cautions": CAUTIONS},
                  {"ossia": obj({"changes": many(WRITTEN), "left": FINDINGS})}),
    "compare": obj({"score": ref("score"), "horns": many(COMPARED_HORN, least=2),
                    "lines": many(obj({**LINE_OF, "columns": many(ref("column"), least=2)})),
                    "totals": many(ref("column")), "problems": PROBLEMS, "cautions": CAUTIONS}),
    "compare-folder": obj({
        "folder": TEXT, "horns": many(COMPARED_HORN, least=2), "pieces": many(obj({
            "file": TEXT, "title": maybe(TEXT), "lines": COUNT, "totals": many(ref("column")),
            "problem": maybe(ref("problem"))})),
        "totals": many(ref("column")), "cautions": CAUTIONS}),
    "fit": obj({
        "score": ref("score"), "verdict": words("suits", "suits with changes", "does not suit"), "said": TEXT,
        "assignments": many(SEAT), "doublings": many(SEAT), "absent": TEXTS,
        "lines": many(obj({**LINE_OF, "role": words("melody", "bass", "inner", "double"), "empty_price": FROM_ZERO})),
        "prices": many(obj({**LINE_OF, "player": TEXT, "horn": TEXT, "price": maybe(NUMBER), "why": TEXTS,
                            "cover": YES_NO})),
        "unfilled": many(obj({**LINE_OF, "why": TEXT})),
        "shares": many(obj({
            **LINE_OF, "pieces": many(obj({
                "player": TEXT, "horn": TEXT, "clef": TEXT, "first": COUNT, "last": COUNT, "measures": TEXTS,
                "octaves": WHOLE, "why": maybe(TEXT), "beside": words("own line", "rests", "alone"),
                "missing": many(obj({"index": COUNT, "measure": TEXT, "sounding": PITCH})), "price": NUMBER})),
            "left": many(obj({"first": COUNT, "last": COUNT, "measures": TEXTS})), "handovers": COUNT, "whole": YES_NO,
            "price": NUMBER, "said": TEXT})),
        "changes": many(obj({"kind": words("move", "lend", "tempo", "clef", "notes", "empty", "cover", "share"),
                             "text": TEXT, **CHAIR_MAYBE})),
        "after_changes": many(obj({**LINE_OF, "player": TEXT, "horn": TEXT})),
        "findings": FINDINGS, "remarks": many(ref("remark")), "problems": PROBLEMS, "cautions": CAUTIONS,
        "about": words("horns", "horns and players")}, {"tuning": many(ref("tuned_chord"))}),
    "ready": obj({
        "decides": TEXT, "scores": many(ref("score"), least=1), "player": TEXT, "from": TEXT, "to": TEXT,
        "physical": many(obj({"what": TEXT, "from": TEXT, "to": TEXT, "meaning": TEXT,
                              "origin": maybe(obj(ORIGIN))})),
        "reach": obj({"reach_mm": maybe(FROM_ZERO), "estimated": YES_NO, "text": TEXT}),
        "places": many(obj({"label": TEXT, "extension_mm": FROM_ZERO, "what": TEXT,
                            "beyond_reach_mm": maybe(FROM_ZERO)})),
        "lines": many(obj({"score": TEXT, **LINE_OF, "notes": COUNT, "from": ON_HORN, "to": ON_HORN})),
        "needs": many(ref("need")), "losses": many(ref("need")), "neither": many(ref("need")),
        "skills": many(obj({"look": TEXT, "where": TEXTS})), "problems": PROBLEMS, "cautions": CAUTIONS}),
    "drill": obj({
        "score": ref("score"), **LINE_OF, "horn": TEXT, "horn_assumed": YES_NO, "assumptions": ASSUMPTIONS,
        "moves": many(obj({
            "from": MOVE_END, "to": MOVE_END, "kinds": TEXTS, "count": COUNT, "measures": TEXTS, "gap_s": FROM_ZERO,
            "distance_mm": maybe(FROM_ZERO), "peak_speed_mm_s": maybe(FROM_ZERO), "off_cents": maybe(NUMBER),
            "far": NUMBER, "fast": NUMBER, "tune": NUMBER, "difficulty": NUMBER, "score": NUMBER})),
        "secure": TEXTS,
        "exercises": many(obj({
            "title": TEXT, "kind": TEXT, "measures": TEXTS, "covers": TEXTS, "words": TEXT, "metronome": many(NUMBER),
            "beat": FRACTION,
            "notes": many(obj({"written": PITCH, "sounding": PITCH, "midi": WHOLE, "label": TEXT}))})),
        "recall": many(obj({"ask": TEXT, "covers": TEXT, "after_days": many(FROM_ONE)})),
        "listening": many(obj({"start_s": FROM_ZERO, "midi": WHOLE, "cents": NUMBER, "what": TEXT,
                               "drone_midi": maybe(WHOLE)})),
        "problems": PROBLEMS, "cautions": CAUTIONS},
        {"weeks": many(obj({"week": FROM_ONE, "day": COUNT, "recall": TEXTS, "exercises": many(obj(
            {"title": TEXT, "metronome": {"type": ["number", "string", "null"]}}))}))}),
    "listen": LISTENED,
    "listen-class": obj({"students": many(obj({"file": TEXT, "document": maybe(LISTENED_IN_CLASS),
                                               "problem": maybe(ref("problem"))})),
                         "together": many(obj({"measure": TEXT, "files": TEXTS})), "cautions": CAUTIONS}),
    "progress": obj({
        "file": TEXT, "name": TEXT, "learned": maybe(TEXTS), "secure": TEXTS,
        "practiced": many(obj({"score": TEXT, "part": TEXT, "measures": TEXTS, "beat": TEXT, "bpm": FROM_ZERO,
                               "goal_bpm": FROM_ZERO, "times": FROM_ONE, "last_day": TEXT})),
        "heard": many(obj({"score": TEXT, "part": TEXT, "measures": TEXTS, "day": TEXT, "notes": COUNT, "right": COUNT,
                           "late": COUNT, "median_off_cents": maybe(FROM_ZERO)}))}),
    "survey": obj({
        "folder": TEXT,
        "files": many(obj({"file": TEXT, "bytes": COUNT, "status": STATUS, "reason": TEXT, "duplicate_of": maybe(TEXT),
                           "title": TEXT, "lines": COUNT, "problem": maybe(ref("problem")), "problems": PROBLEMS})),
        "lines": many(SURVEYED),
        "summary": obj({"files": by_name(COUNT), "lines": COUNT, "notes": COUNT, "lines_by_family": by_name(COUNT),
                        "horns": many(SURVEYED_HORN), "attachment": SHARE, "second_valve": SHARE,
                        "compensating": maybe(obj({"lines": COUNT, "plain": LOOPS, "compensating": LOOPS,
                                                   "saves_mean_cents": NUMBER}))}),
        "problems": PROBLEMS, "cautions": CAUTIONS}, {"purchase": PURCHASE}),
    "search": obj({
        "folder": TEXT,
        "found": many(obj({"file": TEXT, "title": TEXT, "line": FROM_ONE, "difficulty": FROM_ZERO,
                           "verdict": words("suits", "suits with changes", "does not suit"), "against": TEXTS,
                           "lesson": words("teaches", "nothing new", "too much at once")},
                          {"part_id": TEXT, "part": TEXT, "of": FROM_ONE, "horn": TEXT, "horn_family": SIDE,
                           "teaches": many(ref("taught")), "changes": TEXTS,
                           "seats": many(obj({"player": TEXT, "part": TEXT, "horn": TEXT, "horn_family": SIDE,
                                              "teaches": many(ref("taught"))}))})),
        "files": many(obj({"file": TEXT, "status": STATUS, "reason": TEXT, "duplicate_of": maybe(TEXT)})),
        "problems": PROBLEMS, "cautions": CAUTIONS}),
    "tune-moves": MOVES,
    "tune-fit": obj({
        "horn": TEXT, "profile": TEXT, "file": TEXT, "confidence": FROM_ZERO, "noise_cents": FROM_ZERO,
        "found": many(obj({"what": TEXT, "name": TEXT, "unit": words("per cent", "cents"), "change": NUMBER,
                           "plus_minus": FROM_ZERO, "sounds_plus_minus": FROM_ZERO, "readings": COUNT,
                           "state": words("measured", "leans", "kept")})),
        "readings": many(obj({"line": FROM_ONE, "note": PITCH, "midi": WHOLE, "label": TEXT, "partial": FROM_ONE,
                              "read_cents": NUMBER, "profile_cents": NUMBER, "fitted_cents": NUMBER,
                              "outlier": YES_NO})),
        "rows_without_reading": COUNT, "cautions": CAUTIONS}),
    "tune-pull": obj({
        "horn": TEXT, "scores": many(TEXT, least=1), "aim": words("worst", "rms"),
        "slides": many(obj({"slide": TEXT, "pull_mm": COUNT, "limit_mm": COUNT})),
        "rms_cents": obj({"before": FROM_ZERO, "after": FROM_ZERO}),
        "worst": obj({"before": TUNED_NOTE, "after": TUNED_NOTE}), "refingered_share": FROM_ZERO,
        "notes": many(obj({"midi": WHOLE, "note": PITCH, "uses": COUNT, "sounds_s": FROM_ZERO, "before": PLAYED,
                           "after": PLAYED})),
        "beyond": many(PITCH), "problems": PROBLEMS, "cautions": CAUTIONS}),
    "tune-chords": obj({
        "score": ref("score"), "problems": PROBLEMS, "cautions": CAUTIONS, "chords": many(ref("tuned_chord"))},
        {"cents": many(ref("cents")), "rules": TEXTS}),
    "write": obj({
        "part": ref("part"), "line": FROM_ONE, "of": FROM_ONE,
        "reader": obj({"name": TEXT, "clef": TEXT, "written_above_sounding": WHOLE, "low": maybe(PITCH),
                       "high": maybe(PITCH)}),
        "phrases": PHRASES,
        "outside": many(obj({"index": COUNT, "measure": TEXT, "sounding": PITCH})), "files": TEXTS,
        "findings": FINDINGS, "problems": PROBLEMS, "cautions": CAUTIONS}),
    "course": obj({
        "from": TEXT, "to": TEXT, "clef": maybe(TEXT), "player": TEXT,
        "goal": many(ref("course_skill")), "done": TEXTS,
        "weeks": many(obj({
            "week": FROM_ONE, "new": many(ref("course_skill")), "again": many(ref("course_skill")),
            "excerpts": many(obj({"score": TEXT, "part": ref("part"), "line": FROM_ONE,
                                  "measures": many(TEXT, least=2), "why": TEXT, "new": TEXTS, "again": TEXTS,
                                  "open_sheet": YES_NO}), least=1)})),
        "missing": many(obj({"skill": ref("course_skill"), "why": TEXT})),
        "exact": YES_NO, "decides": TEXT, "files": TEXTS, "problems": PROBLEMS, "cautions": CAUTIONS}),
    "folders": obj({
        "players": many(obj({"player": TEXT, "file": maybe(TEXT), "pages": COUNT, "pieces": many(obj(
            {"score": TEXT, "part": ref("part"), "line": FROM_ONE, "horn": TEXT, "doubling": YES_NO,
             "cover": YES_NO, "also": maybe(TEXT)}))})),
        "pieces": many(obj({"score": TEXT, "title": TEXT, "verdict": TEXT, "said": TEXT},
                           {"tuning": many(ref("tuned_chord"))})),
        "unfilled": many(obj({"score": TEXT, "part": ref("part"), "line": FROM_ONE, "why": TEXT})),
        "problems": PROBLEMS, "cautions": CAUTIONS}),
    "learn": obj({"marks": COUNT, "lines": FROM_ONE, "held_out": YES_NO, "before": FROM_ZERO, "after": FROM_ZERO,
                  "unread": TEXTS, "doubtful": TEXTS, "general_match_rate": maybe(FROM_ZERO),
                  "highest_match_rate": maybe(FROM_ZERO)}),
}


def _used(schema: Any, found: set[str]) -> set[str]:
    """Add the names of all definitions that a schema needs, directly or through others."""
    if isinstance(schema, list):
        for inner in schema:
            _used(inner, found)
    elif isinstance(schema, dict):
        name = str(schema.get("$ref", "")).removeprefix("#/$defs/")
        if name and name not in found:
            found.add(name)
            _used(DEFS[name], found)
        for inner in schema.values():
            _used(inner, found)
    return found


def built(name: str) -> str:
    """Return the text of a schema file."""
    tag = f"lowbrass.{name}/1"
    document = DOCUMENTS[name]
    used = _used(document, set())
    schema: Schema = {
        "$schema": "https://json-schema.org/draft/2020-12/schema", "$id": f"urn:lowbrass:schema:{name}:1", "title": tag,
        **document, "properties": {"schema": {"const": tag}, **document["properties"]},
        "required": ["schema", *document["required"]],
        **({"$defs": {key: DEFS[key] for key in DEFS if key in used}} if used else {}),
    }
    return json.dumps(schema, ensure_ascii=False, indent=1) + "\n"


if __name__ == "__main__":
    for known in DOCUMENTS:
        Path(__file__).with_name(f"{known}.json").write_text(built(known), encoding="utf-8")
