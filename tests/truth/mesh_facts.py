"""Facts of triangle meshes from their definitions: closed, turned outwards, of which volume. Plain numpy."""

import numpy as np


def volume(vertices, faces):
    """Signed volume by the divergence theorem: positive where the corners run counter-clockwise from outside."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    middle = vertices.mean(axis=0)
    return float(np.einsum("ij,ij->i", a - middle, np.cross(b - middle, c - middle)).sum() / 6.0)


def check_closed(vertices, faces):
    """Every edge is run once each way, with points that coincide taken as one; the surface is turned outwards."""
    _, same = np.unique(vertices.round(9), axis=0, return_inverse=True)
    corners = same.reshape(-1)[faces]
    edges = np.concatenate([corners[:, [k, (k + 1) % 3]] for k in range(3)])
    edges = edges[edges[:, 0] != edges[:, 1]]
    net = np.zeros(0)
    low, high = edges.min(axis=1), edges.max(axis=1)
    keys, index = np.unique(np.column_stack([low, high]), axis=0, return_inverse=True)
    net = np.zeros(len(keys))
    np.add.at(net, index.reshape(-1), np.where(edges[:, 0] == low, 1, -1))
    assert (net == 0).all(), "an edge is open"
    assert volume(vertices, faces) > 0.0, "the surface is turned inwards"
