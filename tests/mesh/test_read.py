"""Reading mesh files: the same mesh from every format, and one sentence for everything else."""

import io
import json
import struct
import warnings
import zipfile

import numpy as np
import pytest
import trimesh

from padlib.errors import MeshError
from padlib.mesh.read import KINDS, read_mesh
from padlib.mesh.repair import is_closed_manifold

BALL = trimesh.creation.icosphere(2, radius=850.0)


def _saved(folder, kind):
    path = folder / f"ball.{kind}"
    if kind == "gltf":
        for name, data in trimesh.Scene(BALL).export(file_type="gltf").items():
            (folder / name).write_bytes(data)
        (folder / "model.gltf").rename(path)
    else:
        BALL.export(path)
    return path


def _ply(points, faces):
    head = (
        f"ply\nformat ascii 1.0\nelement vertex {len(points)}\nproperty float x\n"
        f"property float y\nproperty float z\nelement face {len(faces)}\n"
        "property list uchar int vertex_indices\nend_header\n"
    )
    rows = [*points, *(f"{len(f.split())} {f}" for f in faces)]
    return (head + "\n".join(rows) + "\n").encode()


@pytest.mark.parametrize("kind", KINDS)
def test_every_format_gives_the_same_closed_ball(tmp_path, kind):
    """All seven formats give the same volume and one closed manifold."""
    surface = read_mesh(_saved(tmp_path, kind))
    assert is_closed_manifold(surface.faces)
    again = trimesh.Trimesh(surface.vertices, surface.faces, process=False)
    assert again.volume == pytest.approx(BALL.volume, rel=1e-5)


def test_a_scene_is_put_together_with_its_transforms(tmp_path):
    """A ball moved up by 3000 and one drawn twice as large keep their places and sizes."""
    scene = trimesh.Scene()
    scene.add_geometry(BALL, transform=trimesh.transformations.translation_matrix([0, 0, 3000]))
    scene.add_geometry(BALL, transform=np.diag([2.0, 2.0, 2.0, 1.0]))
    scene.export(tmp_path / "two.glb")
    surface = read_mesh(tmp_path / "two.glb")
    assert len(surface.faces) == 2 * len(BALL.faces)
    assert surface.vertices[:, 2].max() == pytest.approx(3850.0, rel=1e-6)
    assert surface.vertices[:, 2].min() == pytest.approx(-1700.0, rel=1e-6)


@pytest.mark.parametrize("kind", ["ply", "obj", "off"])
def test_polygons_are_cut_into_triangles_of_the_same_area(tmp_path, kind):
    """A unit square as one quad becomes two triangles of area 1 together."""
    points = ["0 0 0", "1 0 0", "1 1 0", "0 1 0"]
    text = {
        "ply": _ply(points, ["0 1 2 3"]).decode(),
        "obj": "".join(f"v {p}\n" for p in points) + "f 1 2 3 4\n",
        "off": "OFF\n4 1 0\n" + "\n".join(points) + "\n4 0 1 2 3\n",
    }[kind]
    path = tmp_path / f"square.{kind}"
    path.write_text(text)
    surface = read_mesh(path)
    assert trimesh.Trimesh(surface.vertices, surface.faces).area == pytest.approx(1.0)


def _newer_zip():
    """A packed file whose table asks for an unpacker of version 14.8."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as packed:
        packed.writestr("3D/3dmodel.model", "<model/>")
    data = out.getvalue()
    return data.replace(b"PK\x01\x02\x14\x03\x14\x00", b"PK\x01\x02\x14\x03\x94\x00")


TRIANGLE = ["0 0 0", "1 0 0", "0 1 0"]
BAD = {
    "empty.ply": (b"", "is empty"),
    "words.ply": (b"milk, bread, 3 eggs\n", "cannot be read as PLY"),
    "words.stl": (b"milk, bread, 3 eggs\n", "no faces"),
    "words.obj": (b"milk, bread, 3 eggs\n", "no faces"),
    "words.off": (b"milk, bread, 3 eggs\n", "cannot be read as OFF"),
    "words.glb": (b"milk, bread, 3 eggs\n", "cannot be read as GLB"),
    "words.gltf": (b"milk, bread, 3 eggs\n", "cannot be read as GLTF"),
    "words.3mf": (b"milk, bread, 3 eggs\n", "cannot be read as 3MF"),
    "noise.glb": (bytes(range(256)) * 20, "cannot be read as GLB"),
    "scan.xyz": (b"0 0 0\n", "has the ending .xyz"),
    "scan": (b"0 0 0\n", "has no ending"),
    "points.ply": (_ply(TRIANGLE, []), "no faces"),
    "nan.ply": (_ply(["0 0 nan", *TRIANGLE[1:]], ["0 1 2"]), "not finite"),
    "inf.ply": (_ply(["0 0 inf", *TRIANGLE[1:]], ["0 1 2"]), "not finite"),
    "far.ply": (_ply(["0 0 1e30", *TRIANGLE[1:]], ["0 1 2"]), "beyond"),
    "seven.ply": (_ply(TRIANGLE, ["0 1 7"]), "names vertex 7"),
    "minus.ply": (_ply(TRIANGLE, ["0 1 -2"]), "names vertex -2"),
    "nan.obj": (b"v 0 0 nan\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", "not finite"),
    "nine.obj": (b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 9\n", "cannot be read as OBJ"),
    "lies.ply": (
        _ply(TRIANGLE, ["0 1 2"]).replace(b"face 1", b"face 99999999"),
        "breaks off",
    ),
    "short.off": (b"OFF\n3 5 0\n0 0 0\n1 0 0\n0 1 0\n3 0 1 2\n" + b" " * 90, "breaks off"),
    "lies.stl": (bytes(80) + struct.pack("<I", 4_000_000_000) + bytes(50), "breaks off"),
    "newer.3mf": (_newer_zip(), "cannot be read as 3MF"),
    "unnamed.ply": (
        b"ply\nformat binary_little_endian 1.0\nelement vertex 3\npr\nend_header\n" + bytes(36),
        "cannot be read as PLY",
    ),
    "nothing.gltf": (json.dumps({"asset": {"version": "2.0"}}).encode(), "cannot|no faces"),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_files_give_one_sentence_that_names_the_file(tmp_path, name):
    """A file that cannot be used raises MeshError: one sentence, with its name and what is wrong."""
    data, words = BAD[name]
    path = tmp_path / name
    path.write_bytes(data)
    with pytest.raises(MeshError, match=words) as caught:
        read_mesh(path)
    message = str(caught.value)
    assert message.startswith(str(path))
    assert "\n" not in message
    assert message.endswith(".")


def test_missing_files_and_folders_are_named(tmp_path):
    """A path that is not there and a folder are told apart."""
    with pytest.raises(MeshError, match="is not there"):
        read_mesh(tmp_path / "gone.ply")
    with pytest.raises(MeshError, match="is a folder"):
        read_mesh(tmp_path)


@pytest.mark.parametrize("kind", ["ply", "stl", "glb", "gltf", "off", "3mf"])
@pytest.mark.parametrize("part", [0.1, 0.5, 0.9, 0.995])
def test_a_file_cut_short_is_refused(tmp_path, kind, part):
    """However much is missing, a cut file raises MeshError and never gives half a body."""
    path = _saved(tmp_path, kind)
    data = path.read_bytes()
    path.write_bytes(data[: int(part * len(data))])
    with pytest.raises(MeshError):
        read_mesh(path)


def test_too_much_is_refused_before_it_is_read(tmp_path):
    """Limits on faces, bytes and unpacked bytes hold; a packed bomb is never unpacked."""
    path = _saved(tmp_path, "ply")
    with pytest.raises(MeshError, match="320 faces and the limit is 100"):
        read_mesh(path, max_faces=100)
    with pytest.raises(MeshError, match="limit is 0 MB"):
        read_mesh(path, max_bytes=10)
    bomb = tmp_path / "bomb.3mf"
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("3D/3dmodel.model", bytes(150_000_000))
    with pytest.raises(MeshError, match="unpacks to 150 MB"):
        read_mesh(bomb)


def test_files_outside_of_the_folder_are_never_opened(tmp_path):
    """A glTF whose buffer lies above its folder is refused although the buffer is there."""
    inner = tmp_path / "inner"
    inner.mkdir()
    path = _saved(inner, "gltf")
    scene = json.loads(path.read_text())
    for buffer in scene["buffers"]:
        (inner / buffer["uri"]).rename(tmp_path / buffer["uri"])
        buffer["uri"] = "../" + buffer["uri"]
    path.write_text(json.dumps(scene))
    with pytest.raises(MeshError, match="outside of its folder"):
        read_mesh(path)


def test_reading_is_silent(tmp_path, capfd):
    """Neither a good nor a bad file makes trimesh print, log or warn."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        read_mesh(_saved(tmp_path, "obj"))
        (tmp_path / "bad.glb").write_bytes(bytes(2000))
        with pytest.raises(MeshError):
            read_mesh(tmp_path / "bad.glb")
    assert capfd.readouterr() == ("", "")
