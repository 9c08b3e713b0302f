"""The shell of every report: one HTML file that runs the scripts it was written with and fetches nothing."""

import base64
import hashlib
import json
from typing import Any

import plotly.graph_objects as go
from plotly.offline import get_plotlyjs

from dashboard.paper.markup import document, escaped
from dashboard.paper.panels import print_changes
from sim.units import from_si

STYLE = """
:root { --ink: #1a1a1a; --quiet: #4f4f4f; --rule: #b9b9b9; --warn: #d55e00; --calm: #0072b2; --band: #f4f1ea; }
* { box-sizing: border-box; }
html { color: var(--ink); background: #fff; font: 15px/1.45 Arial, Helvetica, "Liberation Sans", sans-serif; }
body { margin: 0 auto; max-width: 1240px; padding: 18px 26px 60px; }
h1 { font-size: 1.75rem; line-height: 1.2; margin: 0 0 6px; padding: 4px 0 8px; border-bottom: 6px solid var(--calm); }
h1.warned { border-bottom-color: var(--warn); border-bottom-style: double; }
h2 { font-size: 1.2rem; margin: 34px 0 6px; padding-top: 8px; border-top: 2px solid var(--ink); }
p { margin: 6px 0; max-width: 82ch; }
dl.what { display: grid; grid-template-columns: max-content 1fr; gap: 2px 16px; margin: 8px 0; }
dl.what dt { color: var(--quiet); } dl.what dd { margin: 0; }
ul.said { margin: 10px 0; padding: 0; list-style: none; }
ul.said li { padding: 3px 0 3px 12px; margin: 3px 0; border-left: 4px solid var(--rule); }
ul.said li.warning { border-left: 6px double var(--warn); font-weight: bold; }
ul.said li b { display: inline-block; min-width: 6.2em; }
.cautions { background: var(--band); border: 1px solid var(--rule); padding: 8px 14px; margin: 14px 0; }
.cautions p { margin: 2px 0; max-width: none; }
table { border-collapse: collapse; font-variant-numeric: tabular-nums; }
caption { text-align: left; color: var(--quiet); padding: 4px 0; }
th, td { text-align: left; vertical-align: top; padding: 2px 16px 2px 0; border-bottom: 1px solid #e4e4e4; }
thead th { border-bottom: 1.5px solid var(--ink); }
td.number, th.number { text-align: right; white-space: nowrap; }
.pair { display: grid; grid-template-columns: repeat(auto-fit, minmax(400px, 1fr)); gap: 0 44px; align-items: start; }
.pair td.number { white-space: normal; }
.wide { overflow-x: auto; }
figure { margin: 8px 0 4px; } figcaption { color: var(--quiet); font-size: .9rem; max-width: 100ch; }
details { margin: 10px 0; } summary { cursor: pointer; font-weight: bold; padding: 3px 0; }
summary:focus-visible, input:focus-visible, .wide:focus-visible { outline: 3px solid var(--calm); outline-offset: 2px; }
.filtered > label { display: inline-block; margin: 2px 16px 2px 0; white-space: nowrap; }
.filtered > .wide { margin-top: 8px; }
pre { white-space: pre-wrap; overflow-wrap: anywhere; }
.small { font-size: .86rem; } td.word { overflow-wrap: anywhere; min-width: 9em; }
@media print {
  @page { margin: 12mm; }
  html { font-size: 10.5px; color: #000; } body { max-width: none; padding: 0; }
  h1, h2, h3, summary { break-after: avoid; } h2 { margin-top: 16px; }
  tr, .cautions, ul.said li { break-inside: avoid; } thead { display: table-header-group; }
  figure { break-inside: avoid; width: 690px; overflow: visible; } .page { break-before: page; }
  .pair { grid-template-columns: 1fr 1fr; gap: 0 24px; } .wide { overflow: visible; }
  .modebar-container, .onscreen, .filtered > label { display: none; }
  .small { font-size: 8.5px; } th, td { padding-right: 8px; } .cautions { background: #fff; }
}
"""

# draws the figures; keeps the mile axis beside the kilometres; lays figures out for paper and back
SCRIPT = """
"use strict";
(function () {
  var figures = JSON.parse(document.getElementById("figures").textContent);
  var config = {responsive: true, displaylogo: false, showTips: false,
                modeBarButtonsToRemove: ["select2d", "lasso2d", "autoScale2d"]};
  var names = Object.keys(figures);
  names.forEach(function (name) {
    var figure = figures[name], box = document.getElementById(name);
    box.style.height = figure.screen.height + "px";
    Plotly.newPlot(box, figure.data, figure.layout, config);
    if (!figure.miles_per_km) { return; }
    box.on("plotly_relayout", function () {
      var from = box.layout.xaxis.range, to = box.layout.xaxis2.range;
      var wanted = [from[0] * figure.miles_per_km, from[1] * figure.miles_per_km];
      if (Math.abs(wanted[0] - to[0]) + Math.abs(wanted[1] - to[1]) > 1e-9) {
        Plotly.relayout(box, {"xaxis2.range": wanted});
      }
    });
  });
  function lay(way) {
    names.forEach(function (name) {
      var box = document.getElementById(name), changes = figures[name][way];
      box.style.height = changes.height + "px";
      Plotly.relayout(box, changes);
    });
  }
  var onPaper = false;
  function paper() { if (!onPaper) { onPaper = true; lay("paper"); } }
  function fit() { names.forEach(function (name) { Plotly.Plots.resize(document.getElementById(name)); }); }
  function screen() {
    if (onPaper) { onPaper = false; lay("screen"); }
    window.requestAnimationFrame(fit);
  }
  window.addEventListener("beforeprint", paper);
  window.addEventListener("afterprint", screen);
  window.matchMedia("print").addEventListener("change", function (change) { (change.matches ? paper : screen)(); });
  document.documentElement.setAttribute("data-drawn", String(names.length));
})();
"""

PAPER_WIDTH = 690  # px
LOOK = '<span class="onscreen">Drag sideways to look closer; double-click to go back.</span>'


# ---------------------------------------------------------------- pieces


def as_json(value: Any) -> str:
    """JSON that may stand in a page: nothing in it can end the element it stands in."""
    text = json.dumps(value, separators=(",", ":"), allow_nan=False)
    for letter in "<>&\u2028\u2029":
        text = text.replace(letter, f"\\u{ord(letter):04x}")
    return text


def _drawing(figure: go.Figure, stacked: bool) -> dict[str, Any]:
    """A figure for the script of the page: lines, layout, and what changes for paper and back."""
    plain = json.loads(figure.to_json())
    layout = plain["layout"]
    paper = print_changes(figure) if stacked else {"width": PAPER_WIDTH, "height": layout["height"]}
    screen: dict[str, Any] = {"width": None, "autosize": True}
    for name in paper:
        if name != "width":
            value: Any = layout
            for step in name.split("."):
                value = value.get(step) if value is not None else None
            screen[name] = value
    drawing = {"data": plain["data"], "layout": layout, "paper": paper, "screen": screen}
    if stacked:
        drawing["miles_per_km"] = from_si(1000.0, "mi")
    return drawing


def _hash(script: str) -> str:
    """A script as the content policy names it."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()}'"


def page(title: str, body: str, figures: dict[str, tuple[go.Figure, bool]]) -> str:
    """The whole file.

    Parameters
    ----------
    body : str
        HTML.
    figures : dict
        Figure, and whether it is a stacked one, by the name of its place.
    """
    library = get_plotlyjs()
    data = as_json({name: _drawing(*figure) for name, figure in figures.items()})
    scripts = (
        f'<script type="application/json" id="figures">{data}</script>\n'
        f"<script>{library}</script>\n<script>{SCRIPT}</script>\n"
    )
    allowed = f"script-src {_hash(library)} {_hash(SCRIPT)}; img-src data: blob:; "
    return document(title, STYLE, body, scripts, allowed)


def figure_place(name: str, label: str, caption: str) -> str:
    """The place of a figure.

    Parameters
    ----------
    label : str
        What it shows, for those who do not see it.
    caption : str
        HTML.

    Returns
    -------
    text : str
        HTML.
    """
    return (
        f'<figure><div id="{name}" role="img" aria-label="{escaped(label)}"></div>'
        f"<figcaption>{caption}</figcaption></figure>"
    )
