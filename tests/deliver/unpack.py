"""Read packed columns back, as written down in their description and by nothing of the package."""

from __future__ import annotations

import base64
import json
import zlib


def whole(packed):
    raw = zlib.decompress(base64.b64decode(packed["data"]))
    count = len(raw) // packed["width"]
    codes = [
        sum(raw[k * count + i] << (8 * k) for k in range(packed["width"])) for i in range(count)
    ]
    if packed["steps"]:
        run, before = [], 0
        for code in codes:
            before += -(code + 1) // 2 if code % 2 else code // 2
            run.append(before)
        codes = run
    if packed["gaps"]:
        return [None if code == 0 else packed["least"] + code - 1 for code in codes]
    return [packed["least"] + code for code in codes]


def column(packed, others=None):
    if packed is None:
        return None
    if packed["kind"] == "number":
        return [None if v is None else v / packed["scale"] for v in whole(packed)]
    if packed["kind"] == "date":
        return whole(packed)
    if packed["kind"] == "sum":
        parts = [column(others[name]) for name in packed["of"]]
        return [
            round(sum(values), 6) if there else None
            for there, *values in zip(whole(packed["where"]), *parts, strict=True)
        ]
    sentences = json.loads(zlib.decompress(base64.b64decode(packed["sentences"])))
    figures = [whole(one) for one in packed["figures"]]
    texts = []
    for i, code in enumerate(whole(packed["codes"])):
        if code is None:
            texts.append(None)
            continue
        pieces = sentences[code].split("\x01")
        text = pieces[0]
        for place, piece in enumerate(pieces[1:]):
            text += (str(figures[place][i]) if figures else "\x01") + piece
        texts.append(text)
    return texts
