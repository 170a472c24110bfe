"""What trimesh measures of STL files.

Reads one JSON list of files, each as hexadecimal text, from standard input; writes the list of
answers: volume, surface, the three sides of the box, and 1 if the mesh is closed, else 0.
"""

import io
import json
import sys

import trimesh


def measured(text):
    mesh = trimesh.load_mesh(io.BytesIO(bytes.fromhex(text)), file_type="stl")
    return [mesh.volume, mesh.area, *mesh.extents.tolist(), float(mesh.is_watertight)]


json.dump([measured(text) for text in json.load(sys.stdin)], sys.stdout)
