"""Mesh files spoilt by seed: a small human body in every format that padlib reads, and ways to damage a file."""

from __future__ import annotations

import io
import json
import re
import struct
import zipfile
from pathlib import Path

import numpy as np
import trimesh

KINDS = {  # name to ending
    "ply text": "ply",
    "ply": "ply",
    "obj": "obj",
    "stl text": "stl",
    "stl": "stl",
    "glb": "glb",
    "gltf": "gltf",
    "off": "off",
    "3mf": "3mf",
}
BOMB = 400_000_000  # bytes that a packed entry unpacks to
HUGE = ("999999999", "4294967295", "-1", "1e308", "nan", "inf", "0", "99999999999999999999", "x")


def originals(vertices, faces):
    """The bytes of a mesh (mm, written in metres) by name of the format; glTF carries its buffers inside."""
    mesh = trimesh.Trimesh(vertices * 1e-3, faces, process=False)
    out = {
        "ply text": mesh.export(file_type="ply", encoding="ascii"),
        "ply": mesh.export(file_type="ply"),
        "obj": mesh.export(file_type="obj"),
        "stl text": mesh.export(file_type="stl_ascii"),
        "stl": mesh.export(file_type="stl"),
        "glb": mesh.export(file_type="glb"),
        "gltf": _one_gltf(mesh.export(file_type="glb")),
        "off": mesh.export(file_type="off"),
        "3mf": mesh.export(file_type="3mf"),
    }
    return {name: d.encode() if isinstance(d, str) else bytes(d) for name, d in out.items()}


def _one_gltf(glb):
    """A glTF text whose buffer is a data address, from a GLB."""
    import base64

    (size,) = struct.unpack_from("<I", glb, 12)
    tree = json.loads(glb[20 : 20 + size])
    (blob,) = struct.unpack_from("<I", glb, 20 + size)
    data = glb[28 + size : 28 + size + blob]
    tree["buffers"] = [
        {
            "byteLength": len(data),
            "uri": "data:application/octet-stream;base64," + base64.b64encode(data).decode(),
        }
    ]
    return json.dumps(tree)


def mutant(files, seed):
    """(name of the format, name of the damage, ending, bytes) of file number `seed`; always the same."""
    rng = np.random.default_rng(seed)
    kind = list(files)[seed % len(files)]
    ways = list(EVERY)
    if kind in ("glb", "gltf"):
        ways += list(TREES)
    if kind == "3mf":
        ways = [*ways, *PACKED, *PACKED]
    way = ways[int(rng.integers(len(ways)))]
    data, ending = files[kind], KINDS[kind]
    if way in EVERY:
        data = EVERY[way](data, rng)
    elif way in TREES:
        data = _in_tree(data, rng, TREES[way])
    else:
        data = PACKED[way](data, rng)
    if way == "other ending":
        ending = str(rng.choice([e for e in KINDS.values() if e != ending]))
    elif rng.random() < 0.2:  # damage seldom comes alone
        data = EVERY[str(rng.choice(["flip bytes", "cut off", "double a chunk"]))](data, rng)
    return kind, way, ending, data


# ---------------------------------------------------------------- any file


def _flip(data, rng):
    out = bytearray(data)
    for at in rng.integers(len(out), size=int(rng.integers(1, 40))):
        out[at] ^= 1 << int(rng.integers(8))
    return bytes(out)


def _flip_head(data, rng):
    out = bytearray(data)
    for at in rng.integers(min(400, len(out)), size=int(rng.integers(1, 8))):
        out[at] = int(rng.integers(256))
    return bytes(out)


def _cut(data, rng):
    return data[: int(rng.integers(len(data)))]


def _behead(data, rng):
    return data[int(rng.integers(min(2000, len(data)))) :]


def _double(data, rng):
    a, b = np.sort(rng.integers(len(data), size=2))
    at = int(rng.integers(len(data)))
    return data[:at] + data[a:b] + data[at:]


def _drop(data, rng):
    a, b = np.sort(rng.integers(len(data), size=2))
    b = min(b, a + 5000)
    return data[:a] + data[b:]


def _zero(data, rng):
    a, b = np.sort(rng.integers(len(data), size=2))
    return data[:a] + bytes(int(b - a)) + data[b:]


def _numbers(data, rng):
    """Some numbers of the text parts replaced by ones that no mesh has."""
    spots = [m.span() for m in re.finditer(rb"-?\d+(?:\.\d+)?(?:e-?\d+)?", data[:400_000])]
    if not spots:
        return _flip(data, rng)
    early = rng.random() < 0.6  # headers hold the counts
    few = spots[: min(12, len(spots))] if early else spots
    for k in sorted(rng.integers(len(few), size=int(rng.integers(1, 4))))[::-1]:
        a, b = few[k]
        data = data[:a] + str(rng.choice(HUGE)).encode() + data[b:]
    return data


def _swap_lines(data, rng):
    lines = data.split(b"\n")
    if len(lines) < 3:
        return _flip(data, rng)
    i, j = rng.integers(len(lines), size=2)
    lines[i], lines[j] = lines[j], lines[i]
    return b"\n".join(lines)


def _long_line(data, rng):
    at = int(rng.integers(len(data)))
    return data[:at] + bytes(rng.choice([b" ", b"9", b"\0", b"("])) * 3_000_000 + data[at:]


def _words(data, rng):
    """Four little-endian bytes set to a very large count."""
    out = bytearray(data)
    for _ in range(int(rng.integers(1, 4))):
        at = int(rng.integers(max(1, min(len(out), 3000) - 4)))
        out[at : at + 4] = struct.pack("<I", int(rng.choice([2**31 - 1, 2**32 - 1, 2**30, 10**8])))
    return bytes(out)


def _nothing(data, rng):
    return data


def _noise(data, rng):
    return rng.integers(0, 256, size=int(rng.integers(1, 5000)), dtype=np.uint8).tobytes()


EVERY = {
    "flip bytes": _flip,
    "flip the head": _flip_head,
    "cut off": _cut,
    "behead": _behead,
    "double a chunk": _double,
    "drop a chunk": _drop,
    "zeros": _zero,
    "numbers": _numbers,
    "swap lines": _swap_lines,
    "one long line": _long_line,
    "large counts": _words,
    "other ending": _nothing,
    "noise": _noise,
}


# ---------------------------------------------------------------- glTF


def _in_tree(data, rng, change):
    """A glTF or GLB whose JSON was changed, its lengths put right."""
    if data[:4] != b"glTF":
        tree = json.loads(data)
        change(tree, rng)
        return json.dumps(tree).encode()
    (size,) = struct.unpack_from("<I", data, 12)
    tree = json.loads(data[20 : 20 + size])
    change(tree, rng)
    text = json.dumps(tree).encode()
    text += b" " * (-len(text) % 4)
    rest = data[20 + size :]
    head = b"glTF" + struct.pack("<II", 2, 20 + len(text) + len(rest))
    return head + struct.pack("<I", len(text)) + b"JSON" + text + rest


def _accessor(tree, rng):
    entry = tree["accessors"][int(rng.integers(len(tree["accessors"])))]
    key = str(rng.choice(["count", "componentType", "type", "bufferView", "byteOffset"]))
    values = {
        "count": [10**12, 2**31, -1, 0, 5 * 10**8, 1.5, "7"],
        "componentType": [5120, 5121, 5126, 5125, 0, None],
        "type": ["SCALAR", "MAT4", "VEC2", "", 3],
        "bufferView": [99, -1, None],
        "byteOffset": [10**9, -4, 3],
    }[key]
    entry[key] = values[int(rng.integers(len(values)))]


def _no_view(tree, rng):
    entry = tree["accessors"][int(rng.integers(len(tree["accessors"])))]
    entry.pop("bufferView", None)  # by the standard: all zeros
    entry["count"] = int(rng.choice([10**6, 5 * 10**8, 10**11]))


def _sparse(tree, rng):
    entry = tree["accessors"][int(rng.integers(len(tree["accessors"])))]
    count = int(rng.choice([3, 10**9]))
    entry["sparse"] = {
        "count": count,
        "indices": {"bufferView": 0, "componentType": 5125},
        "values": {"bufferView": 0},
    }


def _cycle(tree, rng):
    nodes = tree.setdefault("nodes", [{}])
    nodes[-1]["children"] = [0]
    nodes[0].setdefault("children", []).append(len(nodes) - 1)
    if rng.random() < 0.5:
        tree["scenes"] = [{"nodes": list(range(len(nodes)))}]


def _fan_out(tree, rng):
    """Nodes of which each has the next one many times: the leaves are 30 to the power of the depth."""
    first = len(tree["nodes"])
    depth = int(rng.integers(2, 12))
    for k in range(depth):
        tree["nodes"].append({"children": [first + k + 1] * 30})
    tree["nodes"].append({"mesh": 0})
    tree["scenes"] = [{"nodes": [first]}]
    tree["scene"] = 0


def _copies(tree, rng):
    first = len(tree["nodes"])
    count = int(rng.choice([100, 3000]))
    tree["nodes"] += [{"mesh": 0, "translation": [k * 0.01, 0, 0]} for k in range(count)]
    tree["scenes"] = [{"nodes": list(range(first, first + count))}]
    tree["scene"] = 0


def _matrix(tree, rng):
    node = tree["nodes"][-1]
    values = [[float("nan")] * 16, [1e30] * 16, [0.0] * 16, [1, 2], "one", [None] * 16]
    node["matrix"] = values[int(rng.integers(len(values)))]


def _elsewhere(tree, rng):
    for buffer in tree["buffers"]:
        buffer["uri"] = str(
            rng.choice(
                ["../../../../etc/passwd", "/dev/zero", "file:///dev/zero", "missing.bin", "", "."]
            )
        )


def _length(tree, rng):
    some = tree["buffers"] + tree["bufferViews"]
    entry = some[int(rng.integers(len(some)))]
    entry["byteLength"] = int(rng.choice([10**12, -1, 0, 3]))
    entry["byteStride"] = int(rng.choice([0, 1, 10**9, -12]))


def _deep(tree, rng):
    inner = []
    for _ in range(int(rng.choice([50, 900]))):
        inner = [inner]
    tree["extras"] = inner


def _gone(tree, rng):
    key = str(rng.choice(list(tree)))
    tree[key] = [None, {}, [], 7, "seven"][int(rng.integers(5))]


TREES = {
    "accessor": _accessor,
    "accessor without data": _no_view,
    "sparse accessor": _sparse,
    "circle of nodes": _cycle,
    "nodes fan out": _fan_out,
    "many copies": _copies,
    "matrix": _matrix,
    "buffer elsewhere": _elsewhere,
    "buffer length": _length,
    "deep JSON": _deep,
    "JSON key": _gone,
}


# ---------------------------------------------------------------- 3MF


def _entries(data):
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        return {name: packed.read(name) for name in packed.namelist()}


def _packed(entries, kind=zipfile.ZIP_DEFLATED):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", kind) as packed:
        for name, data in entries.items():
            packed.writestr(zipfile.ZipInfo(name), data, compress_type=kind)
    return out.getvalue()


def _model(entries):
    return next(name for name in entries if name.lower().endswith(".model"))


def _inside(change):
    """The same damage done to the model inside the archive."""

    def out(data, rng):
        entries = _entries(data)
        name = _model(entries)
        entries[name] = change(entries[name], rng)
        return _packed(entries)

    return out


def _bomb(data, rng):
    """Far more unpacked than any scan: blanks in the model, or in an entry of its own, told or not told."""
    entries = _entries(data)
    size = int(rng.choice([BOMB // 8, BOMB]))
    name = _model(entries) if rng.random() < 0.5 else "3D/more.model"
    out = bytearray(_packed(entries | {name: entries[_model(entries)] + b" " * size}))
    if rng.random() < 0.5:  # the archive's own table says that it is small
        at = out.rfind(b"PK\x01\x02")
        while at > 0:
            struct.pack_into("<I", out, at + 24, 1000)
            at = out.rfind(b"PK\x01\x02", 0, at)
    return bytes(out)


def _many_entries(data, rng):
    return _packed(_entries(data) | {f"3D/{k}.txt": b"" for k in range(5000)})


def _spoken_of(data, entity, head):
    """A 3MF whose model speaks of an entity that a head declares."""
    entries = _entries(data)
    name = _model(entries)
    text = entries[name].decode()
    mark = head + rf"\1<metadata name='x'>&{entity};</metadata>"
    text = re.sub(r"(<model[^>]*>)", mark, text, count=1)
    return _packed(entries | {name: text.encode()})


def _entities(data, rng):
    """Entities that stand for ten of the next each."""
    rows = ['<!ENTITY a0 "aaaaaaaaaa">']
    rows += [f'<!ENTITY a{k} "{f"&a{k - 1};" * 10}">' for k in range(1, 10)]
    return _spoken_of(data, "a9", "<!DOCTYPE model [" + "".join(rows) + "]>")


def _outer_entity(data, rng):
    return _spoken_of(data, "x", '<!DOCTYPE model [<!ENTITY x SYSTEM "file:///dev/zero">]>')


def _parts_in_circle(data, rng):
    """An object made of itself, or objects that fan out: each of thirty of the next."""
    entries = _entries(data)
    name = _model(entries)
    text = entries[name].decode()
    index = re.search(r"<object[^>]*\bid=\"(\w+)\"", text)[1]
    depth = int(rng.integers(1, 8))
    rows = []
    circle = rng.random() < 0.4
    for k in range(depth):
        below = str(9000 + k + 1) if k + 1 < depth else ("9000" if circle else index)
        some = f'<component objectid="{below}"/>' * (2 if circle else 30)
        rows.append(
            f'<object id="{9000 + k}" type="model"><components>{some}</components></object>'
        )
    text = text.replace("</resources>", "".join(rows) + "</resources>", 1)
    text = text.replace("</build>", '<item objectid="9000"/></build>', 1)
    return _packed(entries | {name: text.encode()})


PACKED = {
    "flip bytes inside": _inside(_flip),
    "cut off inside": _inside(_cut),
    "numbers inside": _inside(_numbers),
    "double a chunk inside": _inside(_double),
    "zip bomb": _bomb,
    "many entries": _many_entries,
    "entities": _entities,
    "outer entity": _outer_entity,
    "parts in a circle": _parts_in_circle,
}


def written(files, seed, folder):
    """File number `seed` in a folder: its path, format and damage."""
    kind, way, ending, data = mutant(files, seed)
    path = Path(folder) / f"mutant-{seed}.{ending}"
    path.write_bytes(data)
    return path, kind, way
