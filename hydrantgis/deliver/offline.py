"""
A folium figure that stands in one file: everything inlined, no link to any other place.

The script and the style sheet come from an installed package; the page also tells the browser to
refuse every request, so that it opens alike in an office without a connection.
"""

from __future__ import annotations

import base64
import re
from dataclasses import dataclass
from functools import cache
from html import escape
from importlib import resources
from typing import TYPE_CHECKING, Any

import folium
from branca.element import CssLink, Element, Figure, JavascriptLink

from hydrantgis.deliver.policy import policy_tag
from hydrantgis.ground.errors import WordsError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from importlib.resources.abc import Traversable

_ADDRESS = re.compile(r"(https?://)(\{s\}\.)?([A-Za-z0-9.-]+(?::[0-9]+)?)(/[^\s\"'<>;,]*)")
_PARTS = ("{z}", "{x}", "{y}")


@dataclass(frozen=True, slots=True)
class Tiles:
    """
    A map server whose pictures lie under the map, for those who ask for it.

    Attributes
    ----------
    url
        With `{z}`, `{x}` and `{y}`, and `{s}.` where the server has several names.
    attribution
        Whose map it is, as the server's terms ask for it; plain text.

    Raises
    ------
    WordsError
        The address is none, or nobody is named.

    Examples
    --------
    >>> Tiles("https://tiles.invalid/{z}/{x}/{y}.png", "Survey office").source
    'https://tiles.invalid'
    """

    url: str
    attribution: str

    def __post_init__(self) -> None:
        if not _ADDRESS.fullmatch(self.url) or any(part not in self.url for part in _PARTS):
            raise WordsError(
                "the address of the tiles cannot be used",
                found=f"`{self.url}`",
                accepted="https://host/.../{z}/{x}/{y}.png",
                do="take the address from the terms of the map server",
            )
        if not self.attribution.strip():
            raise WordsError(
                "tiles need an attribution", do="name whose map it is, as its terms ask for it"
            )

    @property
    def source(self) -> str:
        """What the page may ask for pictures."""
        found = _ADDRESS.fullmatch(self.url)
        if found is None:
            return ""
        scheme, several, host, _ = found.groups()
        return f"{scheme}{'*.' if several else ''}{host}"


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
    # What folium writes for popups of a user's own asks for one function of another library.
    ask = (
        "if (!window.$) window.$ = (markup) => { const holder = document.createElement('template');"
        "holder.innerHTML = markup; return [holder.content.firstElementChild]; };"
    )
    return f"<script>{code}\n{pins}\n{ask}</script>"


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
    tile_source
        A map server that may be asked for pictures; nothing may be asked without it.
    """

    def __init__(self, title: str, tile_source: Tiles | None = None) -> None:
        super().__init__(title=escape(title))
        images = "" if tile_source is None else tile_source.source
        policy = policy_tag(scripts=True, images_from=images)
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
        page = str(self._template.render(this=self, kwargs=kwargs))
        # folium says no language, and keeps those who see badly from zooming a phone
        page = page.replace("<html>", '<html lang="en">', 1)
        return re.sub(r",\s*maximum-scale=1.0,\s*user-scalable=no", "", page, count=1)


class OfflineMap(folium.Map):
    """
    A folium map without tiles, in an `OfflineFigure`.

    Attributes
    ----------
    told
        What the page is made of, a sentence each.
    """

    def __init__(
        self,
        title: str,
        *,
        tile_source: Tiles | None = None,
        **options: Any,  # noqa: ANN401 - handed on to folium
    ) -> None:
        super().__init__(tiles=None, **options)
        # Of what folium would link, a map without its pins and icons needs the library alone.
        self.default_js = [("leaflet", "leaflet.js")]
        self.default_css = [("leaflet_css", "leaflet.css")]
        self.told: tuple[str, ...] = ()
        OfflineFigure(title, tile_source).add_child(self)


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
