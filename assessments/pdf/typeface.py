"""The one typeface of every document, Source Sans, from its Python package: never the machine's fonts."""

import unicodedata
from collections.abc import Mapping
from functools import cache
from pathlib import Path

import font_source_sans_pro
from fontTools.ttLib import TTFont

FAMILY = "Source Sans Pro"
WEIGHTS: Mapping[int, str] = {
    400: "SourceSansPro-Regular.ttf",
    600: "SourceSansPro-Semibold.ttf",
    700: "SourceSansPro-Bold.ttf",
}
"""Upright only: the italics have no Greek, and a missing letter would come from the machine's fonts."""


def faces(*, scheme: str) -> str:
    """The style sheet that names the files, as ``scheme:FILE``. No ligatures: text can be searched."""
    return "\n".join(
        f'@font-face {{ font-family: "{FAMILY}"; font-weight: {weight}; src: url("{scheme}:{file}");'
        " font-variant-ligatures: none }"
        for weight, file in WEIGHTS.items()
    )


@cache
def content_of(file: str) -> bytes:
    return (Path(font_source_sans_pro.font_directory) / file).read_bytes()


@cache
def _letters() -> frozenset[int]:
    with TTFont(Path(font_source_sans_pro.font_directory) / WEIGHTS[400], lazy=True) as font:
        return frozenset(font.getBestCmap())


def settable(text: str) -> str:
    """The text with every letter that the typeface lacks written as its code: [U+4E2D]."""
    return "".join(_settable(letter) for letter in unicodedata.normalize("NFC", text))


def _settable(letter: str) -> str:
    if ord(letter) in _letters() or letter in "\n\t":
        return letter
    match unicodedata.category(letter):
        case "Zs" | "Zl" | "Zp":
            return " "
        case "Cc" | "Cf" | "Mn":
            # Nothing to see by themselves: controls, joiners, and what modifies a letter that isn't there.
            return ""
    return f"[U+{ord(letter):04X}]"
