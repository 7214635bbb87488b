"""The page in the language of the settings."""

from __future__ import annotations

import shutil

from starlette.testclient import TestClient

from canopy.web.app import make_app

from .farm import opened_site


def test_pages_are_in_the_language_of_the_settings(measured, tmp_path):
    folder = tmp_path / "farm"
    shutil.copytree(measured, folder)
    settings = folder / "canopy.toml"
    before = settings.read_text(encoding="utf-8") if settings.exists() else ""
    settings.write_text(f'{before}\n[outputs]\nlanguage = "es"\n', encoding="utf-8")
    with opened_site(folder, with_people=False) as site, TestClient(make_app(site, hosts=None)) as client:
        today, board = client.get("/today").text, client.get("/board").text
    assert '<html lang="es">' in today
    assert "Hoy" in today
    assert "las menos uniformes primero." in board
    assert "the least even first." not in board
