"""Central composites: a cube, star points on the axes and centre points, for curved surfaces.

The planned range is what may be welded, so nothing leaves it unless asked: star points stand on the
faces of the cube (``face``), or at the ends of the range with the cube inside (``inside``).  With
``outside`` they stand beyond the range.  The last two are one design at two scales.

References
----------
Box & Wilson (1951). *Journal of the Royal Statistical Society B* 13:1-45.
Box & Hunter (1957). *Annals of Mathematical Statistics* 28:195-241 (rotatable, blocks; both from
memory).
Draper & John (1988). *Technometrics* 30:423-428 (with categories; from memory).
NIST/SEMATECH (2003). *e-Handbook of Statistical Methods*, 5.3.3.6 (read).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Literal

from weldtrial.doe.blocks import MOST_RUNS, block
from weldtrial.doe.catalogue import catalogue
from weldtrial.doe.family import (
    Family,
    categories_of,
    coded,
    crossed,
    how_many_combinations,
    middle,
    numbers_of,
    opened,
    refuse_untold,
    said,
    titles,
    with_categories,
)
from weldtrial.doe.fractions import Fraction, fraction
from weldtrial.shared.coding import Point
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import PlanRefused
from weldtrial.shared.terms import model_terms

Star = Literal["inside", "face", "outside"]
Distance = Literal["rotatable", "spherical"]
STARS = ("inside", "face", "outside")
DISTANCES = ("rotatable", "spherical")
CLOSE = 1e-9


@dataclass(frozen=True, slots=True)
class _Shape:
    """Counts of a central composite, in coupons.

    Attributes
    ----------
    numbers
        Numeric factors.
    cube
        All coupons of the cube.
    under
        Combinations of the categories: how often star and centre points are repeated.
    cube_blocks
        Blocks of the cube, 0 where nothing is cut.
    """

    numbers: int
    cube: int
    under: int
    cube_blocks: int

    @property
    def rotatable(self) -> float:
        """Distance at which the precision of the curved surface depends on distance alone."""
        # Two square roots are the same to the last bit on every machine; a fourth root is not.
        return sqrt(sqrt(self.cube / self.under))

    def orthogonal(self, cube_centre: int, star_centre: int) -> float:
        """Distance at which blocks shift nothing, for centre points in all cube and star blocks.

        Every block then has its share of each sum of squares in proportion to its coupons.
        """
        stars = 2 * self.numbers * self.under
        return sqrt(
            self.cube * (stars + star_centre) / (2 * self.under * (self.cube + cube_centre))
        )

    def splits(self, centre: int) -> Iterator[tuple[int, int]]:
        """Yield the ways of sharing centre points: all in the cube's blocks, in the star's."""
        unit = self.under * self.cube_blocks
        for in_cube in range(0, centre + 1, unit):
            if (centre - in_cube) % self.under == 0:
                yield in_cube, centre - in_cube


def central_composite(
    factors: Sequence[Factor],
    *,
    star: Star | None = None,
    distance: Distance | None = None,
    whole_cube: bool = False,
    centre_points: int | None = None,
    blocks: int = 1,
) -> Family:
    """Return a central composite design.

    The cube is the smallest two-level fraction of numbers and two-level categories that keeps main
    effects and two-factor interactions clear (all combinations up to four of them, a half from
    five on), welded under every combination of the other categories.  Star and centre points are
    welded under every combination of all categories.

    Parameters
    ----------
    factors
        Varied factors, two or more of them numbers.
    star
        On the ``face`` of the cube, ``inside`` the planned range (the cube shrinks), or
        ``outside``; None for ``face`` in one block and ``inside`` in several, which the faces
        do not allow.
    distance
        ``rotatable``, which None stands for, or ``spherical`` (stars and corners equally far out);
        not to be given for the faces or with blocks, which settle it.
    whole_cube
        Weld all combinations in the cube where a fraction would do.
    centre_points
        In the whole trial; None for 5 with two numbers and 6 with more, shared over the categories.
    blocks
        1; 2 for cube and star; 3, 5, ... with the cube cut as well.  The distance is then the one
        at which blocks shift no effect, the centre points shared to bring it near the rotatable.

    Raises
    ------
    PlanRefused
        When the factors do not fit, it cannot be cut so, or something cannot be told.
    """
    star = star or ("inside" if blocks > 1 else "face")
    _refuse_words(star, distance, blocks)
    numbers, categories = numbers_of(factors), categories_of(factors)
    in_cube = (*numbers, *(one for one in categories if len(one.levels) == 2))
    more = tuple(one for one in categories if len(one.levels) > 2)
    _refuse_few(numbers)
    cube = _cube(in_cube, whole=whole_cube)
    shape = _Shape(
        len(numbers),
        cube.runs * how_many_combinations(more),
        how_many_combinations(categories),
        blocks - 1,
    )
    part = _parts(cube, blocks)
    centre = _centre(shape, centre_points)
    held, alpha = _shared(shape, star, distance, centre)
    inner, outer = (1 / alpha, 1.0) if star == "inside" else (1.0, alpha)
    rows = [[inner * sign for sign in row] for row in cube.signs]
    points = crossed([coded(in_cube, row) for row in rows], more, factors)
    number = part * how_many_combinations(more)
    points += crossed(_stars(numbers, outer), categories, factors)
    number += [blocks] * (2 * len(numbers) * shape.under)
    for one, many in enumerate(held, 1):
        points += crossed([middle(numbers, {})] * (many // shape.under), categories, factors)
        number += [one] * many
    family = Family(
        points=points,
        block=tuple(number) if blocks > 1 else None,
        centre=centre,
        name=_name(shape, star, blocks) + with_categories(categories),
        notes=tuple(_notes(shape, in_cube, categories, cube, star, distance, alpha, held)),
        model=model_terms(factors, "quadratic"),
        star=alpha,
    )
    return refuse_untold(family, factors, "Add centre points:  centre_points = 6.")


def _refuse_words(star: str, distance: str | None, blocks: int) -> None:
    if star not in STARS:
        raise PlanRefused(f"Star points stand inside, face or outside; '{star}' is none of them.")
    if distance is None:
        return
    if distance not in DISTANCES:
        raise PlanRefused(f"The star distance is rotatable or spherical; '{distance}' is neither.")
    if star == "face" or blocks > 1:
        what = "Star points on the faces" if star == "face" else "Blocks that touch no effect"
        raise PlanRefused(
            f"{what} leave no star distance to choose. Leave the distance out"
            + (', or say  star = "inside".' if blocks == 1 else ", or weld it in one block.")
        )


def _refuse_few(numbers: Sequence[Factor]) -> None:
    if len(numbers) < 2:
        raise PlanRefused(
            "A central composite needs two numeric factors or more; there "
            f"{'is one' if numbers else 'are none'}. For one, weld three levels of it:  "
            'kind = "factorial".'
        )


def _cube(factors: Sequence[Factor], *, whole: bool) -> Fraction:
    names = tuple(factor.name for factor in factors)
    many = len(names)
    clear = [one.runs for one in catalogue() if one.factors == many and one.resolution >= 5]
    runs = 2**many if whole else min(clear, default=2**many)
    if runs > MOST_RUNS:
        raise PlanRefused(
            f"{many} factors in the cube of a central composite are too many: with pairs clear of "
            f"one another it would take {runs} coupons. Screen first:  kind = "
            '"definitive-screening".'
        )
    return fraction(names, runs)


def _parts(cube: Fraction, blocks: int) -> list[int]:
    """Return the block of each run of the cube, counted from 1; the star is the last block."""
    allowed = [2]
    if blocks in (1, 2):
        return [1] * cube.runs
    cuts: dict[int, list[int]] = {}
    for many in (2, 4, 8):
        if cube.runs // many < 4:
            break
        try:
            cut = block(cube, many)
        except PlanRefused:
            break
        if cut.two_factor:
            break
        cuts[many + 1] = list(cut.numbers)
        allowed.append(many + 1)
    if blocks not in cuts:
        raise PlanRefused(
            f"This central composite cannot be cut in {blocks} blocks that hide no pair of "
            f"factors. Use {' or '.join(str(one) for one in allowed)} blocks: the star is one, and "
            "the cube the rest."
        )
    return cuts[blocks]


def _centre(shape: _Shape, asked: int | None) -> int:
    if asked is None:
        wanted = 5 if shape.numbers == 2 and not shape.cube_blocks else 6
        least = 1 + shape.cube_blocks if shape.cube_blocks else 1
        return shape.under * max(-(-wanted // shape.under), least)
    if asked % shape.under:
        raise PlanRefused(
            f"centre_points = {asked} cannot be shared evenly over the {shape.under} combinations "
            "of the categories, which have no middle. Use  centre_points = "
            f"{-(-asked // shape.under) * shape.under}."
        )
    return asked


def _shared(
    shape: _Shape, star: Star, distance: Distance | None, centre: int
) -> tuple[tuple[int, ...], float]:
    """Return the centre points of each block and the star distance in half cubes."""
    if not shape.cube_blocks:
        plain = sqrt(shape.numbers) if distance == "spherical" else shape.rotatable
        return (centre,), 1.0 if star == "face" else plain
    wanted = 1.0 if star == "face" else shape.rotatable
    ways = [(one, shape.orthogonal(*one)) for one in shape.splits(centre)]
    if not ways:
        raise PlanRefused(
            f"centre_points = {centre} cannot be shared over the blocks. Use  centre_points = "
            f"{shape.under * (shape.cube_blocks + 1)}."
        )
    (in_cube, in_star), alpha = min(ways, key=lambda one: (abs(one[1] - wanted), one[0]))
    if star == "face" and abs(alpha - 1) > CLOSE:
        raise PlanRefused(
            "With star points on the faces of the cube, blocks would shift the squares. Let them "
            'stand where blocks shift nothing:  star = "inside",  or weld it in one block.'
        )
    return (*(in_cube // shape.cube_blocks,) * shape.cube_blocks, in_star), alpha


def _stars(numbers: Sequence[Factor], outer: float) -> list[Point]:
    return [
        {one.name: sign * outer if one is axis else 0.0 for one in numbers}
        for axis in numbers
        for sign in (-1, 1)
    ]


def _name(shape: _Shape, star: Star, blocks: int) -> str:
    where = {"inside": "inside the range", "face": "on the faces", "outside": "outside the range"}
    cut = f", in {blocks} blocks" if blocks > 1 else ""
    return f"Central composite: {shape.numbers} numbers, star points {where[star]}{cut}"


def _notes(
    shape: _Shape,
    in_cube: Sequence[Factor],
    categories: Sequence[Factor],
    cube: Fraction,
    star: Star,
    distance: Distance | None,
    alpha: float,
    held: tuple[int, ...],
) -> Iterator[str]:
    stars = 2 * shape.numbers * shape.under
    yield (
        f"{shape.cube} coupons in the cube, {stars} star points and {sum(held) or 'none'} at the "
        "centre: main effects, pairs and bends of every number can all be told apart."
    )
    yield _where(star, alpha)
    yield _why(shape, star, distance, alpha)
    if cube.generators:
        yield (
            f"The cube is {cube.runs} of {2 ** len(in_cube)} combinations of {len(in_cube)} "
            "factors: enough for all pairs, given that three factors do not work together."
        )
    if categories:
        yield (
            f"{opened(titles(categories))} have no middle: star and centre points are welded "
            f"under every one of the {shape.under} combinations. All of them share one set of "
            "bends and pairs of the numbers; whether a bend depends on a category is not in the "
            "model."
        ).replace(" have no", " has no" if len(categories) == 1 else " have no")
    if len(held) > 1:
        yield (
            f"Blocks {said([str(one) for one in range(1, len(held))])} hold the cube and "
            f"{held[0]} centre point{'' if held[0] == 1 else 's'}"
            f"{' each' if len(held) > 2 else ''}, block {len(held)} the star and {held[-1]}: "
            "what differs between blocks touches no effect."
        ).replace("Blocks 1 hold", "Block 1 holds")


def _where(star: Star, alpha: float) -> str:
    if star == "face":
        return "Star points lie on the faces of the cube: three settings of each number."
    if star == "inside":
        return (
            "Star points stand at the ends of the planned range and the cube at "
            f"{1 / alpha:.3f} of it: nothing outside the range is welded, and the corners, where "
            "all are at their ends, are not either. Against corners at the ends, an interval for "
            f"how two numbers work together is {alpha**2:.1f} times as wide."
        )
    return (
        f"Star points stand at {alpha:.3f} times the half range: OUTSIDE what the levels say may "
        "be welded. Look at each of them before you strike an arc."
    )


def _why(shape: _Shape, star: Star, distance: Distance | None, alpha: float) -> str:
    if star == "face":
        return (
            "Within the range this tells pairs and bends more sharply than a cube drawn inside it "
            '(star = "inside"); star points further out would tell bends more sharply still.'
        )
    if shape.cube_blocks and abs(alpha - shape.rotatable) > CLOSE:
        return (
            f"The distance, {alpha:.3f} of the cube's, is the one at which blocks shift nothing; "
            f"{shape.rotatable:.3f} would make the precision alike in all directions."
        )
    if distance == "spherical" and not shape.cube_blocks:
        return (
            f"Star points and corners of the cube are equally far from the centre, {alpha:.3f} of "
            "the cube's half width."
        )
    return (
        f"The distance, {alpha:.3f} of the cube's, makes the precision of a prediction depend on "
        "how far from the centre it is, not on the direction."
    )
