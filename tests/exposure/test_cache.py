"""What is kept on disk: the same after loading, and never trusted when torn, stale or foreign."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from bowl_scene import points, ring

from microclimate.exposure import cache, plan, trace
from microclimate.exposure.mesh import Mesh

SPOTS = points(2)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(cache, "cache_root", lambda: tmp_path)
    return tmp_path


@pytest.fixture(scope="module")
def meshes() -> list[Mesh]:
    return [plan.venue_mesh(v.bowl, v.field) for v in (ring(), ring(tau=0.3))]


@pytest.fixture(scope="module")
def traced(meshes: list[Mesh]) -> list[trace.Geometry]:
    return [trace.traced(mesh, SPOTS[:, 0], SPOTS[:, 1]) for mesh in meshes]


def same(one: trace.Geometry, two: trace.Geometry) -> bool:
    a, b = trace.packed(one), trace.packed(two)
    return a.keys() == b.keys() and all(np.array_equal(a[name], b[name]) for name in a)


@pytest.mark.parametrize("which", [0, 1])
def test_packed_and_unpacked_is_the_same(traced: list[trace.Geometry], which: int) -> None:
    back = trace.unpacked(trace.packed(traced[which]))
    assert back is not None
    assert same(back, traced[which])
    np.testing.assert_allclose(back.thermal.toarray(), traced[which].thermal.toarray(), atol=1e-7)


def test_the_second_time_nothing_is_traced(
    folder: Path, meshes: list[Mesh], traced: list[trace.Geometry], monkeypatch: pytest.MonkeyPatch
) -> None:
    calls: list[int] = []
    monkeypatch.setattr(trace, "traced", lambda *_: calls.append(1) or traced[0])
    first = trace.geometry(meshes[0], SPOTS[:, 0], SPOTS[:, 1])
    second = trace.geometry(meshes[0], SPOTS[:, 0], SPOTS[:, 1])
    assert len(calls) == 1
    assert same(first, second)
    trace.geometry(meshes[0], SPOTS[:, 0] + 0.1, SPOTS[:, 1])  # other cells, another file
    assert len(calls) == 2


def torn(path: Path) -> None:
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])


def empty(path: Path) -> None:
    path.write_bytes(b"")


def text(path: Path) -> None:
    path.write_text("not an archive")


def bent(path: Path) -> None:
    """One byte in the middle is another: the archive's checksum tells."""
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 0xFF
    path.write_bytes(bytes(content))


def foreign(path: Path) -> None:
    """A good archive that belongs to another bowl."""
    np.savez(path, key=np.array("another"), x=np.zeros(3))


def short(path: Path) -> None:
    """The right key, but a part is missing."""
    with np.load(path) as archive:
        parts = {name: archive[name] for name in archive.files if name != "opaque_bounds"}
    np.savez(path, **parts)


@pytest.mark.parametrize("harm", [torn, empty, text, bent, foreign, short])
def test_a_file_that_cannot_be_trusted_is_made_again(
    folder: Path,
    meshes: list[Mesh],
    traced: list[trace.Geometry],
    monkeypatch: pytest.MonkeyPatch,
    harm: Callable[[Path], None],
) -> None:
    calls: list[int] = []
    monkeypatch.setattr(trace, "traced", lambda *_: calls.append(1) or traced[0])
    trace.geometry(meshes[0], SPOTS[:, 0], SPOTS[:, 1])
    (path,) = folder.glob("bowl-*.npz")
    harm(path)
    assert same(trace.geometry(meshes[0], SPOTS[:, 0], SPOTS[:, 1]), traced[0])
    assert len(calls) == 2
    assert same(trace.geometry(meshes[0], SPOTS[:, 0], SPOTS[:, 1]), traced[0])
    assert len(calls) == 2


def test_geometry_and_finishes_are_kept_apart(folder: Path, traced: list[trace.Geometry]) -> None:
    nodes = len(traced[0].exchange.view)
    half, dark = np.full(nodes, 0.5), np.full(nodes, 0.1)
    first = trace.gain(traced[0].exchange, half, half)
    again = trace.gain(traced[0].exchange, half, half)
    np.testing.assert_array_equal(first.light, again.light)
    assert len(list(folder.glob("gain-*.npz"))) == 1
    assert np.abs(trace.gain(traced[0].exchange, dark, half).light - first.light).max() > 0.01
    assert len(list(folder.glob("gain-*.npz"))) == 2
    assert not list(folder.glob("bowl-*.npz"))


def test_the_oldest_files_go_when_it_is_too_much(folder: Path) -> None:
    for k in range(5):
        cache.save("gain", f"{k:032d}", {"part": np.zeros(25_000)}, limit=700_000)
        (folder / f"gain-{k:032d}.npz").touch()
    assert sum(entry.size for entry in cache.entries()) <= 700_000
    assert cache.load("gain", f"{4:032d}") is not None
    assert cache.load("gain", f"{0:032d}") is None
    assert cache.clear() > 0
    assert cache.entries() == []


def test_a_folder_that_cannot_be_written_is_no_fault(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setattr(cache, "cache_root", lambda: tmp_path / "file" / "below")
    cache.save("gain", "0", {"part": np.zeros(3)})
    assert cache.load("gain", "0") is None
    assert not list(tmp_path.glob("**/writing-*"))
