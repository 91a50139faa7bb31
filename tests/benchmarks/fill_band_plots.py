"""Pictures of the back-test as plain SVG: PIT histogram and reliability."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

FOLDER: Final = Path(__file__).parent / "plots"
WIDTH: Final = 360
HEIGHT: Final = 300
LEFT: Final = 52
BOTTOM: Final = 250
SPAN_X: Final = 290
SPAN_Y: Final = 210
INK: Final = "#23313d"
BAR: Final = "#5b8aa6"
LINE: Final = "#b4552d"


def write_plots(report: dict[str, Any]) -> None:
    """Write both pictures of a report into the folder ``plots``."""
    FOLDER.mkdir(exist_ok=True)
    (FOLDER / "pit.svg").write_text(pit_svg(report), "utf-8")
    (FOLDER / "reliability.svg").write_text(reliability_svg(report), "utf-8")


def pit_svg(report: dict[str, Any]) -> str:
    """Ten bins of the randomised PIT; level bars mean a calibrated band."""
    bins = report["pit_bins"]
    top = max(0.2, max(bins))
    step = SPAN_X / len(bins)
    parts = [_axes("share of the band below what came true", "share of jobs", top)]
    for place, share in enumerate(bins):
        tall = SPAN_Y * share / top
        parts.append(
            f'<rect x="{LEFT + place * step + 1:.1f}" y="{BOTTOM - tall:.1f}" width="{step - 2:.1f}" '
            f'height="{tall:.1f}" fill="{BAR}"><title>{share:.3f}</title></rect>'
        )
    level = BOTTOM - SPAN_Y * 0.1 / top
    parts.append(
        f'<line x1="{LEFT}" y1="{level:.1f}" x2="{LEFT + SPAN_X}" y2="{level:.1f}" stroke="{LINE}" '
        'stroke-dasharray="5 3"/>'
    )
    title = f"Where the true fill day fell in its band, {report['jobs']} jobs"
    return _picture(title, "Histogram of the randomised PIT with the level 0.1 of a calibrated band.", parts)


def reliability_svg(report: dict[str, Any]) -> str:
    """Chance stated for "full by this day" against how often it came true."""
    parts = [_axes("chance stated", "came true", 1.0)]
    parts.append(
        f'<line x1="{LEFT}" y1="{BOTTOM}" x2="{LEFT + SPAN_X}" y2="{BOTTOM - SPAN_Y}" stroke="{LINE}" '
        'stroke-dasharray="5 3"/>'
    )
    for row in report["reliability"]:
        x, y = LEFT + SPAN_X * row["stated"], BOTTOM - SPAN_Y * row["came"]
        parts.append(
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4.5" fill="{BAR}"><title>stated {row["stated"]:.2f}, came true '
            f"{row['came']:.2f}, {row['number']} cases</title></circle>"
        )
    title = "Full by this day: stated and come true"
    return _picture(title, "Reliability: points on the broken line mean honest chances.", parts)


def _axes(x_words: str, y_words: str, top: float) -> str:
    marks = []
    for part in (0.0, 0.5, 1.0):
        x, y = LEFT + SPAN_X * part, BOTTOM - SPAN_Y * part
        marks.append(f'<text x="{x:.1f}" y="{BOTTOM + 16}" text-anchor="middle">{part:g}</text>')
        marks.append(f'<text x="{LEFT - 6}" y="{y + 4:.1f}" text-anchor="end">{top * part:.2f}</text>')
    return (
        f'<path d="M{LEFT} {BOTTOM - SPAN_Y}V{BOTTOM}H{LEFT + SPAN_X}" fill="none" stroke="{INK}"/>'
        + "".join(marks)
        + f'<text x="{LEFT + SPAN_X / 2:.1f}" y="{BOTTOM + 36}" text-anchor="middle">{x_words}</text>'
        + f'<text transform="translate(14 {BOTTOM - SPAN_Y / 2:.1f}) rotate(-90)" text-anchor="middle">{y_words}</text>'
    )


def _picture(title: str, words: str, parts: list[str]) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" '
        f'font-family="sans-serif" font-size="11" fill="{INK}">\n<title>{title}</title>\n<desc>{words}</desc>\n'
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#fff"/>\n'
        f'<text x="{LEFT}" y="22" font-size="13">{title}</text>\n' + "\n".join(parts) + "\n</svg>\n"
    )
