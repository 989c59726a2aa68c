"""What is read and what is turned away: endings, zips, broken and hostile files, each with one clear line."""

import hashlib
import os
import pickle
import zipfile
from pathlib import Path

import pytest
from build import Model

from takeoff.findings import InputError
from takeoff.reading import sources
from takeoff.reading.model import read_model


@pytest.fixture
def plain(tmp_path: Path) -> Path:
    model = Model("IFC4")
    model.wall((0, 0), (5, 0), 0.3, 3.0, name="Wall")
    return model.save(tmp_path / "plain.ifc")


def refused(path: Path, scratch: Path) -> str:
    with pytest.raises(InputError) as caught:
        read_model(path, scratch)
    text = str(caught.value)
    assert "\n" not in text
    assert str(path) in text
    return text


def zipped(path: Path, members: dict[str, bytes], method: int = zipfile.ZIP_DEFLATED) -> Path:
    with zipfile.ZipFile(path, "w", method) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return path


def test_a_plain_file_is_read_where_it_lies(plain: Path, tmp_path: Path) -> None:
    facts = read_model(plain, tmp_path / "scratch")
    assert [e.name for e in facts.elements] == ["Wall"]
    assert Path(facts.path) == plain
    assert facts.model == "plain"
    assert facts.sha256 == hashlib.sha256(plain.read_bytes()).hexdigest()
    assert not (tmp_path / "scratch").exists()
    assert read_model(plain, tmp_path, "given").elements[0].model == "given"


def test_facts_can_be_pickled(plain: Path, tmp_path: Path) -> None:
    facts = read_model(plain, tmp_path)
    assert pickle.loads(pickle.dumps(facts)) == facts


def test_a_zip_is_known_by_its_content_and_unpacked_under_our_own_name(plain: Path, tmp_path: Path) -> None:
    path = zipped(tmp_path / "model.ifczip", {"../../etc/away.IFC": plain.read_bytes(), "readme.txt": b"x"})
    facts = read_model(path, tmp_path / "scratch")
    assert [e.name for e in facts.elements] == ["Wall"]
    assert Path(facts.path).parent == tmp_path / "scratch"
    assert Path(facts.path).name.startswith(facts.sha256[:16])
    assert facts.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert not (tmp_path.parent / "etc").exists()
    path.rename(tmp_path / "model.ifc")
    assert len(read_model(tmp_path / "model.ifc", tmp_path / "scratch").elements) == 1


def test_the_packers_own_shadow_files_are_no_models(plain: Path, tmp_path: Path) -> None:
    path = zipped(tmp_path / "a.ifczip", {"a.ifc": plain.read_bytes(), "__MACOSX/._a.ifc": b"shadow"})
    assert len(read_model(path, tmp_path / "scratch").elements) == 1


@pytest.mark.parametrize(
    ("members", "words"),
    [
        ({"readme.txt": b"hello"}, "no .ifc file in the zip"),
        ({"a.ifc": b"x", "b.IFC": b"y"}, "2 models in the zip"),
        ({"a.ifc": b""}, "is empty"),
        ({"a.ifc": b"%PDF-1.4"}, "is not an IFC file"),
    ],
)
def test_zips_that_are_no_model(members: dict[str, bytes], words: str, tmp_path: Path) -> None:
    assert words in refused(zipped(tmp_path / "a.ifczip", members), tmp_path / "scratch")


def test_an_empty_zip_and_a_torn_zip(plain: Path, tmp_path: Path) -> None:
    assert "no .ifc file" in refused(zipped(tmp_path / "none.ifczip", {}), tmp_path)
    whole = zipped(tmp_path / "whole.ifczip", {"a.ifc": plain.read_bytes()}).read_bytes()
    torn = tmp_path / "torn.ifczip"
    torn.write_bytes(whole[: len(whole) // 2])
    assert "damaged" in refused(torn, tmp_path)
    stored = zipped(tmp_path / "flip.ifczip", {"a.ifc": plain.read_bytes()}, zipfile.ZIP_STORED)
    content = bytearray(stored.read_bytes())
    content[len(content) // 3] ^= 0xFF
    stored.write_bytes(content)
    assert "damaged" in refused(stored, tmp_path)


def test_a_zip_out_of_proportion_is_stopped_before_it_fills_the_disk(tmp_path: Path) -> None:
    bomb = zipped(tmp_path / "bomb.ifczip", {"a.ifc": b"ISO-10303-21;" + b" " * (64 << 20)})
    assert bomb.stat().st_size < 1 << 20
    assert "out of proportion" in refused(bomb, tmp_path / "scratch")
    written = sum(f.stat().st_size for f in (tmp_path / "scratch").iterdir())
    limit = max(sources.RATIO_FREE_BYTES, sources.RATIO_LIMIT * bomb.stat().st_size)
    assert written <= limit


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "is empty"),
        (b" \r\n\0\0", "is empty"),
        (b"hello world", "is not an IFC file"),
        (b"<html></html>", "is not an IFC file"),
        (b'<?xml version="1.0"?><ifcXML xmlns="x"></ifcXML>', "is ifcXML"),
        (b"ISO-10303-21;\nHEADER;\nENDSEC;\nEND-ISO-10303-21;", "names no schema"),
        (b"ISO-10303-21;\nHEADER;\nFILE_SCHEMA(('IFC9'));\nENDSEC;\nEND-ISO-10303-21;", "schema 'IFC9'"),
        (b"ISO-10303-21;\nHEADER;\nFILE_SCHEMA(('AUTOMOTIVE_DESIGN'));\nEND-ISO-10303-21;", "none of IFC2X3"),
    ],
)
def test_files_that_are_no_model(content: bytes, words: str, tmp_path: Path) -> None:
    path = tmp_path / "model.ifc"
    path.write_bytes(content)
    assert words in refused(path, tmp_path / "scratch")


def test_a_file_cut_off_in_the_middle(plain: Path, tmp_path: Path) -> None:
    path = tmp_path / "half.ifc"
    path.write_bytes(plain.read_bytes()[: plain.stat().st_size // 2])
    assert "cut off" in refused(path, tmp_path)


def test_a_model_without_a_project(tmp_path: Path) -> None:
    path = tmp_path / "none.ifc"
    path.write_text(
        "ISO-10303-21;\nHEADER;\nFILE_DESCRIPTION((''),'2;1');\nFILE_NAME('','',(''),(''),'','','');\n"
        "FILE_SCHEMA(('IFC4'));\nENDSEC;\nDATA;\nENDSEC;\nEND-ISO-10303-21;\n"
    )
    assert "no project" in refused(path, tmp_path)


def test_missing_folder_and_forbidden(plain: Path, tmp_path: Path) -> None:
    assert "no such file" in refused(tmp_path / "nowhere.ifc", tmp_path)
    folder = tmp_path / "folder.ifc"
    folder.mkdir()
    assert "is a folder" in refused(folder, tmp_path)
    fifo = tmp_path / "pipe.ifc"
    os.mkfifo(fifo)
    assert "not a plain file" in refused(fifo, tmp_path)
    if os.geteuid() == 0:
        pytest.skip("root may read everything")
    plain.chmod(0)
    assert "no permission" in refused(plain, tmp_path)


def test_forbidden_even_to_root(plain: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def forbidden(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", forbidden)
    assert "no permission" in refused(plain, tmp_path)


@pytest.mark.parametrize(
    ("schema", "name"),
    [
        ("IFC4X3", "IFC4X3_ADD2"),
        ("IFC4X3", "IFC4X3"),
        ("IFC4X3", "IFC4X3_TC1"),
        ("IFC4", "IFC4_ADD2_TC1"),
        ("IFC4", "ifc4"),
        ("IFC2X3", "IFC2X3_TC1"),
    ],
)
def test_editions_of_a_schema_are_read_as_the_schema(schema: str, name: str, tmp_path: Path) -> None:
    model = Model(schema)
    model.wall((0, 0), (5, 0), 0.3, 3.0)
    path = model.save(tmp_path / "m.ifc")
    text = path.read_text()
    written = model.file.schema_identifier
    assert f"'{written}'" in text
    path.write_text(text.replace(f"'{written}'", f"'{name}'"))
    facts = read_model(path, tmp_path / "scratch")
    assert facts.schema == schema
    assert len(facts.elements) == 1
    noted = [f for f in facts.findings if f.kind == "schema-read-as"]
    assert bool(noted) == (name.upper() != written)


def test_a_byte_order_mark_before_the_file(plain: Path, tmp_path: Path) -> None:
    path = tmp_path / "bom.ifc"
    path.write_bytes(b"\xef\xbb\xbf" + plain.read_bytes())
    assert len(read_model(path, tmp_path / "scratch").elements) == 1


def test_faults_that_the_parser_met_are_told(plain: Path, tmp_path: Path) -> None:
    text = plain.read_text()
    line = next(x for x in text.splitlines() if "IFCRECTANGLEPROFILEDEF" in x or "IFCPOLYLINE" in x)
    path = tmp_path / "faulty.ifc"
    path.write_text(text.replace(line, line.replace("IFCPOLYLINE", "IFCNOSUCHTHING")))
    (found,) = [f for f in read_model(path, tmp_path).findings if f.kind == "parse-faults"]
    assert found.severity == "error"
    assert "IFCNOSUCHTHING" in found.message.upper()
    assert not [f for f in read_model(plain, tmp_path).findings if f.kind == "parse-faults"]


@pytest.mark.parametrize(
    ("raw", "name"),
    [
        ("Wände €".encode(), "Wände €"),
        ("Wände €".encode("cp1252"), "Wände €"),
        ("梁 Béton".encode(), "梁 Béton"),
        ("\U0001f3d7 crane".encode(), "\U0001f3d7 crane"),
        (b"W\\X2\\00E4\\X0\\nde", "Wände"),
        (b"half \\X2\\D800\\X0\\", "half"),
    ],
)
@pytest.mark.parametrize("in_zip", [False, True])
def test_letters_however_they_are_written(
    raw: bytes, name: str, in_zip: bool, plain: Path, tmp_path: Path
) -> None:
    content = plain.read_bytes().replace(b"'Wall'", b"'" + raw + b"'")
    path = tmp_path / "letters.ifc"
    path.write_bytes(content)
    if in_zip:
        path = zipped(tmp_path / "letters.ifczip", {"a.ifc": content})
    facts = read_model(path, tmp_path / "scratch")
    assert facts.elements[0].name == name
    facts.elements[0].name.encode()
    kinds = [f.kind for f in facts.findings]
    assert kinds == ([] if raw.isascii() else ["text-encoding"])
    assert facts.elements[0].step_id == read_model(plain, tmp_path).elements[0].step_id


def test_a_broken_frame_of_a_file_is_one_line(plain: Path, tmp_path: Path) -> None:
    text = plain.read_text()
    line = next(x for x in text.splitlines() if "IFCPROJECT(" in x)
    assignment = line.rsplit("#", 1)[1].split(")")[0]
    path = tmp_path / "frame.ifc"
    path.write_text(text.replace(line, line.replace(f"#{assignment})", "#1)")))
    assert "cannot be read" in refused(path, tmp_path)
