"""
A folium figure that stands in one file: everything inlined, no link to any other place.

The script and the style sheet come from an installed package; the page also tells the browser to
refuse every request, so that it opens alike in an office without a connection.
"""

from __future__ import annotations

import base64
import re
from functools import cache
from html import escape
from importlib import resources
from typing import TYPE_CHECKING, Any

import folium
from branca.element import CssLink, Element, Figure, JavascriptLink

from hydrantgis.ground.errors import WordsError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from importlib.resources.abc import Traversable

_POLICY = (
    "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data:; "
    "base-uri 'none'; form-action 'none'"
)


def _leaflet() -> Traversable:
    return resources.files("xstatic.pkg.leaflet") / "data"


def _data_uri(image: str) -> str:
    content = (_leaflet() / "images" / image).read_bytes()
    return f"data:image/png;base64,{base64.b64encode(content).decode('ascii')}"


@cache
def _script() -> str:
    code = (_leaflet() / "leaflet.js").read_text(encoding="utf-8")
    code = re.sub(r"^//# sourceMappingURL=.*$", "", code, flags=re.MULTILINE)
    # The library's own attribution links to its home page; this page links nowhere.
    code = re.sub(r'href="https?://[^"]*"', 'href="#"', code)
    code = code.replace("</script", r"<\/script")
    icon, shadow = _data_uri("marker-icon.png"), _data_uri("marker-shadow.png")
    pins = (
        "delete L.Icon.Default.prototype._getIconUrl;"
        f'L.Icon.Default.mergeOptions({{iconUrl:"{icon}",iconRetinaUrl:"{icon}",'
        f'shadowUrl:"{shadow}"}});'
    )
    return f"<script>{code}\n{pins}</script>"


@cache
def _style() -> str:
    sheet = (_leaflet() / "leaflet.css").read_text(encoding="utf-8")
    sheet = re.sub(r"url\(images/([\w.-]+)\)", lambda m: f"url({_data_uri(m[1])})", sheet)
    return f"<style>{sheet}</style>"


_INLINE = {"leaflet": _script, "leaflet_css": _style}


class Markup(Element):
    """Markup that goes into the page as it is, without passing through a template."""

    def __init__(self, markup: str) -> None:
        super().__init__()
        self._name = "Markup"
        self.markup = markup

    def render(self, **kwargs: Any) -> str:  # noqa: ANN401, ARG002 - as the base class has it
        """Return the markup."""
        return self.markup


class OfflineFigure(Figure):
    """
    A figure whose page asks for nothing but itself.

    Parameters
    ----------
    title
        Of the page; plain text.
    """

    def __init__(self, title: str) -> None:
        super().__init__(title=escape(title))
        policy = f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'
        # First in the header: a policy binds only what comes after it.
        self.header.add_child(Markup(policy), name="policy", index=0)

    def render(self, **kwargs: Any) -> str:  # noqa: ANN401 - as the base class has it
        """
        Return the page.

        Raises
        ------
        WordsError
            A layer that was added wants a script or a style sheet from elsewhere.
        """
        for child in list(self._children.values()):
            child.render(**kwargs)
        for name, element in list(self.header._children.items()):
            if not isinstance(element, JavascriptLink | CssLink):
                continue
            if name not in _INLINE:
                raise WordsError(
                    "a map layer needs a file from the network",
                    found=f"`{name}`",
                    accepted=", ".join(_INLINE),
                    do="leave that layer out; maps open without a connection",
                )
            self.header._children[name] = Markup(_INLINE[name]())
        return str(self._template.render(this=self, kwargs=kwargs))


class OfflineMap(folium.Map):
    """A folium map without tiles, in an `OfflineFigure`."""

    def __init__(self, title: str, **options: Any) -> None:  # noqa: ANN401 - handed on to folium
        super().__init__(tiles=None, **options)
        # Of what folium would link, a map without its pins and icons needs the library alone.
        self.default_js = [("leaflet", "leaflet.js")]
        self.default_css = [("leaflet_css", "leaflet.css")]
        OfflineFigure(title).add_child(self)


def _walk(element: Element) -> Iterator[Element]:
    yield element
    for part in ("header", "html", "script"):
        if isinstance(element, Figure):
            yield from _walk(getattr(element, part))
    for child in element._children.values():
        yield from _walk(child)


def steady_page(root: Element) -> str:
    """
    Return the page with folium's random names replaced by numbers, the same at every call.

    Only the names of elements of this figure are replaced, so that data which looks like one
    stays as it is.
    """
    page = str(root.render())
    ids = dict.fromkeys(str(element._id) for element in _walk(root))
    steady = {name: f"{number:04d}" for number, name in enumerate(ids)}
    return re.sub("|".join(ids), lambda found: steady[found[0]], page)
