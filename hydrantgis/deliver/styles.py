"""
How a desktop GIS shows the layers at first: the marks of the map, as QGIS styles.

References
----------
.. [1] QGIS keeps a layer's style as an XML text; a renderer by categories has a symbol for each
   value of a field (as its documentation and files show).
"""

from __future__ import annotations

from xml.etree import ElementTree as ET

from hydrantgis.deliver.looks import BOUNDARY, LOOKS

_SHAPES = {
    "inside": "circle", "low": "triangle", "high": "triangle", "unresolved": "diamond",
    "unmeasured": "square", "": "line",
}  # fmt: skip
_TURNED = {"low": "180", "": "90"}
_EDGE_MM = {"": "0.9"}
_MM = 2.6
"""Width of a mark of size 1. [mm]"""


def layer_styles() -> dict[str, str]:
    """
    Styles by layer.

    Examples
    --------
    >>> sorted(layer_styles())
    ['area_figures', 'checked']
    """
    return {"checked": _hydrants(), "area_figures": _areas()}


def _hydrants() -> str:
    """Marks by verdict: shape and color, as on the map."""
    style, renderer = _begin("categorizedSymbol", attr="verdict")
    categories, symbols = ET.SubElement(renderer, "categories"), ET.SubElement(renderer, "symbols")
    for number, look in enumerate(LOOKS):
        ET.SubElement(
            categories, "category", value=look.value, symbol=str(number), render="true",
            label=f"{look.label}: {look.about}", type="string" if look.value else "NULL",
        )  # fmt: skip
        symbol = ET.SubElement(symbols, "symbol", type="marker", name=str(number), alpha="1")
        _part(
            symbol, "SimpleMarker", name=_SHAPES[look.value], color=_rgba(look.fill),
            outline_color=_rgba(look.edge), outline_width=_EDGE_MM.get(look.value, "0.25"),
            outline_width_unit="MM",
            size=f"{_MM * look.size:.2f}", size_unit="MM", angle=_TURNED.get(look.value, "0"),
        )  # fmt: skip
    return _text(style)


def _areas() -> str:
    """The boundary alone, so that nothing is hidden."""
    style, renderer = _begin("singleSymbol")
    symbols = ET.SubElement(renderer, "symbols")
    symbol = ET.SubElement(symbols, "symbol", type="fill", name="0", alpha="1")
    _part(
        symbol, "SimpleFill", style="no", color="255,255,255,0", outline_color=_rgba(BOUNDARY),
        outline_style="solid", outline_width="0.5", outline_width_unit="MM",
    )  # fmt: skip
    return _text(style)


def _begin(kind: str, **more: str) -> tuple[ET.Element, ET.Element]:
    style = ET.Element("qgis", version="3.22.0", styleCategories="Symbology")
    return style, ET.SubElement(style, "renderer-v2", {"type": kind, "enableorderby": "0", **more})


def _part(symbol: ET.Element, kind: str, **options: str) -> None:
    """A layer of a symbol, with its options."""
    layer = ET.SubElement(symbol, "layer", {"class": kind, "enabled": "1", "pass": "0"})
    told = ET.SubElement(layer, "Option", type="Map")
    for name, value in options.items():
        ET.SubElement(told, "Option", type="QString", name=name, value=value)


def _rgba(color: str) -> str:
    """`#rrggbb` as four numbers."""
    return ",".join(str(int(color[k : k + 2], 16)) for k in (1, 3, 5)) + ",255"


def _text(style: ET.Element) -> str:
    return ET.tostring(style, encoding="unicode")
