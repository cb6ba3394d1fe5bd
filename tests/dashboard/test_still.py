"""What only says something is sent as one element and built in the browser: the same elements as components would make, and nothing else."""

import json
from pathlib import Path

import dash
import pytest
from dash import Input, Output, dcc, html
from playwright.sync_api import expect

import dashboard
from dashboard.components.still import MARK, still
from tests.dashboard.conftest import answering

HOSTILE = '<img src=x onerror="alert(1)"> & "quotes"'


def table():
    return html.Table(
        [
            html.Caption("Lux"),
            html.Tbody(
                [
                    html.Tr([html.Th("Room", scope="row"), html.Td(3.5, colSpan=2, className="n")]),
                    html.Tr(
                        [
                            html.Td(HOSTILE, title=HOSTILE),
                            html.Td(html.I(style={"marginLeft": "3px"}), **{"data-label": "Sign"}),
                        ]
                    ),
                ]
            ),
        ],
        className="plain",
        **{"aria-label": "Measured"},
    )


def many(component):
    """How many components there are in a tree."""
    return 1 + sum(1 for _ in component._traverse())


def test_a_part_that_only_says_something_is_one_component():
    before, after = table(), still(table())

    assert (many(before), many(after)) == (10, 1)
    [caption, body] = json.loads(getattr(after, MARK))
    assert caption == ["caption", {}, ["Lux"]]
    assert body[2][0][2] == [["th", {"scope": "row"}, ["Room"]], ["td", {"colspan": "2", "class": "n"}, ["3.5"]]]
    assert body[2][1][2][0] == ["td", {"title": HOSTILE}, [HOSTILE]]


@pytest.mark.parametrize(
    "more",
    [
        html.Button("Undo", id="undo"),
        html.Span("counted", n_clicks=0),
        html.Span("named", id="somebody"),
        dcc.Link("Room", href="/room"),
        html.A("elsewhere", href="//elsewhere.example/x"),
        html.A("a script", href="javascript:alert(1)"),
        html.Iframe(src="/x"),
    ],
    ids=lambda c: type(c).__name__ + str(c.children),
)
def test_what_can_be_pressed_asked_for_or_followed_stays_a_component(more):
    kept = still([html.Div([html.Ul([html.Li("said"), html.Li("as well")]), more])])

    [div] = kept
    assert not hasattr(div, MARK)
    assert div.children[1] is more
    # What lies beside it is not held back.
    assert json.loads(getattr(div.children[0], MARK)) == [["li", {}, ["said"]], ["li", {}, ["as well"]]]


def test_text_alone_and_nothing_stay_as_they_are():
    assert still(["a", None, 3]) == ["a", None, 3]
    assert still(html.P("said")).children == "said"
    assert still(html.Div([])).children == []


def application():
    """Says the same by turns as components, built in the browser, and otherwise."""
    app = dash.Dash("turns", assets_folder=str(Path(dashboard.__file__).parent / "assets"), serve_locally=True)
    said = [
        lambda: html.Div([table(), html.P("Beside it.")]),
        lambda: still(html.Div([table(), html.P("Beside it.")])),
        lambda: still(html.Div([html.P(["Other ", html.Strong("words")])])),
        lambda: html.Div([html.Span("One"), html.Button("Two", id="two")]),
        html.Div,
    ]
    app.layout = html.Div([dcc.Input(id="turn", type="number", value=0), html.Div(id="place")])

    @app.callback(Output("place", "children"), Input("turn", "value"))
    def show(turn):
        return said[int(turn)]()

    return app


@pytest.mark.browser
@pytest.mark.parametrize("page", [(1280, 900)], indirect=True, ids=["1280 px"])
def test_the_browser_builds_the_same_and_keeps_it_apart_from_components(page):
    inner = "document.querySelector('#place > div').innerHTML"
    with answering(application().server) as url:
        page.goto(url)
        place, turn = page.locator("#place"), page.locator("#turn")
        expect(place.locator("caption")).to_have_text("Lux")
        of_components = page.evaluate(inner)
        for to, count, words in (
            (1, 1, "Beside it."),
            (2, 0, "Other words"),
            (1, 1, "Beside it."),
            (3, 0, "OneTwo"),
            (2, 0, "Other words"),
            (4, 0, ""),
            (1, 1, "Beside it."),
            (0, 1, "Beside it."),
        ):
            turn.fill(str(to))
            expect(place.locator("table")).to_have_count(count)
            expect(place).to_have_text(words if not count else f"LuxRoom3.5{HOSTILE}Beside it.")
            if to < 2:
                assert page.evaluate(inner) == of_components
        assert page.locator("#place img").count() == 0
