"""Thinning curves to what a picture can show, without losing a peak."""
import numpy


def decimate(time, values, low, high, bins):
    """The part between `low` and `high`, thinned to `bins` columns.

    Of every column the first, the smallest, the largest and the last sample stay, in order of time: what is drawn
    covers exactly what the full curve would cover. The samples just outside the window stay too, so that the curve
    runs to the edge.
    """
    start = max(int(numpy.searchsorted(time, low, "left")) - 1, 0)
    stop = min(int(numpy.searchsorted(time, high, "right")) + 1, time.size)
    time, values = time[start:stop], values[start:stop]
    if time.size <= 4 * bins:
        return time, values
    edges = numpy.linspace(0, time.size, bins + 1).astype(int)
    keep = []
    for first, past in zip(edges[:-1], edges[1:]):
        piece = values[first:past]
        inner = [first, past - 1]
        if numpy.isfinite(piece).any():
            inner += [first + int(numpy.nanargmin(piece)), first + int(numpy.nanargmax(piece))]
        # A gap stays a gap.
        gaps = numpy.flatnonzero(~numpy.isfinite(piece))
        if gaps.size:
            inner.append(first + int(gaps[0]))
        keep.extend(sorted(set(inner)))
    return time[keep], values[keep]


def spread(wanted, gap, low, high):
    """Move positions apart until neighbours are `gap` from each other, as little as possible, within low..high."""
    if not wanted:
        return []
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    gap = min(gap, (high - low) / max(len(wanted) - 1, 1))
    # Blocks of touching labels, each centred on the mean of what its members want.
    blocks = []
    for i in order:
        blocks.append([[i], wanted[i]])
        while True:
            members, centre = blocks[-1]
            half = gap * (len(members) - 1) / 2.0
            blocks[-1][1] = centre = min(max(centre, low + half), high - half)
            if len(blocks) < 2:
                break
            before, before_centre = blocks[-2]
            if before_centre + gap * (len(before) - 1) / 2.0 + gap <= centre - half + 1e-9:
                break
            merged = before + members
            offsets = [wanted[m] - gap * k for k, m in enumerate(merged)]
            blocks[-2:] = [[merged, sum(offsets) / len(merged) + gap * (len(merged) - 1) / 2.0]]
    placed = [0.0] * len(wanted)
    for members, centre in blocks:
        first = centre - gap * (len(members) - 1) / 2.0
        for k, m in enumerate(members):
            placed[m] = first + gap * k
    return placed


class Occupied:
    """What already covers a panel, in pixels: curves and boxes. Finds free places for words."""

    def __init__(self, box):
        self.box = box
        self.curves = []
        self.boxes = []

    def add_curve(self, points):
        points = points[numpy.isfinite(points).all(axis=1)]
        if points.shape[0] > 1:
            self.curves.append(points)

    def cost(self, x0, y0, x1, y1, margin):
        """0 where the rectangle is free; grows with what it would cover."""
        left, bottom, right, top = self.box
        total = 0.0
        if x0 < left or x1 > right or y0 < bottom or y1 > top:
            total += 100.0
        for a0, b0, a1, b1 in self.boxes:
            if x0 < a1 and a0 < x1 and y0 < b1 and b0 < y1:
                total += 10.0
        for points in self.curves:
            x, y = points[:, 0], points[:, 1]
            edges = numpy.interp([x0, x1], x, y)
            inside = y[(x >= x0) & (x <= x1)]
            low = min(edges.min(), inside.min() if inside.size else edges.min())
            high = max(edges.max(), inside.max() if inside.size else edges.max())
            if low < y1 + margin and high > y0 - margin:
                total += 3.0
        return total

    def place(self, width, height, candidates, margin):
        """The first free of the candidate lower left corners, or the least bad one; it is taken from then on."""
        best = min(((self.cost(x, y, x + width, y + height, margin), k) for k, (x, y) in enumerate(candidates)))
        x, y = candidates[best[1]]
        self.boxes.append((x, y, x + width, y + height))
        return x, y, best[0] < 3.0
