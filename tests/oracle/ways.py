# SPDX-License-Identifier: GPL-3.0-or-later
"""How a lead lies, worked out a second time: arcs of one radius and straight pieces, in metres or millimetres alike.

- dubins(): the shortest way from one place and heading to another without anything in the way, of an arc, a straight piece
  and an arc (L. E. Dubins, American Journal of Mathematics 79, 1957; from memory; where the ends are at least four radii
  apart no other kind is shorter).
- round_corners(): a way given by its corners, with an arc of the radius in each, as points close together and as a length.
- taut(): the length of a string without stiffness around rectangles: no lead can be shorter.
"""

import heapq
import itertools
import math

import numpy as np


def turn_of(angle):
    """An angle as 0 to 2 pi."""
    return angle % (2 * math.pi)


def dubins_ways(start, heading, end, arriving, radius):
    """The ways arc-straight-arc, at most four: (length, first turn's side, last one's, centres, angles turned)."""
    found = []
    for first, last in itertools.product((1, -1), repeat=2):  # 1: to the left
        a = (start[0] - first * radius * heading[1], start[1] + first * radius * heading[0])
        b = (end[0] - last * radius * arriving[1], end[1] + last * radius * arriving[0])
        dx, dy = b[0] - a[0], b[1] - a[1]
        apart = math.hypot(dx, dy)
        if first == last:
            straight, along = apart, math.atan2(dy, dx)
        else:
            if apart < 2 * radius:
                continue
            straight = math.sqrt(apart ** 2 - 4 * radius ** 2)
            along = math.atan2(dy, dx) + first * math.atan2(2 * radius, straight)
        one = turn_of(first * (along - math.atan2(heading[1], heading[0])))
        two = turn_of(last * (math.atan2(arriving[1], arriving[0]) - along))
        one, two = (0.0 if 2 * math.pi - t < 1e-9 else t for t in (one, two))
        found.append((straight + radius * (one + two), first, last, a, b, one, two))
    return found


def dubins(start, heading, end, arriving, radius):
    """The length of the shortest of them; headings as (dx, dy) of length 1."""
    return min(way[0] for way in dubins_ways(start, heading, end, arriving, radius))


def dubins_points(start, heading, end, arriving, radius):
    """The shortest of them as points."""
    _, first, last, a, b, one, two = min(dubins_ways(start, heading, end, arriving, radius))
    begin = math.atan2(start[1] - a[1], start[0] - a[0]) + first * np.linspace(0, one, 80)
    finish = math.atan2(end[1] - b[1], end[0] - b[0]) - last * np.linspace(two, 0, 80)
    arc = np.array(a) + radius * np.stack([np.cos(begin), np.sin(begin)], axis=1)
    other = np.array(b) + radius * np.stack([np.cos(finish), np.sin(finish)], axis=1)
    share = np.linspace(0, 1, 500)[:, None]
    return np.concatenate([arc, arc[-1] + (other[0] - arc[-1]) * share, other])


def round_corners(corners, radius, step=0.0005):
    """(length, points, room): the arcs put in, points no further apart than `step`; room is what is left of the
    straight pieces at least (below zero: two arcs overlap, the radius does not fit)."""
    corners = [np.array(c, dtype=float) for c in corners]
    if len(corners) < 2:
        return 0.0, np.array(corners), 0.0
    cuts = [0.0]
    bends = []
    for before, here, after in zip(corners, corners[1:], corners[2:]):
        u, v = (here - before) / np.linalg.norm(here - before), (after - here) / np.linalg.norm(after - here)
        angle = math.atan2(u[0] * v[1] - u[1] * v[0], float(u @ v))
        cuts.append(radius * math.tan(abs(angle) / 2))
        bends.append((here, u, v, angle))
    cuts.append(0.0)
    length, points, room = 0.0, [corners[0]], math.inf
    for i, (a, b) in enumerate(zip(corners, corners[1:])):
        size = np.linalg.norm(b - a)
        u = (b - a) / size
        left = size - cuts[i] - cuts[i + 1]
        room = min(room, left)
        length += left
        first, last = a + cuts[i] * u, b - cuts[i + 1] * u
        points += [first + (last - first) * t for t in np.linspace(0, 1, max(2, int(abs(left) / step) + 2))]
        if i < len(bends):
            here, u, v, angle = bends[i]
            length += radius * abs(angle)
            side = math.copysign(1.0, angle)
            normal = side * np.array([-u[1], u[0]])
            middle = here - cuts[i + 1] * u + radius * normal
            for t in np.linspace(0, angle, max(2, int(radius * abs(angle) / step) + 2)):
                turned = np.array([math.cos(t) * -normal[0] - math.sin(t) * -normal[1], math.sin(t) * -normal[0] + math.cos(t) * -normal[1]])
                points.append(middle + radius * turned)
    return length, np.array(points), room


def distance_to_box(points, box):
    """The least distance of points from a rectangle (left, front, width, depth); below zero: inside it."""
    x, y, w, d = box
    out_x = np.maximum(np.maximum(x - points[:, 0], points[:, 0] - x - w), -np.inf)
    out_y = np.maximum(np.maximum(y - points[:, 1], points[:, 1] - y - d), -np.inf)
    outside = np.hypot(np.maximum(out_x, 0), np.maximum(out_y, 0))
    return float(np.min(np.where((out_x <= 0) & (out_y <= 0), np.maximum(out_x, out_y), outside)))


def crosses(a, b, box):
    """Whether the straight piece from a to b runs through the inside of a rectangle."""
    x, y, w, d = box
    low, high = 0.0, 1.0
    for p, q, near, far in ((a[0], b[0], x, x + w), (a[1], b[1], y, y + d)):
        if abs(q - p) < 1e-12:
            if not near + 1e-9 < p < far - 1e-9:
                return False
            continue
        s, t = sorted(((near - p) / (q - p), (far - p) / (q - p)))
        low, high = max(low, s), min(high, t)
    return high - low > 1e-9


def taut(start, end, boxes):
    """The shortest way of a string around rectangles, over the graph of what corners see of each other."""
    nodes = [tuple(start), tuple(end)]
    for x, y, w, d in boxes:
        nodes += [(x, y), (x + w, y), (x, y + d), (x + w, y + d)]
    reached, queue = {}, [(0.0, 0)]
    while queue:
        far, i = heapq.heappop(queue)
        if i in reached:
            continue
        reached[i] = far
        if i == 1:
            return far
        for j in range(len(nodes)):
            if j not in reached and not any(crosses(nodes[i], nodes[j], box) for box in boxes):
                heapq.heappush(queue, (far + math.dist(nodes[i], nodes[j]), j))
    return math.inf
