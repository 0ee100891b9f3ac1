"""A scene as PNG, for where SVG cannot be shown.

It is drawn three times as large and made smaller, so that slanted lines are smooth.
"""

import io
from typing import Any

from daemon.chart import Box, Path, Scene, Words
from daemon.sheet import DEJAVU, FACES

SCALE, FINER = 2, 2  # pixels a point; drawn so much finer


def png(scene: Scene) -> bytes:
    """Draw a scene as PNG, two pixels a point."""
    from PIL import Image, ImageDraw

    by = SCALE * FINER
    size = (round(scene.width * by), round(scene.height * by))
    image = Image.new("RGB", size, "white")
    pen = ImageDraw.Draw(image)
    for mark in scene.marks:
        if isinstance(mark, Words):
            at = (mark.x * by, mark.y * by)
            anchor = {"start": "ls", "middle": "ms", "end": "rs"}[mark.anchor]
            font = _font(mark.size * by, bold=mark.bold)
            pen.text(at, mark.text, fill=_ink(mark), font=font, anchor=anchor)
        elif isinstance(mark, Box):
            corner = ((mark.x + mark.width) * by, (mark.y + mark.height) * by)
            grey = (mark.shade,) * 3
            pen.rectangle(((mark.x * by, mark.y * by), corner), fill=grey)
        elif mark.filled:
            pen.polygon([(x * by, y * by) for x, y in mark.points], fill=_ink(mark))
        else:
            width = max(round(mark.width * by), 1)
            for run in _dashed(mark):
                points = [(x * by, y * by) for x, y in run]
                pen.line(points, fill=_ink(mark), width=width, joint="curve")
    small = image.resize((size[0] // FINER, size[1] // FINER), Image.Resampling.BOX)
    out = io.BytesIO()
    small.save(out, "PNG", optimize=True)
    return out.getvalue()


def _ink(mark: Path | Words) -> Any:
    return mark.ink or (mark.shade,) * 3


def _font(size: float, *, bold: bool) -> Any:
    from PIL import ImageFont

    path = DEJAVU / FACES["B" if bold else ""]
    if path.is_file():
        return ImageFont.truetype(path, size * 0.92)  # as wide as the usual sans-serif
    return ImageFont.load_default(size)


def _dashed(path: Path) -> list[list[tuple[float, float]]]:
    """The runs that are drawn: all of a line without dashes, else each dash."""
    if not path.dash:
        return [list(path.points)]
    pattern = path.dash if len(path.dash) % 2 == 0 else path.dash * 2
    runs: list[list[tuple[float, float]]] = [[path.points[0]]]
    place, left, on = 0, pattern[0], True
    for (x0, y0), (x1, y1) in zip(path.points, path.points[1:], strict=False):
        long = ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5
        done = 0.0
        while long - done > left:
            done += left
            here = (x0 + (x1 - x0) * done / long, y0 + (y1 - y0) * done / long)
            if on:
                runs[-1].append(here)
            else:
                runs.append([here])
            place, on = (place + 1) % len(pattern), not on
            left = pattern[place]
        left -= long - done
        if on:
            runs[-1].append((x1, y1))
    return [run for run in runs if len(run) > 1]
