"""Parts of a page that only say something, sent as one element each and built by ``assets/still.js``.

Every component on a page is asked again at every step of every callback: a table of 80 cells costs the browser 80 questions, some hundred times
while a page opens. What nobody presses, fills or fills in need not be a component. What is sent is as safe as components are: elements
and attributes by name from the lists below, text as text, never HTML.
"""

from __future__ import annotations

import json
from typing import Any, Final

from dash import html
from dash.development.base_component import Component

MARK: Final = "data-still"
"""Attribute that carries what is to be built inside an element."""
TAGS: Final = {
    getattr(html, name): name.lower()
    for names in (
        "A Abbr Code Details Div Em H2 H3 H4 I P Section Small Span Strong Summary Time",
        "Dd Dl Dt Li Ol Ul Caption Table Tbody Td Tfoot Th Thead Tr",
    )
    for name in names.split()
}
ATTRIBUTES: Final = {
    "className": "class",
    "colSpan": "colspan",
    "dateTime": "datetime",
    "href": "href",
    "lang": "lang",
    "open": "open",
    "role": "role",
    "rowSpan": "rowspan",
    "scope": "scope",
    "title": "title",
}
HOST: Final = html.Div._namespace
"""Whose components may have such things inside."""
Node = str | list[Any]


def still(children: Any) -> Any:
    """Take what only says something out of the components.

    Parameters
    ----------
    children
        As a component takes them: a component, text, a number, ``None`` or a list of them. Components are changed in place.

    Returns
    -------
    The same, where each largest part without anything that a callback could ask for or change is one component without children.
    """
    if isinstance(children, (list, tuple)):
        return [still(one) for one in children]
    if not isinstance(children, Component) or not hasattr(children, "children"):
        return children
    inner = children.children
    nodes = _nodes(inner)
    if nodes is None:
        children.children = still(inner)
    elif children._namespace == HOST and any(isinstance(n, list) for n in nodes):
        children.children = None
        setattr(children, MARK, json.dumps(nodes, ensure_ascii=False, separators=(",", ":")))
    return children


def _nodes(children: Any) -> list[Node] | None:
    """Write children down; ``None`` where one of them is more than something said."""
    if children is None:
        return []
    if isinstance(children, (list, tuple)):
        found: list[Node] = []
        for one in children:
            nodes = _nodes(one)
            if nodes is None:
                return None
            found += nodes
        return found
    if not isinstance(children, Component):
        return [str(children)] if isinstance(children, (str, int, float)) else None
    tag = TAGS.get(type(children))
    attributes = _attributes(children)
    inner = _nodes(getattr(children, "children", None))
    return None if tag is None or attributes is None or inner is None else [[tag, attributes, inner]]


def _attributes(component: Component) -> dict[str, Any] | None:
    found: dict[str, Any] = {}
    for name, value in component.to_plotly_json()["props"].items():
        if name == "children" or value is None or value is False:
            continue
        if name == "style":
            found["style"] = {_kebab(k): str(v) for k, v in value.items()}
        elif name in ATTRIBUTES or (name.startswith(("aria-", "data-")) and name != MARK):
            found[ATTRIBUTES.get(name, name)] = "" if value is True else str(value)
        else:
            return None
    return found if _goes_nowhere_else(found.get("href")) else None


def _goes_nowhere_else(href: str | None) -> bool:
    return href is None or (href[:1] in "/?#" and not href.startswith("//"))


def _kebab(name: str) -> str:
    return "".join(f"-{letter.lower()}" if letter.isupper() else letter for letter in name)
