"""Files that are not what their names say: refused or left blank, in a user's words, without a name or a traceback."""

from __future__ import annotations

import pytest

from liftseries.cli import main

NAME = "Zebedee Quillfeather"  # invented
HOSTILE = {
    "no text": (f"patients_{NAME}.csv", b"\x00\x01PK\x03\x04" * 50, 1),
    "empty": ("patients.csv", b"", 1),
    "no workbook": ("patients.xlsx", b"patient_id,centre\n1,2\n", 1),
    "no parquet": (f"patients {NAME}.parquet", b"PAR1 junk", 1),
    "no table's name": (f"{NAME}.csv", b"a,b\n1,2\n", 1),
    "another format": (f"{NAME}.json", b"{}", 1),
    "name twice": ("patients.csv", f"patient_id,{NAME},{NAME}\n1,x,y\n".encode(), 1),
    "cell too many": ("patients.csv", f"patient_id,centre\n1,2,{NAME}\n".encode(), 1),
    "formulas": ("patients.csv", f"patient_id,centre,age_years,sex\n=1+1,={NAME},@SUM(1),-female\n".encode(), 0),
    "no numbers": ("patients.csv", b"patient_id,centre,age_years\n1,North,1e400\n2,x,nan\n3,x,inf\n", 0),
    "header alone": ("patients.csv", b"patient_id,centre\n", 0),
}


@pytest.mark.parametrize("case", HOSTILE)
def test_hostile_file(tmp_path, capsys, case):
    name, content, status = HOSTILE[case]
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / name).write_bytes(content)
    out = tmp_path / "out"
    assert main(["pseudonymise", str(tmp_path / "in"), str(out), "--key", str(tmp_path / "key"), "--new-key"]) == status
    said = "".join(capsys.readouterr())
    written = "".join(path.read_text(encoding="utf-8") for path in out.iterdir()) if status == 0 else ""
    assert "Traceback" not in said
    assert not any(word in said + written for word in ("Zebedee", "Quillfeather", "SUM", "1e400", "1+1"))
    assert out.exists() == (status == 0)
