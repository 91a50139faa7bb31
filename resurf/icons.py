"""The icons of the installed app, drawn as the mark is: `python -m resurf.icons` writes them beside it.

A basin below a dashed water line on paper. The maskable one keeps everything within the inner 80 % that a phone may
cut to any shape (W3C Web Application Manifest, section on icon masks).
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

from PIL import Image, ImageDraw

FOLDER: Final = Path(__file__).resolve().parent / "static" / "resurf"
PAPER: Final = "#f4f1ea"
DEEP: Final = "#1f4e5f"
GRID: Final = 32  # the mark is drawn on 32 x 32
FINER: Final = 4  # drawn so many times larger and scaled down, for smooth edges
SIZES: Final = {
    "app-180.png": (180, 0.80),
    "app-192.png": (192, 0.86),
    "app-512.png": (512, 0.86),
    "app-maskable-512.png": (512, 0.62),
}


def icon(size: int, share: float) -> Image.Image:
    """The mark on paper, *size* pixels square, its drawing over *share* of the width."""
    edge = FINER * size
    image = Image.new("RGB", (edge, edge), PAPER)
    pen = ImageDraw.Draw(image)
    step = edge * share / GRID
    origin = (edge - GRID * step) / 2

    def at(x: float, y: float) -> tuple[float, float]:
        return origin + x * step, origin + y * step

    pen.rectangle((*at(3, 6), *at(29, 15)), fill=DEEP)
    pen.pieslice((*at(3, 4), *at(29, 26)), 0, 180, fill=DEEP)
    for x in range(3, 29, 5):
        pen.rectangle((*at(x, 11), *at(min(x + 3, 29), 13)), fill=PAPER)
    return image.resize((size, size), Image.Resampling.LANCZOS)


def main() -> None:
    for name, (size, share) in SIZES.items():
        icon(size, share).save(FOLDER / name, optimize=True)


if __name__ == "__main__":
    main()
