"""Shares in points of per cent."""

from __future__ import annotations

from dataclasses import replace

from weldtrial.shared.responses import Margin, Response


def in_points(response: Response) -> Response:
    """Return the response with shares in points of per cent, its margin too."""
    margin = response.margin
    points = None if margin is None else Margin(100 * margin.value)
    return replace(response, unit="points", margin=points)
