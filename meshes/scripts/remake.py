"""Write the drawing and the two reference meshes of this folder anew: python meshes/scripts/remake.py."""

from pathlib import Path

import ezdxf
import meshio
import numpy as np
import skfem

from airpath.field.outlinefile import load_outline

FOLDER = Path(__file__).resolve().parent.parent


def drawing() -> None:
    """Draw fog-signal.toml as a DXF file in millimetres."""
    outline = load_outline(FOLDER / "fog-signal.toml")
    ezdxf.options.write_fixed_meta_data_for_testing = True
    document = ezdxf.new("R2000", units=4)
    space = document.modelspace()

    def millimetres(path):
        return np.round(path * 1e3, 6).tolist()

    space.add_lwpolyline(millimetres(outline.points), close=True, dxfattribs={"layer": "WALL"})
    space.add_lwpolyline(millimetres(outline.centreline), dxfattribs={"layer": "CENTRE"})
    for name, segment in outline.openings.items():
        space.add_line(*millimetres(segment), dxfattribs={"layer": name})
    document.saveas(FOLDER / "fog-signal.dxf")


def reference(mesh, name: str, groups: dict) -> None:
    """Write a mesh with its named groups of boundary facets in metres."""
    solid = mesh.p.shape[0] == 3
    points = mesh.p.T if solid else np.c_[mesh.p.T, np.zeros(mesh.p.shape[1])]
    main = mesh.t.T.copy()
    turned = np.linalg.det(mesh.p.T[main[:, 1:]] - mesh.p.T[main[:, :1]]) < 0.0
    main[turned, :2] = main[turned, 1::-1]
    cells, tags = [("tetra" if solid else "triangle", main)], [np.full(mesh.t.shape[1], 1)]
    field_data = {"air": np.array([1, 2 + solid])}
    for tag, (group, inside) in enumerate(groups.items(), start=2):
        facets = mesh.facets[:, mesh.facets_satisfying(inside, boundaries_only=True)].T
        cells.append(("triangle" if solid else "line", facets))
        tags.append(np.full(len(facets), tag))
        field_data[group] = np.array([tag, 1 + solid])
    data = {"gmsh:physical": tags, "gmsh:geometrical": tags}
    written = meshio.Mesh(points, cells, cell_data=data, field_data=field_data)
    meshio.gmsh.write(FOLDER / name, written, "2.2", binary=False, float_fmt=".6g")


if __name__ == "__main__":
    drawing()
    booth = skfem.MeshTri.init_tensor(np.linspace(0.0, 0.24, 7), np.linspace(0.0, 0.16, 5))
    reference(
        booth,
        "ticket-booth.msh",
        {
            "driver": lambda x: (x[0] < 1e-9) & (x[1] < 0.081),
            "slot": lambda x: (x[0] > 0.24 - 1e-9) & (x[1] > 0.119),
        },
    )
    lantern = skfem.MeshTet.init_tensor(*(np.linspace(0.0, side, 4) for side in (0.12, 0.1, 0.133)))
    reference(
        lantern,
        "lantern-slot.msh",
        {
            "driver": lambda x: (x[0] < 1e-9) & (x[1] < 0.067),
            "nose": lambda x: (x[2] > 0.133 - 1e-9) & (x[0] > 0.079) & (x[1] > 0.066),
        },
    )
