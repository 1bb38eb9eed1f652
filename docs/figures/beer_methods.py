"""Draw docs/figures/beer_methods.png: every method's answer over attenuation, against the balance.

Needs the extra `docs`:  pip install -e .[docs] && python docs/figures/beer_methods.py
"""

from __future__ import annotations

from pathlib import Path

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure

from xlfuncs.science import beer, wort
from xlfuncs.science.corrections import REGRESSIONS

WORTS = (8.0, 12.0, 16.0, 20.0)
PICTURE = Path(__file__).with_suffix(".png")


def draw() -> Figure:
    """One panel for each wort: method less balance, in thousandths of SG."""
    mpl.rcParams.update({"font.size": 9, "axes.spines.top": False, "axes.spines.right": False})
    figure = Figure(figsize=(8, 6.4), layout="constrained")
    panels = figure.subplots(2, 2, sharex=True, sharey=True)
    attenuation = np.linspace(0, 85, 171)
    for panel, original in zip(panels.flat, WORTS, strict=True):
        beers = beer.from_attenuation(original, attenuation)
        current = beers.brix() / wort.WORT_FACTOR
        panel.axhspan(-1, 1, color="0.92", lw=0)
        panel.axhline(0, color="black", lw=1.2, label="balance")
        for number, regression in enumerate(REGRESSIONS.values()):
            apart = 1000 * (regression.sg(original, current) - beers.sg)
            used = attenuation >= regression.lowest_attenuation
            colour = f"C{number}"
            panel.plot(attenuation[used], apart[used], color=colour, label=regression.name)
            if not used.all():
                panel.plot(attenuation[~used], apart[~used], color=colour, lw=0.8, ls=":")
        panel.set(title=f"wort of {original:.0f} °P", ylim=(-12, 12), xlim=(0, 85))
    for panel in panels[-1]:
        panel.set_xlabel("real attenuation, %")
    for panel in panels[:, 0]:
        panel.set_ylabel("method less balance, 0.001 SG")
    figure.legend(
        *panels[0, 0].get_legend_handles_labels(),
        loc="outside lower center",
        ncols=6,
        frameon=False,
    )
    return figure


if __name__ == "__main__":
    # No time or version in the file: it changes only when the picture does.
    draw().savefig(PICTURE, dpi=130, metadata={"Software": None})
