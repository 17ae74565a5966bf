"""One HTML document out of the template, the styles, the scripts and the data.

The page's content security policy lets run only the scripts whose fingerprints it names, and lets
nothing be fetched: text from the data could not do harm even if a browser took it for code.
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Mapping
from importlib.metadata import distribution
from importlib.resources import files
from pathlib import Path
from typing import Any

import jinja2
from markupsafe import Markup

from reachrank.page.encode import as_json

SCRIPTS = (
    "data", "units", "choice", "list", "reach_layer", "map", "section_drawing", "place", "about",
    "csv", "print", "start",
)  # fmt: skip
"""The page's own scripts in their order; each is ``script/NAME.js``."""
STYLES = ("page", "list", "map", "place", "phone", "print")
_URL = re.compile(r"url\([^)]*\)")


def render(content: Mapping[str, Any], relief: Mapping[str, Any], *, title: str) -> str:
    """Return the document.

    Parameters
    ----------
    content
        What the scripts read first: list, lines, details.
    relief
        The pictures of the ground, read after the first drawing.
    title
        Of the page.
    """
    here = files("reachrank.page")
    leaflet = Path(str(distribution("XStatic-Leaflet").locate_file("xstatic/pkg/leaflet/data")))
    own = [here.joinpath("script", f"{name}.js").read_text("utf-8") for name in SCRIPTS]
    scripts = [
        # without its note on where a map of its code for debugging lies
        (leaflet / "leaflet.js").read_text("utf-8").split("//# sourceMappingURL")[0],
        '"use strict";\n(() => {\n' + "\n".join(own) + "\n})();\n",
    ]
    # Leaflet's pictures are of markers and layer buttons, which the page does not use.
    styles = [_URL.sub("none", (leaflet / "leaflet.css").read_text("utf-8"))]
    styles += [here.joinpath("style", f"{name}.css").read_text("utf-8") for name in STYLES]
    policy = "; ".join(
        (
            "default-src 'none'",
            "img-src data:",
            f"script-src {' '.join(map(_fingerprint, scripts))}",
            f"style-src {' '.join(map(_fingerprint, styles))}",
            "base-uri 'none'",
            "form-action 'none'",
        )
    )
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("reachrank.page", "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template("page.html.j2").render(
        title=title,
        policy=policy,
        styles=[Markup(text) for text in styles],  # noqa: S704  (files of the package)
        scripts=[Markup(text) for text in scripts],  # noqa: S704
        content=Markup(as_json(content)),  # noqa: S704  (holds no "<")
        relief=Markup(as_json(relief)),  # noqa: S704
    )


def _fingerprint(text: str) -> str:
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    return f"'sha256-{base64.b64encode(digest).decode('ascii')}'"
